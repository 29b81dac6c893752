"""Every write about people and kitchens. Each checks who asks, keeps its rule and is one transaction."""

from __future__ import annotations

import logging
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from uuid import UUID, uuid4

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group, Permission
from django.contrib.auth.password_validation import validate_password
from django.contrib.sessions.models import Session
from django.core import signing
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.mail import EmailMultiAlternatives
from django.core.validators import validate_email
from django.db import DEFAULT_DB_ALIAS, IntegrityError, transaction
from django.db.models import Exists, F, OuterRef, Q
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.functional import Promise
from django.utils.translation import get_language, gettext
from django.utils.translation import gettext_lazy as _

from club.core.errors import AlreadyDone
from club.core.http import messages_by_field
from club.core.sheets import LEAST_LABEL, Sheet
from club.core.tables import Problem, Row
from club.core.text import plain, seen
from club.members.choices import PERMISSIONS, EventKind, LabelSigned, Role, SignInChangeKind, Skill, SkillHow
from club.members.models import (
    KITCHEN_INVITATION_KEPT,
    KITCHEN_NAME_LENGTH,
    NAME_LENGTH,
    PHONE_LENGTH,
    REASON_LENGTH,
    REFERENCE_LENGTH,
    AddressConsent,
    AltitudeHow,
    BrowserSession,
    CalendarAddress,
    HouseholdMember,
    Invitation,
    JoinRequest,
    JoinState,
    Kitchen,
    KitchenAltitude,
    KitchenInvitation,
    LabelPaper,
    PersonEvent,
    Privacy,
    SignInChange,
    SkillRecord,
    StreetPage,
    Units,
    User,
    label_paper_of,
    name_keys,
    street_page,
)
from club.members.rules import Lowered, lowered, metres_from_text
from recipes.engine import AltitudeError, words_of
from recipes.engine.terms import Altitude

# Checks that several services share.


def require_perm(user: User, *perms: str) -> None:
    if not user.has_perms(perms):
        raise PermissionDenied


FEWEST_DIGITS = 5  # of a telephone number; our own choice, no source


def clean_name(name: str, *, longest: int, field: str = "name") -> str:
    plain = seen(name)
    if not plain:
        raise ValidationError({field: _("Write a name.")})
    if len(plain) > longest:
        raise ValidationError({field: _("A name has at most %(longest)d letters.") % {"longest": longest}})
    return plain


def phone_clean(phone: str) -> str:
    """As it is dialled, with what people write beside it, such as "ext. 5"; empty for none."""
    plain = seen(phone)
    if plain and (len(plain) > PHONE_LENGTH or sum(char.isdecimal() for char in plain) < FEWEST_DIGITS):
        text = _("Write a number that can be dialled, with at most %(n)s letters and figures, or leave it empty.")
        raise ValidationError({"phone": text % {"n": PHONE_LENGTH}})
    return plain


def clean_units(units: str) -> Units:
    if units not in Units.values:
        raise ValidationError({"units": _("Choose metric or US units.")})
    return Units(units)


# The people's ledger. Every room writes to it, inside the transaction of what it tells of.


def person_event(
    kind: EventKind,
    *,
    by: User | None = None,
    person: User | None = None,
    kitchen: Kitchen | None = None,
    reference: str = "",
    now: datetime | None = None,
) -> PersonEvent:
    """Write that `by` did something of this kind to `person`, or to `kitchen`.

    Call it inside the transaction that does it, so that there is neither a deed without its row nor a row without its
    deed. `by` is None where nobody is signed in and where the site acts by itself. `reference` says which role, session
    or file in a few words (120 letters, the rest is cut off): never a note, a password or the address of a
    stranger (`stranger_digest` stands for that). Rows are never changed or deleted. Checks no permission.
    """
    return PersonEvent.objects.create(
        kind=kind,
        by=by,
        person=person,
        kitchen=kitchen,
        reference=reference[:REFERENCE_LENGTH],
        at=now or timezone.now(),
    )


def people_event(
    kind: EventKind, *, by: User | None, people: Iterable[User], reference: str = "", now: datetime | None = None
) -> None:
    """The same as person_event, for each of these people, in one statement."""
    at, short = now or timezone.now(), reference[:REFERENCE_LENGTH]
    PersonEvent.objects.bulk_create(
        PersonEvent(kind=kind, by=by, person=person, reference=short, at=at) for person in people
    )


def household_event(kind: EventKind, *, by: User | None, kitchen: Kitchen, reference: str = "") -> None:
    """The same for everybody of a kitchen's household, a row each; for a hall, one row about the hall."""
    people: list[User | None] = [] if kitchen.is_hall else list(kitchen.people.all())
    for person in people or [None]:
        person_event(kind, by=by, person=person, kitchen=kitchen, reference=reference)


def stranger_digest(address: str) -> str:
    """What stands for an address that is nobody's here: the same each time, and told by nobody without the key."""
    return salted_hmac("kettlehall.stranger", address.strip().lower(), algorithm="sha256").hexdigest()[:16]


# The link in an invitation: its nonce, signed and stamped with the time. The database row has the last word.

SALT = "kettlehall.invitation"


class Closed(StrEnum):
    """Why an invitation's link does not work."""

    FORGED = "forged"
    EXPIRED = "expired"
    REPLACED = "replaced"
    WITHDRAWN = "withdrawn"
    USED = "used"


class InvitationClosed(Exception):
    """The link is no (longer) good; `reason` says why."""

    def __init__(self, reason: Closed) -> None:
        super().__init__(reason.value)
        self.reason = reason


def new_nonce() -> str:
    return secrets.token_urlsafe(32)


def token_for(nonce: str) -> str:
    return signing.TimestampSigner(salt=SALT).sign(nonce)


def nonce_from(token: str, *, good_for: timedelta) -> str:
    """The nonce that `token` carries. Raises InvitationClosed for a forged or an outdated token."""
    try:
        return signing.TimestampSigner(salt=SALT).unsign(token, max_age=good_for)
    except signing.SignatureExpired as error:
        raise InvitationClosed(Closed.EXPIRED) from error
    except signing.BadSignature as error:
        raise InvitationClosed(Closed.FORGED) from error


# The room's mails, sent straight to the mail server once the change they tell of is committed.

log = logging.getLogger(__name__)


def mail_invitation_on_commit(invitation: Invitation) -> None:
    """A mail server that is down must not undo the invitation: `mailed_at` stays empty and the page says so."""

    def mail_invitation_or_log() -> None:
        try:
            mail_invitation(invitation)
        except OSError:  # smtplib's errors are OSErrors, as are refused connections
            log.exception("Invitation %s could not be mailed", invitation.pk)

    transaction.on_commit(mail_invitation_or_log)


def mail_invitation(invitation: Invitation) -> None:
    context = {
        "invitation": invitation,
        "club_name": settings.CLUB_NAME,
        "link": settings.SITE_URL + reverse("members:invitation", args=[token_for(invitation.nonce)]),
    }
    subject = " ".join(render_to_string("members/mail/invitation_subject.txt", context).split())
    text = render_to_string("members/mail/invitation.txt", context)
    message = EmailMultiAlternatives(subject, text, settings.DEFAULT_FROM_EMAIL, [invitation.email])
    message.attach_alternative(render_to_string("members/mail/invitation.html", context), "text/html")
    message.send()
    # Only if it was not sent again meanwhile: the mark belongs to this link.
    Invitation.objects.filter(pk=invitation.pk, nonce=invitation.nonce).update(mailed_at=timezone.now())


# Reading an invitation.


def invitation_for_token(token: str, *, now: datetime) -> Invitation:
    """The open invitation that the link names. Raises InvitationClosed with the reason otherwise."""
    nonce = nonce_from(token, good_for=timedelta(days=settings.INVITATION_DAYS))
    invitation = Invitation.objects.filter(nonce=nonce).select_related("invited_by").first()
    if invitation is None:
        raise InvitationClosed(Closed.REPLACED)  # our signature, no row: sent again since, with a new link
    if reason := closed_because(invitation, now=now):
        raise InvitationClosed(reason)
    return invitation


def closed_because(invitation: Invitation, *, now: datetime) -> Closed | None:
    """An invitation stands as long as whoever sent it may still send it: a former organiser lets nobody in."""
    if invitation.accepted_at is not None:
        return Closed.USED
    if invitation.withdrawn_at is not None or not may_invite(invitation.invited_by, Role(invitation.role)):
        return Closed.WITHDRAWN
    return Closed.EXPIRED if invitation.expires_at <= now else None


def may_invite(by: User, role: Role) -> bool:
    """An invitation into a role gives that role."""
    asked = ["members.invite_member", *([] if role is Role.MEMBER else ["members.grant_role"])]
    return by.has_perms(asked)


def was_accepted_by(token: str, user: User) -> bool:
    """True when this person used this very link: somebody who presses twice is let through."""
    try:
        nonce = nonce_from(token, good_for=timedelta(days=settings.INVITATION_DAYS))
    except InvitationClosed:
        return False
    return Invitation.objects.filter(nonce=nonce, accepted_by=user).exists()


def is_members_email(email: str) -> bool:
    """True when the address signs somebody in, or is one of somebody's confirmed addresses."""
    plain = email.strip()
    return (
        User.objects.filter(email__iexact=plain).exists()
        or EmailAddress.objects.filter(email__iexact=plain, verified=True).exists()
    )


# Roles: the groups themselves, and who holds which.


@transaction.atomic
def roles_install(*, using: str = DEFAULT_DB_ALIAS) -> None:
    """Make the four groups hold exactly what choices.PERMISSIONS says, as far as those permissions exist yet."""
    for role, names in PERMISSIONS.items():
        group, _made = Group.objects.using(using).get_or_create(name=role.value)
        group.permissions.set(_permissions(names, using=using))


def _permissions(names: Iterable[str], *, using: str) -> list[Permission]:
    wanted = Q(pk=None)
    for name in names:
        label, codename = name.split(".")
        wanted |= Q(content_type__app_label=label, codename=codename)
    return list(Permission.objects.using(using).filter(wanted))


@transaction.atomic
def role_grant(*, by: User, person: User, role: Role) -> None:
    """Give a role; giving it again changes nothing."""
    require_perm(by, "members.grant_role")
    if not person.is_active:
        raise ValidationError(_("This membership has ended. Start it again before you give a role."))
    if role.value not in person.role_names:
        person_event(EventKind.ROLE_GIVEN, by=by, person=person, reference=role.value)
    person.groups.add(Group.objects.get(name=role.value))
    person.forget_roles()


@transaction.atomic
def role_take(*, by: User, person: User, role: Role) -> None:
    """Take a role away; a role that is not held changes nothing. A club always keeps an organiser."""
    require_perm(by, "members.grant_role")
    if role is Role.MEMBER:
        raise ValidationError({"roles": _("Everybody in the club is a member. End the membership instead.")})
    if role is Role.ORGANISER:
        keep_an_organiser(besides=person)
    if role.value in person.role_names:
        person_event(EventKind.ROLE_TAKEN, by=by, person=person, reference=role.value)
    person.groups.remove(Group.objects.get(name=role.value))
    person.forget_roles()


@transaction.atomic
def roles_change(*, by: User, person: User, roles: Iterable[Role]) -> None:
    """Let the person hold exactly these roles, and member as ever."""
    require_perm(by, "members.grant_role")
    wanted = {Role(role) for role in roles} | {Role.MEMBER}
    held = {Role(name) for name in person.role_names if name in set(Role)}
    for role in sorted(wanted - held):
        role_grant(by=by, person=person, role=role)
    for role in sorted(held - wanted):
        role_take(by=by, person=person, role=role)


def keep_an_organiser(*, besides: User) -> None:
    """Refuse when nobody active but this person is an organiser. Call inside the transaction that changes it.

    Two organisers who take the role from each other must not both succeed: on PostgreSQL the lock on the group's
    row makes the second wait and then see the first's change; on SQLite every transaction that writes holds the
    only write lock from its first statement (transaction_mode IMMEDIATE), which does the same.
    """
    Group.objects.select_for_update().get(name=Role.ORGANISER.value)
    if User.objects.get_queryset().holding(Role.ORGANISER).exclude(pk=besides.pk).exists():
        return
    if User.objects.get_queryset().holding(Role.ORGANISER).filter(pk=besides.pk).exists():
        raise ValidationError({"roles": _("This is the club's last organiser. Make somebody else one first.")})


# What a person learned here: noted after a class, waived with a reason, withdrawn again.


@transaction.atomic
def skill_gain(
    *, by: User, person: User, skill: str, gained_on: date, class_title: str, now: datetime | None = None
) -> SkillRecord:
    """Note that the person came to the class. A record of an earlier class stays; a waiver gives way to the class.

    PermissionDenied unless `by` may note skills; ValidationError by "skill", "class_title".
    """
    require_perm(by, "members.note_skill")
    _check(skill, class_title, field="class_title")
    moment = now or timezone.now()
    present = SkillRecord.objects.valid().filter(person=person, skill=skill).first()
    if present is not None and present.how == SkillHow.CLASS:
        return present
    if present is not None:
        _withdraw(present, by, moment)
    return _write(by, person, skill, SkillHow.CLASS, gained_on, class_title, moment)


@transaction.atomic
def skill_waive(*, by: User, person: User, skill: str, reason: str, now: datetime | None = None) -> SkillRecord:
    """Let the person off the class, and say why. Nobody lets themselves off.

    PermissionDenied unless `by` may note skills and is another; ValidationError by "skill", "reason", or when the
    person has it already.
    """
    require_perm(by, "members.note_skill")
    if by.pk == person.pk:
        raise ValidationError(gettext("Nobody waives a class for themselves. Ask another instructor."))
    _check(skill, reason, field="reason")
    moment = now or timezone.now()
    day = timezone.localtime(moment, timezone.get_default_timezone()).date()
    return _write(by, person, skill, SkillHow.WAIVED, day, reason, moment)


@transaction.atomic
def skill_withdraw(*, by: User, record: SkillRecord, now: datetime | None = None) -> bool:
    """Take a record back, such as one noted for the wrong person. False when it was withdrawn already."""
    require_perm(by, "members.note_skill")
    if record.person_id == by.pk:
        raise PermissionDenied
    return _withdraw(record, by, now or timezone.now())


def _check(skill: str, reason: str, *, field: str) -> None:
    problems: dict[str, str] = {}
    if skill not in Skill.values:
        problems["skill"] = gettext("Choose one of the skills taught here.")
    if not reason.strip():
        problems[field] = gettext("Say why: whoever reads this later was not there.")
    elif len(reason.strip()) > REASON_LENGTH:
        problems[field] = gettext("At most %(n)s characters.") % {"n": REASON_LENGTH}
    if problems:
        raise ValidationError(problems)


def _withdraw(record: SkillRecord, by: User, moment: datetime) -> bool:
    return SkillRecord.objects.valid().filter(pk=record.pk).update(withdrawn_at=moment, withdrawn_by=by) == 1


def _write(by: User, person: User, skill: str, how: SkillHow, day: date, reason: str, moment: datetime) -> SkillRecord:
    try:
        with transaction.atomic():
            return SkillRecord.objects.create(
                person=person, skill=skill, how=how, gained_on=day, reason=reason.strip(), noted_by=by, noted_at=moment
            )
    except IntegrityError:
        has = gettext("%(name)s has this skill already.") % {"name": person}
        raise ValidationError({"skill": has}) from None


# A person's private calendar address: made, made anew (the old one is dead at once), and closed.

TOKEN_BYTES = 32  # nobody guesses it


@transaction.atomic
def calendar_address_renew(*, by: User, now: datetime | None = None) -> CalendarAddress:
    """A new address; whoever had the old one sees nothing any more."""
    values = {"token": secrets.token_urlsafe(TOKEN_BYTES), "made_at": now or timezone.now()}
    address, _made = CalendarAddress.objects.update_or_create(person=by, defaults=values)
    return address


@transaction.atomic
def calendar_address_close(*, by: User) -> bool:
    """No address at all. False when there was none."""
    return CalendarAddress.objects.filter(person=by).delete()[0] > 0


# The labels in a person's printer.


@transaction.atomic
def label_paper_set(*, by: User, sheet: Sheet, first_free: int = 1, signed: str = LabelSigned.KITCHEN) -> LabelPaper:
    """ValidationError beside its field: a sheet that does not hold its labels, a first label that is not on it."""
    paper = LabelPaper(person=by, first_free=first_free, signed=signed, **asdict(sheet))
    if first_free > sheet.count:
        raise ValidationError({"first_free": _("There are %(n)s labels on this sheet.") % {"n": sheet.count}})
    if sheet.width * 10 < LEAST_LABEL:
        raise ValidationError({"columns": _("So many labels and margins do not fit across this paper.")})
    if sheet.height * 10 < LEAST_LABEL:
        raise ValidationError({"rows": _("So many labels and margins do not fit down this paper.")})
    paper.full_clean(exclude=["person"], validate_unique=False)
    values = {**asdict(sheet), "first_free": first_free, "signed": signed}
    written, _made = LabelPaper.objects.update_or_create(person=by, defaults=values)
    return written


@transaction.atomic
def labels_printed(*, by: User, first: int, count: int) -> LabelPaper:
    """So many labels from this one on came out of the printer: the next free one is remembered."""
    paper = label_paper_of(by)
    sheet = paper.sheet
    if not 1 <= first <= sheet.count or count < 0:
        raise ValidationError(_("That label is not on the sheet any more; look at the page again."))
    return label_paper_set(by=by, sheet=sheet, first_free=(first - 1 + count) % sheet.count + 1, signed=paper.signed)


# People: joining, their own profile, their sessions, the end of a membership.


@transaction.atomic
def member_enrol(
    *,
    email: str,
    name: str,
    password: str | None,
    units: str,
    roles: Iterable[Role] = (),
    is_name_shared: bool = False,
    invited_by: User | None = None,
) -> User:
    """Make a member whose email is known to be theirs. Checks no permission: its callers have (an accepted
    invitation, the set-up of a demo club). Raises ValidationError when the email is somebody's already, or the name
    reads like another's and no organiser let them share it.
    """
    plain = email.strip().lower()
    kept = clean_name(name, longest=NAME_LENGTH)
    _name_check(kept, is_shared=is_name_shared)
    fields = {"name": kept, "units": clean_units(units), "is_name_shared": is_name_shared}
    try:
        # An attempt of its own, so that a refused row leaves the outer transaction usable.
        with transaction.atomic():
            user = User.objects.create_user(plain, password, **fields)
            EmailAddress.objects.create(user=user, email=plain, verified=True, primary=True)
    except IntegrityError as error:
        if not User.objects.filter(email=plain).exists():  # the name, at the same moment
            raise ValidationError({"name": NAME_TAKEN}) from error
        raise ValidationError({"email": _("Somebody with this email is in the club already.")}) from error
    wanted = {role.value for role in roles} | {Role.MEMBER.value}
    user.groups.set(Group.objects.filter(name__in=wanted))
    person_event(EventKind.MEMBERSHIP_BEGUN, by=invited_by, person=user)
    for role in sorted(wanted):
        person_event(EventKind.ROLE_GIVEN, by=invited_by, person=user, reference=role)
    return user


@transaction.atomic
def profile_change(*, by: User, name: str, units: str, phone: str | None = None) -> None:
    """A person's own name, units and telephone; None leaves that as it is. A name that reads like another's is refused:
    an organiser may give it. ValidationError by field.
    """
    by.units = clean_units(units)
    if phone is not None:
        by.phone = phone_clean(phone)
    by.save(update_fields=["units", "phone"])
    _name_write(by, name, is_shared=False)


@transaction.atomic
def person_rename(*, by: User, person: User, name: str, is_shared: bool = False) -> None:
    """An organiser gives the name by which everybody knows the person. One that reads like another's only where they
    say that the two share it.
    """
    require_perm(by, "members.grant_role")
    _name_write(person, name, is_shared=is_shared, refusal=NAME_OF_TWO)


def _name_write(person: User, name: str, *, is_shared: bool, refusal: Promise | None = None) -> None:
    kept = clean_name(name, longest=NAME_LENGTH)
    # Written another way it is the same name still, and shared if it was.
    if name_keys(kept) != (person.name_drawn, person.name_folded):
        _name_check(kept, is_shared=is_shared, besides=person, refusal=refusal)
        person.is_name_shared = is_shared
    person.name = kept
    try:
        with transaction.atomic():
            person.save(update_fields=["name", "is_name_shared"])
    except IntegrityError as error:  # somebody took one like it at the same moment
        raise ValidationError({"name": NAME_TAKEN}) from error


NAME_TAKEN = _("Somebody here has a name that reads like this one. Add something to it, or ask an organiser.")
NAME_OF_TWO = _("Somebody here has a name that reads like this one. Add something to it, or tick that both may.")


def _name_check(name: str, *, is_shared: bool, besides: User | None = None, refusal: Promise | None = None) -> None:
    others = set(User.objects.get_queryset().reading_like(name).values_list("pk", flat=True))
    if not is_shared and others - {besides.pk if besides else None}:
        raise ValidationError({"name": refusal or NAME_TAKEN})


@transaction.atomic
def sessions_end_everywhere(*, user: User, by: User | None = None) -> None:
    """Sign the person out of every browser at once, this one included: no older session matches the new epoch."""
    User.objects.filter(pk=user.pk).update(session_epoch=F("session_epoch") + 1)
    user.refresh_from_db(fields=["session_epoch"])
    person_event(EventKind.SESSIONS_ENDED, by=by or user, person=user)


@transaction.atomic
def browser_session_end(*, by: User, session: BrowserSession) -> None:
    """End one of one's own sign-ins. Twice is the same as once."""
    if session.person_id != by.pk:
        raise PermissionDenied
    Session.objects.filter(session_key=session.session_key).delete()
    BrowserSession.objects.filter(pk=session.pk).delete()
    person_event(EventKind.SESSIONS_ENDED, by=by, person=by, reference="one")


@transaction.atomic
def sessions_sweep(*, now: datetime | None = None) -> int:
    """Forget sessions that have run out, and what was noted of sessions that are gone; how many rows that were."""
    gone, _rows = Session.objects.filter(expire_date__lt=now or timezone.now()).delete()
    kept = Session.objects.filter(session_key=OuterRef("session_key"))
    notes, _rows = BrowserSession.objects.filter(~Exists(kept)).delete()
    return gone + notes


@transaction.atomic
def sign_in_change_note(*, person: User, kind: SignInChangeKind, address: str = "", detail: str = "") -> None:
    """For the outbox, which tells the person at `address`, the one they had before; theirs where none is given."""
    SignInChange.objects.create(
        person=person, kind=kind, address=address or person.email, detail=detail, changed_at=timezone.now()
    )


@transaction.atomic
def address_ask(*, address: EmailAddress, now: datetime | None = None) -> bool:
    """Whoever opened the link at this further address has shown that it is theirs; True when it may be confirmed.

    Where its owner has a confirmed address, that one is asked first (club/reminders), once more with each press.
    """
    if AddressConsent.objects.filter(address=address, agreed_at__isnull=False).exists():
        return True
    if not EmailAddress.objects.filter(user=address.user, verified=True).exclude(pk=address.pk).exists():
        return True
    AddressConsent.objects.update_or_create(address=address, defaults={"asked_at": now or timezone.now()})
    return False


@transaction.atomic
def address_agree(*, by: User, consent: AddressConsent, now: datetime | None = None) -> None:
    """Yes, from the owner's present address or from an organiser. Twice is the same as once."""
    if by.pk != consent.address.user_id:
        require_perm(by, "members.grant_role")
    waiting = AddressConsent.objects.filter(pk=consent.pk, agreed_at=None)
    waiting.update(agreed_at=now or timezone.now(), agreed_by=by)


CONSENT_SALT = "kettlehall.address"


def consent_token(consent: AddressConsent) -> str:
    return signing.Signer(salt=CONSENT_SALT).sign_object([consent.pk, consent.address.user.email])


def consent_for_token(token: str, *, now: datetime) -> AddressConsent | None:
    """What a mail's link is about while it waits; None too for an address that is not its owner's present one now."""
    try:
        pk, present = signing.Signer(salt=CONSENT_SALT).unsign_object(token)
    except signing.BadSignature:
        return None
    return AddressConsent.objects.waiting(now).filter(pk=pk, address__user__email=present).first()


@transaction.atomic
def second_factors_lift(*, by: User, person: User) -> None:
    """For somebody who has lost their keys and codes: they sign in without, and set them up anew.

    They are told by mail, and signed out everywhere. PermissionDenied for oneself and for a superuser's.
    """
    require_perm(by, "members.grant_role")
    if by.pk == person.pk or (person.is_superuser and not by.is_superuser):
        raise PermissionDenied
    if Authenticator.objects.filter(user=person).delete()[0]:
        sessions_end_everywhere(user=person, by=by)
        sign_in_change_note(person=person, kind=SignInChangeKind.FACTORS_LIFTED)
        person_event(EventKind.FACTOR_REMOVED, by=by, person=person, reference="all")


@transaction.atomic
def member_deactivate(*, by: User, person: User) -> None:
    """End a membership, one's own or (organisers) another's: no sign-in, no sessions, no roles but member, no calendar
    address. What the person made stays. What the rooms do about it is club/desk/leaving.py.
    """
    if by.pk != person.pk:
        require_perm(by, "members.grant_role")
    if person.is_superuser and not by.is_superuser:
        raise PermissionDenied
    keep_an_organiser(besides=person)
    households_hand_on(person)  # their kitchens are locked before them, as when they leave one
    if not User.objects.filter(pk=person.pk, is_active=True).update(is_active=False, left_at=timezone.now()):
        person.refresh_from_db(fields=["is_active", "left_at"])
        return  # it ended before
    person_event(EventKind.MEMBERSHIP_ENDED, by=by, person=person)
    calendar_address_close(by=person)
    for role in sorted(person.role_names - {Role.MEMBER.value}):
        person_event(EventKind.ROLE_TAKEN, by=by, person=person, reference=role)
    person.groups.set(Group.objects.filter(name=Role.MEMBER.value))
    sessions_end_everywhere(user=person, by=by)
    person.refresh_from_db(fields=["is_active", "left_at"])
    person.forget_roles()


@transaction.atomic
def member_reactivate(*, by: User, person: User) -> None:
    """Let a former member in again, as a member; other roles are given anew. ValidationError once the name is erased:
    nobody could sign in.
    """
    require_perm(by, "members.grant_role")
    again = User.objects.filter(pk=person.pk, is_active=False, forgotten_at=None)
    if again.update(is_active=True, left_at=None):
        person_event(EventKind.MEMBERSHIP_BEGUN, by=by, person=person)
    person.refresh_from_db(fields=["is_active", "left_at", "forgotten_at"])
    if person.forgotten_at is not None:
        raise ValidationError(_("The name and address of this person were erased. Invite them anew."))


# What is kept of a former member: as much as lots, ledgers and recalls need, without a name.

THIRD_PARTY = {"account", "mfa"}  # addresses and second steps of signing in are kept by allauth
INVITATION_KEPT = timedelta(days=180)  # of one that nobody accepted; our own choice, no source


@transaction.atomic
def person_forget(*, person: User, now: datetime) -> bool:
    """Erase the name, the address and what signs in; False when that was done before, or they are a member again.

    Checks no permission and no term: its caller has (club/desk/retention.py).
    """
    name = gettext("former member %(number)s") % {"number": person.pk}
    drawn, folded = name_keys(name)
    erased = {
        "name": name,
        "name_drawn": drawn,
        "name_folded": folded,
        "phone": "",
        "email": f"former-{person.pk}@former.invalid",  # RFC 2606: that name is nobody's
        "password": make_password(None),
        "is_staff": False,
        "is_superuser": False,
        "last_login": None,
        "forgotten_at": now,
        "session_epoch": F("session_epoch") + 1,
    }
    if User.objects.filter(pk=person.pk, is_active=False, forgotten_at=None).update(**erased) != 1:
        return False
    for relation in User._meta.related_objects:
        if relation.related_model._meta.app_label in THIRD_PARTY:
            relation.related_model._base_manager.filter(**{relation.field.name: person.pk}).delete()
    BrowserSession.objects.filter(person=person).delete()
    SignInChange.objects.filter(person=person).delete()
    LabelPaper.objects.filter(person=person).delete()
    KitchenInvitation.objects.filter(Q(person=person) | Q(email__iexact=person.email)).delete()
    Invitation.objects.filter(accepted_by=person).update(email=erased["email"], name="")
    LogEntry.objects.filter(content_type__app_label="members", content_type__model="user", object_id=person.pk).update(
        object_repr=name
    )
    alone = person.kitchens.filter(is_hall=False).exclude(
        pk__in=HouseholdMember.objects.filter(user__forgotten_at=None).values("kitchen")
    )
    for kitchen in alone:
        Kitchen.objects.filter(pk=kitchen.pk).update(
            name=gettext("kitchen of former members %(number)s") % {"number": kitchen.pk}
        )
    person_event(EventKind.MADE_NAMELESS, person=person, now=now)
    person.refresh_from_db()
    return True


@transaction.atomic
def invitations_forget(*, now: datetime) -> int:
    """Delete the addresses of people who were asked long ago and did not come; how many rows."""
    before = now - INVITATION_KEPT
    asked, _kinds = Invitation.objects.filter(accepted_at=None, created_at__lte=before, expires_at__lte=now).delete()
    into_kitchens, _kinds = KitchenInvitation.objects.filter(invited_at__lte=before).delete()
    return asked + into_kitchens


@transaction.atomic
def privacy_change(*, by: User, words: str, months: int, now: datetime | None = None) -> Privacy:
    """What the club says, and its term. PermissionDenied; ValidationError (words, months)."""
    require_perm(by, "members.grant_role")
    values = {"words": words.replace("\0", "").strip(), "months": months, "changed_by": by}
    Privacy(**values).clean_fields(exclude=["only"])
    privacy, _made = Privacy.objects.update_or_create(
        only=True, defaults={**values, "changed_at": now or timezone.now()}
    )
    person_event(EventKind.ADMIN_CHANGED, by=by, reference=f"privacy: {months}", now=now)
    return privacy


# Kitchens. Their altitude decides process times, so it comes with how it is known, or not at all.

MOST_INVITATIONS_A_DAY = 10  # by one person, to all their kitchens; our own choice, no source
MOST_WATTS = 1_000_000  # a slip of the pen, not a rule


class SecondLook(Exception):
    """Another altitude would shorten a time or lower a pressure: it is written once somebody looked at it twice.

    `before` is the last altitude that was known, `metres` the one asked for, `lowered` what it lowers.
    """

    def __init__(self, before: KitchenAltitude, metres: Decimal, lowered: list[Lowered]) -> None:
        super().__init__(f"{before.altitude_m} > {metres}")
        self.before = before
        self.metres = metres
        self.lowered = lowered


@transaction.atomic
def kitchen_add(
    *,
    by: User,
    name: str,
    altitude_text: str = "",
    altitude_how: str = "",
    place: str | None = None,
    is_hall: bool = False,
    power_limit_w: int | None = None,
    token: UUID | None = None,
    looked_at: int | None = None,
) -> Kitchen:
    """A kitchen of the person's own, which they found and keep, or a hall of the club's (organisers).

    `altitude_text` is "1040 m", "3400 ft" or empty for unknown; `power_limit_w` is what a hall's wiring carries, None
    where nobody has said. The same `token` again finds the kitchen made the first time and writes to that one, so that
    who goes back and mends the altitude gets the mended one. Raises PermissionDenied, ValidationError (fields name,
    place, altitude, altitude_how, power_limit_w); SecondLook as kitchen_change does.
    """
    if is_hall and not by.has_role(Role.ORGANISER):
        raise PermissionDenied
    if made := Kitchen.objects.filter(token=token).first() if token else None:
        kitchen_change(
            by=by,
            kitchen=made,
            name=name,
            altitude_text=altitude_text,
            altitude_how=altitude_how,
            place=place,
            power_limit_w=power_limit_w,
            looked_at=looked_at,
        )
        return made
    metres, how = _clean_altitude(altitude_text, altitude_how)
    kitchen, is_new = Kitchen.objects.get_or_create(
        token=token or uuid4(),
        defaults={
            "name": clean_name(name, longest=KITCHEN_NAME_LENGTH),
            "place": plain(place or "", field="place", longest=KITCHEN_NAME_LENGTH),
            "is_hall": is_hall,
            "power_limit_w": _clean_power(power_limit_w) if is_hall else None,
            "founded_by": None if is_hall else by,
        },
    )
    if is_new and not is_hall:
        HouseholdMember.objects.create(kitchen=kitchen, user=by, is_keeper=True)
        person_event(EventKind.HOUSEHOLD_JOINED, by=by, person=by, kitchen=kitchen)
    if is_new:
        _altitude_note(kitchen, metres, how, by=by)
    return kitchen


def _altitude_reference(before: Decimal | None, after: Decimal | None) -> str:
    return " > ".join("?" if metres is None else f"{metres.normalize():f} m" for metres in (before, after))


@transaction.atomic
def kitchen_change(
    *,
    by: User,
    kitchen: Kitchen,
    name: str,
    altitude_text: str = "",
    altitude_how: str = "",
    place: str | None = None,
    power_limit_w: int | None = None,
    looked_at: int | None = None,
) -> None:
    """Batches keep the altitude that they were started at; this is for the next ones. Only a hall has a power limit.

    Another altitude is a row of its own, and the whole household is told (club/reminders). One that lies in a lower
    band than the last known one raises SecondLook, unless `looked_at` is the key of the row that was looked at beside
    it. `place` None leaves it as it is. Raises like kitchen_add.
    """
    if not Kitchen.objects.changeable_by(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied
    metres, how = _clean_altitude(altitude_text, altitude_how)
    # Read anew and locked: of two changes at once the second goes from what the first left.
    kept = Kitchen.objects.select_for_update(no_key=True).get(pk=kitchen.pk)
    _second_look(kept, metres, looked_at)
    before, kept.name = kept.name, clean_name(name, longest=KITCHEN_NAME_LENGTH)
    if place is not None:
        kept.place = plain(place, field="place", longest=KITCHEN_NAME_LENGTH)
    kept.power_limit_w = _clean_power(power_limit_w) if kept.is_hall else None
    kept.save(update_fields=["name", "place", "power_limit_w"])
    if before != kept.name:
        household_event(EventKind.HOUSEHOLD_RENAMED, by=by, kitchen=kitchen, reference=f"{before} > {kept.name}")
    if (kept.altitude_m, kept.altitude_how) != (metres, how):
        _altitude_note(kept, metres, how, by=by)
    kitchen.refresh_from_db()


def _altitude_note(kitchen: Kitchen, metres: Decimal | None, how: str, *, by: User) -> None:
    """A row for it, from now on, and the kitchen as the row says. Call it with the kitchen locked or new."""
    last = kitchen.altitudes.last()
    if metres is None and last is None:
        return
    # Never before the last one, though the clock was put back: the latest is the one that counts.
    since = max(timezone.now(), last.since) if last else timezone.now()
    KitchenAltitude.objects.create(kitchen=kitchen, altitude_m=metres, how=how, since=since, noted_by=by)
    household_event(
        EventKind.ALTITUDE_CHANGED, by=by, kitchen=kitchen, reference=_altitude_reference(kitchen.altitude_m, metres)
    )
    kitchen.altitude_m, kitchen.altitude_how = metres, how
    kitchen.save(update_fields=["altitude_m", "altitude_how"])


def _second_look(kitchen: Kitchen, metres: Decimal | None, looked_at: int | None) -> None:
    """From the last altitude that was known: one that was taken out in between shortens nothing and hides nothing."""
    before = kitchen.altitudes.exclude(altitude_m=None).last()
    if metres is None or before is None or before.altitude_m is None or looked_at == before.pk:
        return
    if found := list(lowered(Altitude(metres=Fraction(before.altitude_m)), Altitude(metres=Fraction(metres)))):
        raise SecondLook(before, metres, found)


def _clean_power(watts: int | None) -> int | None:
    if watts is not None and not 1 <= watts <= MOST_WATTS:
        raise ValidationError({"power_limit_w": _("Give the watts that the wiring carries, such as 12000.")})
    return watts


# A household: the people of a kitchen, each of whom accepted. One of them keeps it.


@transaction.atomic
def kitchen_invite(*, by: User, kitchen: Kitchen, email: str, now: datetime | None = None) -> None:
    """Ask the owner of an address to preserve here too. Nothing changes until they accept on their own page.

    The outcome is the same whether or not a member has the address. An address that was asked already is not asked
    again while that stands, even if it was declined or taken back meanwhile. PermissionDenied unless one keeps the
    household; ValidationError (email).
    """
    _household(kitchen, by, keeps=True)
    moment = now or timezone.now()
    address = email.strip().lower()
    try:
        validate_email(address)
    except ValidationError as error:
        raise ValidationError({"email": error.messages}) from error
    if kitchen.people.filter(email=address).exists():
        raise ValidationError({"email": _("They preserve in this kitchen already.")})
    sent_today = KitchenInvitation.objects.filter(invited_by=by, invited_at__gt=moment - timedelta(days=1))
    if sent_today.exclude(kitchen=kitchen, email=address).count() >= MOST_INVITATIONS_A_DAY:
        text = _("You have asked %(n)s addresses today. Ask more tomorrow.") % {"n": MOST_INVITATIONS_A_DAY}
        raise ValidationError({"email": text})
    person = User.objects.filter(email=address, is_active=True).first()
    asked = {"person": person, "invited_by": by, "invited_at": moment}
    made, is_new = KitchenInvitation.objects.get_or_create(kitchen=kitchen, email=address, defaults=asked)
    if is_new:
        return
    if made.accepted_at is None and made.invited_at > moment - KITCHEN_INVITATION_KEPT:
        asked = {"person": person, "invited_by": by}
    else:
        asked |= {"accepted_at": None, "declined_at": None}
    KitchenInvitation.objects.filter(pk=made.pk).update(**asked, withdrawn_at=None)


@transaction.atomic
def kitchen_invitation_withdraw(*, by: User, invitation: KitchenInvitation, now: datetime | None = None) -> None:
    """Take it back before it is accepted: who asked, while they are of the household, or who keeps it now. Twice is
    the same as once.
    """
    _household(invitation.kitchen, by, keeps=invitation.invited_by_id != by.pk)
    waiting = KitchenInvitation.objects.filter(pk=invitation.pk, accepted_at=None, withdrawn_at=None)
    waiting.update(withdrawn_at=now or timezone.now())


@transaction.atomic
def kitchen_invitation_answer(
    *, by: User, invitation: KitchenInvitation, accept: bool, now: datetime | None = None
) -> None:
    """The person's own answer. With a yes they preserve here, and see and log the batches of this kitchen.

    PermissionDenied for anybody else; ValidationError where it is not waiting any more.
    """
    if invitation.person_id != by.pk or not by.is_active:
        raise PermissionDenied
    moment = now or timezone.now()
    answered = {"accepted_at": moment} if accept else {"declined_at": moment}
    # The state is in the statement that answers: taken back a moment ago, it lets nobody in.
    if KitchenInvitation.objects.shown(moment).filter(pk=invitation.pk, declined_at=None).update(**answered) != 1:
        raise ValidationError(_("This is over: it was answered, taken back, or too long ago. Ask them to ask again."))
    if accept:
        invitation.kitchen.people.add(by)
        person_event(EventKind.HOUSEHOLD_JOINED, by=by, person=by, kitchen=invitation.kitchen)


@transaction.atomic
def household_leave(*, by: User, kitchen: Kitchen, now: datetime | None = None) -> None:
    """One's own act, whoever founded or keeps it. Whoever made a batch here keeps it. The last one stays.

    When the keeper goes, who founded it keeps it, else whoever has been here longest.
    """
    _household(kitchen, by)
    _person_out(kitchen, by, by, now or timezone.now())


@transaction.atomic
def household_remove(*, by: User, kitchen: Kitchen, person: User, now: datetime | None = None) -> None:
    """The keeper puts somebody out, but nobody the one who founded it. Whoever made a batch here keeps it.

    What the one who goes had asked is taken back. Twice is the same as once.
    """
    _household(kitchen, by, keeps=True)
    if person.pk == by.pk:
        raise ValidationError(_("You leave a kitchen yourself: press Leave."))
    if person.pk == kitchen.founded_by_id:
        raise ValidationError(_("%(person)s founded this kitchen: they leave it themselves.") % {"person": person})
    _person_out(kitchen, person, by, now or timezone.now())


@transaction.atomic
def household_hand_on(*, by: User, kitchen: Kitchen, person: User) -> None:
    """Another of the household keeps it from now on. PermissionDenied unless one keeps it; ValidationError where the
    other is not of it (any more).
    """
    _household(kitchen, by, keeps=True)
    if not kitchen.household.filter(user=person, user__is_active=True).exists():
        raise ValidationError(_("%(person)s is not of this kitchen.") % {"person": person})
    if person.pk != by.pk:
        _keeper_set(kitchen, person.pk)
        household_event(EventKind.HOUSEHOLD_HANDED_ON, by=by, kitchen=kitchen, reference=f"{by} > {person}")


def _household(kitchen: Kitchen, by: User, *, keeps: bool = False) -> None:
    """Lock the household, so that who goes, who keeps it and who is asked follow one another; then PermissionDenied
    unless `by` is of it, or keeps it.
    """
    locked = Kitchen.objects.select_for_update(no_key=True).get(pk=kitchen.pk)
    kitchen.founded_by_id = locked.founded_by_id
    own = kitchen.household.filter(user=by, is_keeper=True) if keeps else kitchen.household.filter(user=by)
    if locked.is_hall or not own.exists():
        raise PermissionDenied


def _person_out(kitchen: Kitchen, person: User, by: User, moment: datetime) -> None:
    own = kitchen.household.filter(user=person)
    if own.exists() and not kitchen.household.exclude(user=person).exists():
        raise ValidationError(_("A kitchen belongs to somebody: the last one stays."))
    kept_it = own.filter(is_keeper=True).exists()
    if own.delete()[0]:
        kind = EventKind.HOUSEHOLD_LEFT if by.pk == person.pk else EventKind.HOUSEHOLD_REMOVED
        person_event(kind, by=by, person=person, kitchen=kitchen)
    if person.pk == kitchen.founded_by_id:
        kitchen.founded_by = None
        kitchen.save(update_fields=["founded_by"])
    if kept_it:
        _keeper_find(kitchen)
    User.objects.filter(pk=person.pk, kitchen_chosen=kitchen).update(kitchen_chosen=None)
    User.objects.filter(pk=person.pk, kitchen_used=kitchen).update(kitchen_used=None)
    asked = kitchen.invitations.filter(invited_by=person, accepted_at=None, withdrawn_at=None)
    asked.update(withdrawn_at=moment)


def _keeper_find(kitchen: Kitchen, besides: User | None = None) -> None:
    """Who founded it, else whoever has been of it longest; those whose membership ended, and `besides`, come last."""
    rows = list(kitchen.household.select_related("user").order_by("pk"))
    rows.sort(key=lambda row: (not row.user.is_active or row.user == besides, row.user_id != kitchen.founded_by_id))
    if rows:
        _keeper_set(kitchen, rows[0].user_id)


def _keeper_set(kitchen: Kitchen, person_id: int) -> None:
    kitchen.household.filter(is_keeper=True).update(is_keeper=False)
    kitchen.household.filter(user=person_id).update(is_keeper=True)


def households_hand_on(person: User) -> None:
    """What somebody kept whose membership ends, another of the household keeps. Checks no permission."""
    for kitchen in Kitchen.objects.kept_by(person).order_by("pk").select_for_update(of=("self",), no_key=True):
        _keeper_find(kitchen, besides=person)


@transaction.atomic
def kitchen_choose(*, by: User, kitchen: Kitchen) -> None:
    """Pages show figures for it unless another is asked for. PermissionDenied where they cannot use it."""
    if not Kitchen.objects.usable_by(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied
    by.kitchen_chosen = kitchen
    by.save(update_fields=["kitchen_chosen"])


def kitchen_used(*, by: User, kitchen: Kitchen) -> None:
    """Note where somebody preserved last. Checks no permission: its caller has."""
    User.objects.filter(pk=by.pk).update(kitchen_used=kitchen)


def _clean_altitude(text: str, how: str) -> tuple[Decimal | None, str]:
    if not text.strip():
        return None, ""
    try:
        metres = metres_from_text(text)
    except AltitudeError as error:
        raise ValidationError({"altitude": words_of(error, get_language())}) from error
    if how not in AltitudeHow.values:
        raise ValidationError({"altitude_how": _("Say how the altitude is known.")})
    return metres, how


# Invitations: the only way into the club.

ALREADY_INVITED = _("This person has an open invitation. Send that one again, or withdraw it first.")
SETTLED = _("This invitation was accepted or withdrawn already.")
# A mail to an address that nobody has confirmed may reach anybody. By one organiser; our own choice, no source.
MOST_INVITED_A_DAY, MOST_TIMES_SENT = 100, 5


@transaction.atomic
def invitation_send(*, by: User, email: str, name: str, role: str) -> Invitation:
    """Invite somebody by mail, to join in `role`. Raises PermissionDenied, ValidationError (email, name, role)."""
    if role not in set(Role):
        raise ValidationError({"role": _("Choose one of the roles.")})
    _require_may_invite(by, Role(role))
    now = timezone.now()
    plain = _clean_email(email, now=now)
    name = seen(name)
    if len(name) > NAME_LENGTH:
        raise ValidationError({"name": _("A name has at most %(longest)d letters.") % {"longest": NAME_LENGTH}})
    if Invitation.objects.filter(invited_by=by, created_at__gt=now - timedelta(days=1)).count() >= MOST_INVITED_A_DAY:
        text = _("You have invited %(n)s people today. Invite more tomorrow.") % {"n": MOST_INVITED_A_DAY}
        raise ValidationError({"email": text})
    # One that ran out makes room for the new one.
    Invitation.objects.for_email(plain).unsettled().filter(expires_at__lte=now).update(withdrawn_at=now)
    try:
        with transaction.atomic():
            invitation = Invitation.objects.create(
                email=plain, name=name, role=role, nonce=new_nonce(), invited_by=by, expires_at=_end(now)
            )
    except IntegrityError as error:  # somebody else invited the same person at the same moment
        raise ValidationError({"email": ALREADY_INVITED}) from error
    mail_invitation_on_commit(invitation)
    return invitation


MOST_INVITED = 200  # by one file; our own choice, no source


@dataclass(frozen=True)
class PeopleImport:
    """What a file of people comes to: who is (or would be) invited, or every problem by row and column."""

    invited: list[Invitation]
    problems: list[Problem]


def people_import(*, by: User, rows: Sequence[Row], file: str, dry_run: bool = True) -> PeopleImport:
    """Invite everybody of a table with the columns email, name and role (empty: member), each by mail.

    With a problem in any row, and in a dry run, nothing is written and nobody gets a mail. PermissionDenied for who may
    not invite.
    """
    require_perm(by, "members.invite_member")
    invited: list[Invitation] = []
    problems: list[Problem] = []
    if len(rows) > MOST_INVITED:
        many = gettext("At most %(n)s people at a time. Divide the file.") % {"n": MOST_INVITED}
        return PeopleImport([], [Problem(file, rows[MOST_INVITED].number, "email", many)])
    with transaction.atomic():
        for row in rows:
            role = row.get("role").lower() or Role.MEMBER.value
            try:
                invited.append(invitation_send(by=by, email=row.get("email"), name=row.get("name"), role=role))
            except PermissionDenied:
                text = gettext("You may not invite somebody into this role.")
                problems.append(Problem(file, row.number, "role", text))
            except ValidationError as error:
                for column, sentences in messages_by_field(error).items():
                    problems.append(Problem(file, row.number, column or "email", " ".join(sentences)))
        if dry_run or problems:
            transaction.set_rollback(True)
    return PeopleImport(invited, problems)


@transaction.atomic
def invitation_send_again(*, by: User, invitation: Invitation) -> Invitation:
    """A new link with a new term, in the name of who sends it now; the older link is dead from now on."""
    _require_may_invite(by, Role(invitation.role))
    if is_members_email(invitation.email):
        raise ValidationError(_("Somebody with this email is in the club already."))
    changed = (
        Invitation.objects.unsettled()
        .filter(pk=invitation.pk, times_sent__lt=MOST_TIMES_SENT)
        .update(
            nonce=new_nonce(),
            expires_at=_end(timezone.now()),
            mailed_at=None,
            invited_by=by,
            times_sent=F("times_sent") + 1,
        )
    )
    if changed != 1:
        if Invitation.objects.unsettled().filter(pk=invitation.pk).exists():
            raise ValidationError(_("It was sent %(n)s times. Withdraw it, and ask them.") % {"n": MOST_TIMES_SENT})
        raise ValidationError(SETTLED)
    invitation.refresh_from_db()
    mail_invitation_on_commit(invitation)
    return invitation


@transaction.atomic
def invitation_withdraw(*, by: User, invitation: Invitation) -> None:
    """The link is dead from now on. Withdrawing twice is the same as once."""
    require_perm(by, "members.invite_member")
    now = timezone.now()
    changed = Invitation.objects.unsettled().filter(pk=invitation.pk).update(withdrawn_at=now)
    invitation.refresh_from_db()
    if changed != 1 and invitation.withdrawn_at is None:
        raise ValidationError(SETTLED)


@transaction.atomic
def invitation_accept(*, token: str, name: str, password: str, units: str) -> User:
    """Turn an open invitation into a member; the mail it came by has proved the email.

    1. The link must be good and its row open. 2. The password must be fit for this person. 3. The row is claimed
    by a conditional update, so that of two acceptances at the same moment one wins. 4. The member is made, and
    the row says who. Anything refused leaves the invitation as it was.
    Raises InvitationClosed, ValidationError (name, password, units, email).
    """
    now = timezone.now()
    invitation = invitation_for_token(token, now=now)
    _check_password(password, email=invitation.email, name=name)
    claimed = Invitation.objects.open(now).filter(nonce=invitation.nonce).update(accepted_at=now)
    if claimed != 1:
        raise InvitationClosed(Closed.USED)
    user = member_enrol(
        email=invitation.email,
        name=name,
        password=password,
        units=units,
        roles=[Role(invitation.role)],
        # As the organiser wrote it who invited them: they know of the other.
        is_name_shared=name_keys(name) == name_keys(invitation.name),
        invited_by=invitation.invited_by,
    )
    Invitation.objects.filter(pk=invitation.pk).update(accepted_by=user)
    return user


def _require_may_invite(by: User, role: Role) -> None:
    if not may_invite(by, role):
        raise PermissionDenied


def _clean_email(email: str, *, now: datetime) -> str:
    plain = email.strip().lower()
    try:
        validate_email(plain)
    except ValidationError as error:
        raise ValidationError({"email": error.messages}) from error
    if is_members_email(plain):
        raise ValidationError({"email": _("Somebody with this email is in the club already.")})
    if Invitation.objects.for_email(plain).open(now).exists():
        raise ValidationError({"email": ALREADY_INVITED})
    return plain


def _check_password(password: str, *, email: str, name: str) -> None:
    try:
        validate_password(password, User(email=email, name=name))
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from error


def _end(now: datetime) -> datetime:
    return now + timedelta(days=settings.INVITATION_DAYS)


# The door to the street.

JOIN_KEPT = timedelta(days=180)  # our own choice, no source: as long as somebody may ask what became of it


@transaction.atomic
def street_change(*, by: User, is_open: bool, about: str, hours: str, joining: str) -> StreetPage:
    """What who has no account may read, and whether they may. PermissionDenied."""
    require_perm(by, "members.grant_role")
    told = {"is_open": is_open, "about": about, "hours": hours, "joining": joining}
    row, _made = StreetPage.objects.update_or_create(
        only=True, defaults={**told, "changed_by": by, "changed_at": timezone.now()}
    )
    return row


@transaction.atomic
def join_ask(*, name: str, email: str, words: str, now: datetime | None = None) -> None:
    """Note that somebody would like to join; PermissionDenied while the door is shut.

    Nothing is noted of an address that is in the club, was invited or asked already, and nothing tells that apart.
    """
    if not street_page().is_open:
        raise PermissionDenied
    plain, now = email.strip().lower(), now or timezone.now()
    if is_members_email(plain) or Invitation.objects.for_email(plain).unsettled().filter(expires_at__gt=now).exists():
        return
    row = JoinRequest(name=seen(name)[:NAME_LENGTH], email=plain, words=" ".join(words.split()), asked_at=now)
    JoinRequest.objects.bulk_create([row], ignore_conflicts=True)


@transaction.atomic
def join_answer(*, by: User, request: JoinRequest, invite: bool, now: datetime | None = None) -> None:
    """Invite who asked, as a member, or decline. PermissionDenied, AlreadyDone, ValidationError (email)."""
    require_perm(by, "members.invite_member")
    state = JoinState.INVITED if invite else JoinState.DECLINED
    answered = {"state": state, "answered_by": by, "answered_at": now or timezone.now()}
    if JoinRequest.objects.filter(pk=request.pk, state=JoinState.ASKED).update(**answered) != 1:
        raise AlreadyDone(_("Somebody has answered it already."))
    if invite:
        invitation_send(by=by, email=request.email, name=request.name, role=Role.MEMBER)


def joins_forget(*, now: datetime) -> int:
    """Requests to join go half a year after they were asked, answered or not; how many."""
    return JoinRequest.objects.filter(asked_at__lt=now - JOIN_KEPT).delete()[0]
