"""What the services of the room share: who may, days that can be, and the refusal of a clash."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from club.members.models import SkillRecord, User
from inventory.equipment.choices import ThingState, kind_label
from inventory.equipment.models import KEEP, FreeSpan, Hold, Loan, Thing, clash_of, free_on, next_free
from inventory.equipment.presentation import days_words, free_words, span_words
from inventory.equipment.rules import FURTHEST_AHEAD_DAYS, KEYED_IN_LATE, LONGEST_DAYS, Span

CLOCK_SLACK = timedelta(minutes=2)


class Taken(ValidationError):
    """Somebody has the thing on those days. `next_free` holds up to three free spans to offer instead."""

    def __init__(self, sentences: list[str], next_free: Sequence[FreeSpan]) -> None:
        super().__init__(sentences, code="taken")
        self.next_free = tuple(next_free)


def keeper_check(by: User) -> None:
    if not by.has_perm(KEEP):
        raise PermissionDenied


def testing_check(by: User, thing: Thing) -> None:
    """Who may test and look over a thing: keepers; a household's own canner also its people."""
    is_theirs = thing.household is not None and thing.household.people.filter(pk=by.pk).exists()
    if not (is_theirs or by.has_perm(KEEP)):
        raise PermissionDenied


def hold_check(by: User, hold: Hold) -> None:
    """Who may cancel or move a hold: whose it is, who placed it, keepers; for a class, whoever may hold for one."""
    is_own = by.pk in (hold.person_id, hold.placed_by_id)
    is_for_class = hold.purpose != "" and by.has_perm("equipment.hold_for_class")
    if not (is_own or is_for_class or by.has_perm(KEEP)):
        raise PermissionDenied


def moment_check(moment: datetime, *, field: str) -> None:
    """A moment keyed in afterwards is neither ahead of the clock nor longer ago than anybody remembers."""
    now = timezone.now()
    if moment > now + CLOCK_SLACK:
        raise ValidationError({field: _("That has not come yet. Give the day it happened.")})
    if moment < now - KEYED_IN_LATE:
        text = _("That is more than %(n)s days ago: too long to be keyed in from memory. Check the date.")
        raise ValidationError({field: text % {"n": KEYED_IN_LATE.days}})


def choice_check(value: str, choices: Sequence[str], *, field: str) -> None:
    if value not in choices:
        raise ValidationError({field: _("Choose one of the list.")})


def span_check(span: Span, today: date, *, starts: str = "starts", ends: str = "ends") -> None:
    """Not gone by, not the wrong way round, not for longer or further ahead than anybody plans."""
    if span.starts < today:
        raise ValidationError({starts: _("That day has gone by.")})
    if span.ends < span.starts:
        raise ValidationError({ends: _("The last day comes before the first.")})
    if span.length > LONGEST_DAYS:
        raise ValidationError({ends: _("At most %(days)s at a time.") % {"days": days_words(LONGEST_DAYS)}})
    if span.starts > today + timedelta(days=FURTHEST_AHEAD_DAYS):
        text = _("At most %(days)s ahead: who knows what the season brings.")
        raise ValidationError({starts: text % {"days": days_words(FURTHEST_AHEAD_DAYS)}})


def lent_check(thing: Thing) -> None:
    """Refuses what is in repair or retired, and what lacks a part."""
    if thing.state == ThingState.IN_REPAIR:
        raise ValidationError(_("%(code)s is in repair: it can be had again once it is mended.") % {"code": thing.code})
    if thing.state == ThingState.RETIRED:
        raise ValidationError(_("%(code)s is retired and not lent any more.") % {"code": thing.code})
    if short := Loan.objects.short_of_parts().filter(thing=thing).first():
        text = _("%(code)s lacks a sound part: %(parts)s. It stays in until a keeper settles that on its page.")
        raise ValidationError(text % {"code": thing.code, "parts": short.missing_parts}, code="parts-missing")


def thing_taken(thing: Thing, span: Span, today: date) -> Taken:
    """What the loser of a race is told: what is taken, what else is free on those days, and the next free dates."""
    clash = clash_of(thing, span, today)
    when = ", ".join(span_words(one) for one in clash) or span_words(span)
    sentences = [_("%(code)s is taken: %(when)s.") % {"code": thing.code, "when": when}]
    if others := [other.code for other in free_on(thing.kind, span, today) if other.pk != thing.pk]:
        sentences.append(_("Free on your days: %(codes)s.") % {"codes": ", ".join(others[:3])})
    free = next_free([thing], length=span.length, today=today, after=span.starts)
    return Taken([*sentences, free_words(free, span)], free)


def kind_taken(kind: str, span: Span, today: date) -> Taken:
    things = list(Thing.objects.in_service().filter(kind=kind))
    free = next_free(things, length=span.length, today=today, after=span.starts)
    text = _("%(kind)s: none is free on %(when)s. Somebody was faster.") % {
        "kind": capfirst(str(kind_label(kind))),
        "when": span_words(span),
    }
    return Taken([text, free_words(free, span)], free)


# Whether a person has learned what a thing asks for.


def skill_lacks(thing: Thing, person: User) -> bool:
    """Whether the person still has to learn it, or to have it waived."""
    if not thing.skill:
        return False
    return not SkillRecord.objects.valid().filter(person=person, skill=thing.skill).exists()


def skill_check(thing: Thing, person: User) -> None:
    """Refuses a loan to somebody who lacks the skill: ValidationError by "person"."""
    if skill_lacks(thing, person):
        text = _(
            "%(code)s goes to people who learned %(skill)s here. %(name)s has not yet: the class comes first, or an"
            " instructor waives it, with the reason, on the page of their skills."
        )
        params = {"code": thing.code, "skill": thing.skill_label.lower(), "name": person}
        raise ValidationError({"person": text % params}, code="skill")
