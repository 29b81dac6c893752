"""What the mails about fruit say."""

from __future__ import annotations

from datetime import datetime

from django.urls import reverse
from django.utils.translation import gettext as _

from club.reminders.letters import Told, day_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import subject_id
from club.reminders.wording import Message
from inventory.fruit.models import Claim, Offer, Share, SharingRound
from inventory.fruit.presentation import sentences_for
from inventory.fruit.produce import units_words

OFFER, SHARE, CLAIM = "fruit-offer:", "fruit-share:", "fruit-claim:"


def use_by_message(reminder: Reminder, now: datetime) -> Message:
    offer = Offer.objects.get(pk=subject_id(reminder))

    def told() -> Told:
        names = {"what": offer.title, "left": _amount(offer, offer.left, reminder), "day": day_words(offer.use_by)}
        said = _("Of your %(what)s %(left)s is left, best used by %(day)s.") % names
        then = _("Tell somebody, put it up yourself, or freeze it; what is spoiled goes on the compost.")
        return _("Best used by %(day)s: %(what)s") % names, [said, then], _("The offer")

    return letter(reminder, offer.get_absolute_url(), told)


def shared_message(reminder: Reminder, now: datetime) -> Message:
    share = _share(reminder)
    made = SharingRound.objects.filter(offer=share.offer).latest("number")

    def told() -> Told:
        names = _names(share, reminder)
        why = sentences_for(made, share.claim_id, share.offer, reminder.person.units)
        said = _("Your share of the %(what)s is %(amount)s.") % names
        subject = _("A share for you: %(amount)s of %(what)s") % names
        return subject, [said, " ".join(why), _when(names), _back()], _("Your share")

    return letter(reminder, share.offer.get_absolute_url(), told)


def pick_up_message(reminder: Reminder, now: datetime) -> Message:
    share = _share(reminder)

    def told() -> Told:
        names = _names(share, reminder)
        said = _("%(amount)s of %(what)s is waiting for you.") % names
        return _("To pick up %(day)s: %(what)s") % names, [said, _when(names), _back()], _("Your share")

    return letter(reminder, share.offer.get_absolute_url(), told)


def nothing_message(reminder: Reminder, now: datetime) -> Message:
    claim = Claim.objects.select_related("offer").get(pk=subject_id(reminder))
    made = SharingRound.objects.filter(offer=claim.offer).latest("number")

    def told() -> Told:
        why = sentences_for(made, claim.pk, claim.offer, reminder.person.units)
        said = _("The %(what)s you asked for is shared out, and this time there was none for you.")
        late = _("None of your times to come was still ahead when it was shared out.")
        names = {"what": claim.offer.title}
        return _("No share this time: %(what)s") % names, [said % names, " ".join(why) or late], _("What else there is")

    return letter(reminder, reverse("fruit:list"), told)


def taken_back_message(reminder: Reminder, now: datetime) -> Message:
    offer = Claim.objects.select_related("offer").get(pk=subject_id(reminder)).offer

    def told() -> Told:
        names = {"what": offer.title, "why": offer.taken_back_reason}
        said = _("The offer of %(what)s was taken back. The giver says: %(why)s") % names
        return _("Taken back: %(what)s") % names, [said], _("What else there is")

    return letter(reminder, reverse("fruit:list"), told)


def _share(reminder: Reminder) -> Share:
    return Share.objects.select_related("offer", "window").get(pk=subject_id(reminder))


def _amount(offer: Offer, count: int, reminder: Reminder) -> str:
    return units_words(count, container=offer.container, unit_g=offer.unit_g, units=reminder.person.units)


def _names(share: Share, reminder: Reminder) -> dict[str, object]:
    window = share.window
    return {
        "what": share.offer.title,
        "amount": _amount(share.offer, share.units, reminder),
        "day": day_words(window.day),
        "first": f"{window.starts:%H:%M}",
        "last": f"{window.ends:%H:%M}",
        "where": share.offer.where,
    }


def _when(names: dict[str, object]) -> str:
    return _("Pick it up on %(day)s from %(first)s to %(last)s: %(where)s") % names


def _back() -> str:
    return _("If you cannot come, give it back on the page below: it goes at once to somebody who still wants some.")
