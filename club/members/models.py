"""People and kitchens. A kitchen's altitude decides every process time, so how it is known is kept beside it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, fields
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any, ClassVar

from allauth.account.models import EmailAddress
from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.contrib.sessions.models import Session
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Exists, F, OuterRef, Q, Subquery
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.functional import Promise, cached_property
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.clock import at_hour
from club.core.fields import NameField
from club.core.sheets import LEAST_LABEL, MOST_PAPER, PLAIN, Sheet
from club.core.text import reads_like
from club.members.choices import LABELS, EventKind, LabelSigned, Role, SignInChangeKind, Skill, SkillHow
from club.members.rules import altitude_words, device_words
from recipes.engine.terms import Altitude

# ISO 2533 is used from the lowest shore on land to the highest towns; outside it the height is a slip of the pen.
LOWEST_M = Decimal("-430")
HIGHEST_M = Decimal("5000")
NAME_LENGTH, KITCHEN_NAME_LENGTH, REASON_LENGTH, PHONE_LENGTH = 120, 80, 300, 40
KEY_LENGTH = 2 * NAME_LENGTH  # one letter may be drawn as several; of a longer one the beginning
REFERENCE_LENGTH = 120
MIDNIGHT = time(0)
KITCHEN_INVITATION_KEPT = timedelta(days=30)  # our own choice, no source


class Units(models.TextChoices):
    METRIC = "metric", _("metric (grams, litres)")
    US = "us", _("US (cups, pounds)")


def name_keys(name: str) -> tuple[str, str]:
    """What a person's name reads like, as it is kept: `club.core.text.reads_like`."""
    drawn, folded = reads_like(name)
    return drawn[:KEY_LENGTH], folded[:KEY_LENGTH]


class UserQuerySet(models.QuerySet["User"]):
    def reading_like(self, name: str) -> UserQuerySet:
        """Whose name reads like this one, former members among them."""
        drawn, folded = name_keys(name)
        return self.filter(Q(name_drawn=drawn) | Q(name_folded=folded)).exclude(name="")

    def with_roles(self) -> UserQuerySet:
        """For lists: the roles of all the people in one query."""
        return self.prefetch_related("groups")

    def holding(self, role: Role) -> UserQuerySet:
        """Active people who hold the role themselves (a superuser without the group does not count)."""
        return self.filter(is_active=True, groups__name=role.value)

    def called(self, text: str) -> UserQuerySet:
        """Active people whose name has these letters, or whose email begins with them."""
        return self.filter(Q(name__icontains=text) | Q(email__istartswith=text), is_active=True)

    def to_forget(self, left_before: datetime) -> UserQuerySet:
        """Who left before that moment and still has a name here."""
        return self.filter(is_active=False, forgotten_at=None, left_at__lte=left_before).order_by("left_at", "pk")

    def in_order(self) -> UserQuerySet:
        return self.order_by(Lower("name"), "pk")


class UserManager(BaseUserManager["User"]):
    def get_queryset(self) -> UserQuerySet:
        return UserQuerySet(self.model, using=self._db)

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        user = self.model(email=email.strip().lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> User:
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)

    def get_by_natural_key(self, email: str | None) -> User:
        """Exactly: in a database's own idea of case an "ı" is an "i", and that address is another person's."""
        return self.get(email=(email or "").strip().lower())


class User(AbstractBaseUser, PermissionsMixin):
    """A member of the club. Email is the sign-in name; roles are groups (see roles.py)."""

    email = models.EmailField(_("email"), unique=True)
    name = NameField(_("name"), max_length=NAME_LENGTH)
    # What it reads like (`name_keys`). Nobody takes a name that reads like another's by themselves; where an organiser
    # let somebody, the two share it.
    name_drawn = models.CharField(max_length=KEY_LENGTH, blank=True, editable=False)
    name_folded = models.CharField(max_length=KEY_LENGTH, blank=True, editable=False)
    is_name_shared = models.BooleanField(default=False, editable=False)
    units = models.CharField(_("units"), max_length=8, choices=Units.choices, default=Units.METRIC)
    # For recalls alone: organisers see it on a recall's list of people to reach, and nobody else does. It stays with
    # who left the club as long as their name does: a jar of theirs may be called back.
    phone = models.CharField(_("telephone"), max_length=PHONE_LENGTH, blank=True)
    is_staff = models.BooleanField(default=False)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(default=timezone.now)
    # When the membership ended, and when name and address were erased. Empty for who is a member.
    left_at = models.DateTimeField(null=True, blank=True, editable=False)
    forgotten_at = models.DateTimeField(null=True, blank=True, editable=False)
    # Where pages show figures for when nothing else is asked for: as chosen, else where the last batch was started.
    kitchen_chosen = models.ForeignKey(
        "Kitchen", on_delete=models.SET_NULL, null=True, blank=True, editable=False, related_name="+"
    )
    kitchen_used = models.ForeignKey(
        "Kitchen", on_delete=models.SET_NULL, null=True, blank=True, editable=False, related_name="+"
    )
    # Part of what a session must match; counting it up ends all of a person's sessions at once.
    session_epoch = models.PositiveIntegerField(default=0, editable=False)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("email"), name="one_user_per_email"),
            *(
                models.UniqueConstraint(
                    fields=[key],
                    name=f"one_member_per_{key}",
                    condition=Q(is_active=True, is_name_shared=False) & ~Q((key, "")),
                )
                for key in ("name_drawn", "name_folded")
            ),
        ]
        permissions = [("invite_member", "Can invite people"), ("grant_role", "Can give and take roles")]

    def __str__(self) -> str:
        return self.name or self.email

    def save(self, *, update_fields: Iterable[str] | None = None, **options: Any) -> None:
        """What the name reads like goes with it."""
        if update_fields is None or "name" in update_fields:
            self.name_drawn, self.name_folded = name_keys(self.name)
            update_fields = None if update_fields is None else {*update_fields, "name_drawn", "name_folded"}
        super().save(update_fields=update_fields, **options)

    def get_full_name(self) -> str:
        return self.name

    def get_short_name(self) -> str:
        return self.name.split(" ")[0] or self.email

    @cached_property
    def role_names(self) -> frozenset[str]:
        return frozenset(group.name for group in self.groups.all())

    @property
    def role_labels(self) -> list[Promise]:
        return [LABELS[role] for role in Role if role.value in self.role_names]

    def forget_roles(self) -> None:
        """Drop what this object remembers of its roles and permissions, after they were changed."""
        for name in ("role_names", "_perm_cache", "_group_perm_cache", "_user_perm_cache", "_prefetched_objects_cache"):
            self.__dict__.pop(name, None)

    def has_role(self, *roles: Role) -> bool:
        """True when the person holds any of the roles. A superuser holds them all."""
        return self.is_superuser or any(role.value in self.role_names for role in roles)

    def get_session_auth_hash(self) -> str:
        return self._session_hash(settings.SECRET_KEY)

    def get_session_auth_fallback_hash(self) -> Iterator[str]:
        for secret in settings.SECRET_KEY_FALLBACKS:
            yield self._session_hash(secret)

    def _session_hash(self, secret: str | bytes) -> str:
        """A session ends when the password changes, as Django has it, and also when the epoch is counted up."""
        value = f"{self.session_epoch}:{self.password}"
        return salted_hmac("kettlehall.session", value, secret=secret, algorithm="sha256").hexdigest()


def height_words(metres: Decimal | None) -> str:
    """In metres and feet, or nothing for what is unknown."""
    return "" if metres is None else altitude_words(Altitude(metres=Fraction(metres)))


class AltitudeHow(models.TextChoices):
    SURVEY = "survey", _("survey mark or official map")
    MAP = "map", _("looked up on a map for the address")
    GPS = "gps", _("read from a GPS or phone")
    BAROMETER = "barometer", _("from a barometer or boiling water test")
    TOLD = "told", _("told by somebody")


class KitchenQuerySet(models.QuerySet["Kitchen"]):
    def usable_by(self, user: User) -> KitchenQuerySet:
        """The gate: a person preserves in their own kitchens and in the club's halls."""
        return self.filter(Q(is_hall=True) | Q(people=user)).distinct()

    def changeable_by(self, user: User) -> KitchenQuerySet:
        """Own kitchens; the halls are the organisers' to change."""
        if user.has_role(Role.ORGANISER):
            return self.filter(Q(is_hall=True) | Q(people=user)).distinct()
        return self.filter(is_hall=False, people=user)

    def kept_by(self, user: User) -> KitchenQuerySet:
        """Those whose household the person keeps: they ask people in and remove them."""
        return self.filter(is_hall=False, household__user=user, household__is_keeper=True)


class Kitchen(models.Model):
    """A place where preserving is done. No altitude means no process time, never a guess."""

    name = NameField(_("name"), max_length=KITCHEN_NAME_LENGTH)
    # What tells it from another of its name.
    place = NameField(_("town or street"), max_length=KITCHEN_NAME_LENGTH, blank=True)
    is_hall = models.BooleanField(_("club hall"), default=False)
    # As the last of its KitchenAltitude rows says; triggers.py holds the two together.
    # Four decimals hold every whole foot exactly (1 ft = 0.3048 m).
    altitude_m = models.DecimalField(
        _("altitude in metres"),
        max_digits=9,
        decimal_places=4,
        null=True,
        blank=True,
        validators=[MinValueValidator(LOWEST_M), MaxValueValidator(HIGHEST_M)],
    )
    altitude_how = models.CharField(
        _("how the altitude is known"), max_length=12, choices=AltitudeHow.choices, blank=True
    )
    # What the wiring carries at once, all stoves together; empty: nobody has said yet.
    power_limit_w = models.PositiveIntegerField(_("electrical limit in watts"), null=True, blank=True)
    # The household: each of them named this kitchen or accepted an invitation to it.
    people = models.ManyToManyField(User, through="HouseholdMember", related_name="kitchens", blank=True)
    # Nobody else can put them out. Nobody in a hall, and where they left.
    founded_by = models.ForeignKey(
        User, on_delete=models.PROTECT, null=True, blank=True, editable=False, related_name="kitchens_founded"
    )
    # The form's own token: the same form sent twice finds the kitchen it made the first time.
    token = models.UUIDField(null=True, blank=True, unique=True, editable=False)
    created_at = models.DateTimeField(default=timezone.now)

    objects = KitchenQuerySet.as_manager()

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                name="kitchen_altitude_is_on_land",
                condition=Q(altitude_m=None) | Q(altitude_m__gte=LOWEST_M, altitude_m__lte=HIGHEST_M),
            ),
            models.CheckConstraint(
                name="kitchen_altitude_says_how_it_is_known",
                condition=Q(altitude_m=None, altitude_how="") | (Q(altitude_m__isnull=False) & ~Q(altitude_how="")),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def altitude(self) -> Altitude | None:
        return None if self.altitude_m is None else Altitude(metres=Fraction(self.altitude_m))

    @property
    def altitude_words(self) -> str:
        """In metres and feet, or nothing where it is unknown."""
        return height_words(self.altitude_m)


class HouseholdMember(models.Model):
    """Somebody of a kitchen's household. One of them keeps it."""

    kitchen = models.ForeignKey(Kitchen, on_delete=models.CASCADE, related_name="household")
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="households")
    is_keeper = models.BooleanField(default=False)

    class Meta:
        db_table = "members_kitchen_people"
        ordering = ["pk"]
        unique_together = [("kitchen", "user")]
        constraints = [
            models.UniqueConstraint(fields=["kitchen"], name="one_keeper_per_household", condition=Q(is_keeper=True)),
        ]

    def __str__(self) -> str:
        return f"{self.kitchen_id} {self.user_id}"


def default_kitchen(user: User, kitchens: Iterable[Kitchen]) -> Kitchen | None:
    """Of those the person can use: the one they chose, else the one they used last, else the first they founded.

    None where nothing of this says which is meant. A kitchen that others shared with them is never it by itself: its
    altitude would become theirs without their doing.
    """
    usable = {kitchen.pk: kitchen for kitchen in kitchens}
    founded = sorted(pk for pk, kitchen in usable.items() if kitchen.founded_by_id == user.pk)
    wanted = (user.kitchen_chosen_id, user.kitchen_used_id, *founded)
    return next((usable[pk] for pk in wanted if pk in usable), None)


def kitchen_words(kitchens: Iterable[Kitchen]) -> dict[int, str]:
    """What each of these kitchens is called where one of them is chosen, by its key.

    Its name; with town or street, then also with its keeper, then with its number where another of them reads like it.
    One query, where two have one name.
    """
    listed = {kitchen.pk: kitchen for kitchen in kitchens}
    words = {pk: kitchen.name for pk, kitchen in listed.items()}
    if not (unclear := _alike(words)):
        return words
    keepers = HouseholdMember.objects.filter(kitchen__in=unclear, is_keeper=True)
    names = {row.kitchen_id: str(row.user) for row in keepers.select_related("user")}
    more = (
        {pk: kitchen.place for pk, kitchen in listed.items()},
        {pk: gettext("kept by %(person)s") % {"person": name} for pk, name in names.items()},
        {pk: gettext("number %(number)d") % {"number": pk} for pk in listed},
    )
    for told in more:
        words |= {pk: f"{words[pk]}, {told[pk]}" for pk in unclear if told.get(pk)}
        unclear = _alike(words)
    return words


def _alike(words: Mapping[int, str]) -> set[int]:
    """The keys of those that read like another of them."""
    keys = {pk: reads_like(name) for pk, name in words.items()}
    counts = [Counter(pair) for pair in zip(*keys.values(), strict=True)]
    return {pk for pk, pair in keys.items() if any(counts[n][key] > 1 for n, key in enumerate(pair))}


class KitchenInvitationQuerySet(models.QuerySet["KitchenInvitation"]):
    def shown(self, now: datetime) -> KitchenInvitationQuerySet:
        """What its household sees as not answered. One that was declined is among them until it expires: that an
        address is a member's is not for the household to learn.
        """
        return self.filter(accepted_at=None, withdrawn_at=None, invited_at__gt=now - KITCHEN_INVITATION_KEPT)

    def open(self, now: datetime) -> KitchenInvitationQuerySet:
        """What its person can answer."""
        waiting = self.shown(now).filter(declined_at=None, person__is_active=True)
        return waiting.exclude(kitchen__people=F("person"))


class KitchenInvitation(models.Model):
    """Somebody of a household asks the owner of an address to preserve in their kitchen too.

    `person` is the member with that address, nobody for an address that no member has. Until they accept it changes
    nothing for anybody.
    """

    kitchen = models.ForeignKey(Kitchen, on_delete=models.CASCADE, related_name="invitations")
    email = models.EmailField(_("email"))
    person = models.ForeignKey(
        User, on_delete=models.CASCADE, null=True, blank=True, related_name="kitchen_invitations"
    )
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    invited_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    declined_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = KitchenInvitationQuerySet.as_manager()

    class Meta:
        ordering = ["invited_at", "pk"]
        indexes = [models.Index(fields=["invited_at"])]
        constraints = [
            models.UniqueConstraint(F("kitchen"), Lower("email"), name="one_kitchen_invitation_per_address"),
        ]

    def __str__(self) -> str:
        return f"{self.kitchen_id} {self.email}"

    @property
    def ends_at(self) -> datetime:
        return self.invited_at + KITCHEN_INVITATION_KEPT


class KitchenAltitudeQuerySet(models.QuerySet["KitchenAltitude"]):
    def with_the_one_before(self) -> KitchenAltitudeQuerySet:
        """`is_first` of its kitchen, else `before_m`: what was known until then, in metres, None for nothing."""
        earlier = KitchenAltitude.objects.filter(kitchen=OuterRef("kitchen")).filter(
            Q(since__lt=OuterRef("since")) | Q(since=OuterRef("since"), pk__lt=OuterRef("pk"))
        )
        before = earlier.order_by("-since", "-pk").values("altitude_m")[:1]
        return self.annotate(is_first=~Exists(earlier), before_m=Subquery(before))


class KitchenAltitude(models.Model):
    """What a kitchen's altitude is taken to be from a moment on, as somebody said it. Empty: unknown from then on.

    Rows are never changed or deleted (triggers.py). `noted_by` is nobody for what was there before anybody was noted.
    """

    kitchen = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="altitudes")
    altitude_m = models.DecimalField(max_digits=9, decimal_places=4, null=True, blank=True)
    how = models.CharField(max_length=12, choices=AltitudeHow.choices, blank=True)
    since = models.DateTimeField()
    noted_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = KitchenAltitudeQuerySet.as_manager()

    class Meta:
        ordering = ["since", "pk"]
        indexes = [models.Index(fields=["since"])]
        constraints = [
            models.CheckConstraint(
                name="noted_altitude_is_on_land",
                condition=Q(altitude_m=None) | Q(altitude_m__gte=LOWEST_M, altitude_m__lte=HIGHEST_M),
            ),
            models.CheckConstraint(
                name="noted_altitude_says_how_it_is_known",
                condition=Q(altitude_m=None, how="") | (Q(altitude_m__isnull=False) & ~Q(how="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kitchen_id} {self.altitude_m}"

    @property
    def altitude_words(self) -> str:
        """In metres and feet, or nothing where it is unknown."""
        return height_words(self.altitude_m)


class InvitationQuerySet(models.QuerySet["Invitation"]):
    def unsettled(self) -> InvitationQuerySet:
        """Neither accepted nor withdrawn; it may have expired."""
        return self.filter(accepted_at=None, withdrawn_at=None)

    def open(self, now: datetime) -> InvitationQuerySet:
        return self.unsettled().filter(expires_at__gt=now)

    def for_email(self, email: str) -> InvitationQuerySet:
        return self.filter(email__iexact=email.strip())


class Invitation(models.Model):
    """An organiser's invitation by mail: signed, expiring, good for one person once."""

    email = models.EmailField(_("email"))
    name = NameField(_("name"), max_length=NAME_LENGTH, blank=True)
    role = models.CharField(_("role"), max_length=12, choices=Role.choices(), default=Role.MEMBER.value)
    # What the link carries, signed. Sending again replaces it, so that the older link is dead.
    nonce = models.CharField(max_length=43, unique=True)
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="invitations_sent")
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    # Empty: the mail for the present nonce has not left (yet); the people page says so.
    mailed_at = models.DateTimeField(null=True, blank=True)
    times_sent = models.PositiveSmallIntegerField(default=1, editable=False)
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.OneToOneField(User, on_delete=models.PROTECT, null=True, blank=True, related_name="invitation")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = InvitationQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                Lower("email"),
                name="one_unsettled_invitation_per_email",
                condition=Q(accepted_at=None, withdrawn_at=None),
            )
        ]

    def __str__(self) -> str:
        return self.email


class SkillQuerySet(models.QuerySet["SkillRecord"]):
    def valid(self) -> SkillQuerySet:
        return self.filter(withdrawn_at=None)

    def for_list(self) -> SkillQuerySet:
        return self.select_related("person", "noted_by").order_by("skill", Lower("person__name"), "pk")


class SkillRecord(models.Model):
    """What a person learned here, or was let off learning, and who says so. Withdrawn, never deleted."""

    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="skill_records")
    skill = models.CharField(_("skill"), max_length=40, choices=Skill.choices)
    how = models.CharField(max_length=8, choices=SkillHow.choices)
    gained_on = models.DateField()
    reason = models.CharField(_("which class, or why it is waived"), max_length=REASON_LENGTH, db_column="told")
    noted_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    noted_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = SkillQuerySet.as_manager()

    class Meta:
        ordering = ["skill", "-gained_on", "pk"]
        permissions = [("note_skill", "Can note what a person learned, and waive it")]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "skill"], name="one_standing_record_per_skill", condition=Q(withdrawn_at=None)
            ),
            models.CheckConstraint(name="skill_says_which_class_or_why", condition=~Q(reason="")),
        ]

    def __str__(self) -> str:
        return f"{self.person_id} {self.skill}"


class CalendarAddress(models.Model):
    """Where a calendar program reads what this person has to do. The token is all it needs, so it can be changed."""

    person = models.OneToOneField(User, on_delete=models.CASCADE, related_name="calendar_address")
    token = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.person_id}"


class LabelPaper(models.Model):
    """The sheets or the roll of labels in somebody's printer: its measures in tenths of a millimetre (`Sheet`), the
    first label that is still on the sheet, and who signs a jar's label.
    """

    person = models.OneToOneField(User, on_delete=models.CASCADE, related_name="label_paper")
    page_width = models.PositiveIntegerField(_("width of the paper"))
    page_height = models.PositiveIntegerField(_("height of the paper"))
    columns = models.PositiveIntegerField(_("labels across"), default=1)
    rows = models.PositiveIntegerField(_("labels down"), default=1)
    side = models.PositiveIntegerField(_("margin left and right"), default=0)
    top = models.PositiveIntegerField(_("margin above and below"), default=0)
    gap_across = models.PositiveIntegerField(_("gap between two side by side"), default=0)
    gap_down = models.PositiveIntegerField(_("gap between two rows"), default=0)
    is_round = models.BooleanField(_("round labels"), default=False)
    first_free = models.PositiveIntegerField(_("first free label"), default=1)
    signed = models.CharField(
        _("the label names"), max_length=8, choices=LabelSigned.choices, default=LabelSigned.KITCHEN
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="label_paper_of_a_printers_size",
                condition=Q(page_width__range=(LEAST_LABEL, MOST_PAPER), page_height__range=(LEAST_LABEL, MOST_PAPER)),
            ),
            models.CheckConstraint(
                name="label_paper_of_some_labels", condition=Q(columns__range=(1, 20), rows__range=(1, 40))
            ),
            models.CheckConstraint(
                name="label_paper_holds_its_labels_across",
                condition=Q(
                    page_width__gte=F("side") * 2 + (F("columns") - 1) * F("gap_across") + F("columns") * LEAST_LABEL
                ),
            ),
            models.CheckConstraint(
                name="label_paper_holds_its_labels_down",
                condition=Q(page_height__gte=F("top") * 2 + (F("rows") - 1) * F("gap_down") + F("rows") * LEAST_LABEL),
            ),
            models.CheckConstraint(
                name="first_free_label_is_on_the_sheet",
                condition=Q(first_free__gte=1, first_free__lte=F("columns") * F("rows")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id}"

    @property
    def sheet(self) -> Sheet:
        return Sheet(**{field.name: getattr(self, field.name) for field in fields(Sheet)})


def label_paper_of(user: User) -> LabelPaper:
    """What they have set, else the club's plain paper to cut; not written then."""
    found = LabelPaper.objects.filter(person=user).first()
    return found or LabelPaper(person=user, **asdict(PLAIN[settings.PAPER]))


# The people's ledger: who did what, to whom, and when. Triggers refuse a change (triggers.py).


class PersonEventQuerySet(models.QuerySet["PersonEvent"]):
    def about(self, user: User) -> PersonEventQuerySet:
        """The gate of a member's own page: what was done to them, whoever did it."""
        return self.filter(person=user)

    def concerning(self, user: User | None) -> PersonEventQuerySet:
        """For organisers: what this person did, and what was done to them."""
        return self if user is None else self.filter(Q(person=user) | Q(by=user))

    def between(self, first: date | None, last: date | None) -> PersonEventQuerySet:
        """On these days of the club's own calendar, both included."""
        found = self if first is None else self.filter(at__gte=at_hour(first, MIDNIGHT))
        return found if last is None else found.filter(at__lt=at_hour(last + timedelta(days=1), MIDNIGHT))

    def for_list(self) -> PersonEventQuerySet:
        return self.select_related("by", "person", "kitchen").order_by("-pk")


class PersonEvent(models.Model):
    """A row of the people's ledger; `services.person_event` writes it.

    `by` is nobody for a stranger and for what the site does by itself; `person` is nobody where a stranger named no
    member, or where a hall or a row of the admin site is meant. `reference` is a few plain words or a key, such as a
    role, a session, a file: never a note's text, a password or a stranger's address.
    """

    at = models.DateTimeField(default=timezone.now, db_index=True)
    kind = models.CharField(max_length=20, choices=EventKind.choices)
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="events_caused")
    person = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="events")
    kitchen = models.ForeignKey(Kitchen, on_delete=models.PROTECT, null=True, blank=True, related_name="events")
    reference = models.CharField(max_length=REFERENCE_LENGTH, blank=True)

    objects = PersonEventQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["kind", "at"])]
        constraints = [
            models.CheckConstraint(
                name="person_event_is_about_something",
                condition=Q(person__isnull=False) | Q(kitchen__isnull=False) | ~Q(reference=""),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.person_id}"


# Where a person is signed in, and what was changed of their way in.

BROWSER_LENGTH = 200  # of what a browser calls itself


class BrowserSessionQuerySet(models.QuerySet["BrowserSession"]):
    def alive(self, person: User) -> BrowserSessionQuerySet:
        """Those that still sign this person in: neither ended nor run out, and of no earlier password."""
        good = [person.get_session_auth_hash(), *person.get_session_auth_fallback_hash()]
        kept = Session.objects.filter(expire_date__gt=timezone.now(), session_key=models.OuterRef("session_key"))
        theirs = self.filter(person=person, auth_hash__in=good).filter(models.Exists(kept))
        return theirs.order_by("-seen_at", "-pk")


class BrowserSession(models.Model):
    """A browser in which somebody is signed in: what its owner is told of a session that is Django's."""

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="browser_sessions")
    session_key = models.CharField(max_length=40, unique=True)
    # What the session was opened for; another password or "everywhere" makes it another.
    auth_hash = models.CharField(max_length=64)
    began_at = models.DateTimeField()
    seen_at = models.DateTimeField()
    browser = models.CharField(max_length=BROWSER_LENGTH, blank=True)
    network = models.CharField(max_length=45, blank=True)
    is_shared = models.BooleanField(default=False)

    objects = BrowserSessionQuerySet.as_manager()

    class Meta:
        ordering = ["-seen_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.person_id} {self.began_at:%Y-%m-%d}"

    @property
    def device(self) -> str:
        """What it says it is, as far as its owner needs to tell one from another. It may say what it likes."""
        return device_words(self.browser)


class SignInChange(models.Model):
    """Something was changed of how a person signs in. It is mailed to `address`: the one they had before."""

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="sign_in_changes")
    kind = models.CharField(max_length=16, choices=SignInChangeKind.choices)
    address = models.EmailField()
    detail = models.CharField(max_length=254, blank=True)  # the other address, where it is about one
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ["changed_at", "pk"]
        indexes = [models.Index(fields=["changed_at"])]

    def __str__(self) -> str:
        return f"{self.person_id} {self.kind}"


CONSENT_WAITS = timedelta(days=14)  # our own choice, no source


class AddressConsentQuerySet(models.QuerySet["AddressConsent"]):
    def waiting(self, now: datetime) -> AddressConsentQuerySet:
        """What somebody may still agree to: asked not too long ago, and of a member."""
        asked = self.filter(agreed_at=None, asked_at__gt=now - CONSENT_WAITS, address__user__is_active=True)
        return asked.select_related("address__user")


class AddressConsent(models.Model):
    """The owner of a further address has confirmed it; now whoever reads the present one is asked too.

    Until they agree, or an organiser does who knows them, the further address is as good as not confirmed.
    """

    address = models.OneToOneField(EmailAddress, on_delete=models.CASCADE, related_name="consent")
    asked_at = models.DateTimeField()
    agreed_at = models.DateTimeField(null=True, blank=True)
    agreed_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = AddressConsentQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="consent_says_whose_it_is",
                condition=Q(agreed_at=None, agreed_by=None) | Q(agreed_at__isnull=False, agreed_by__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return f"{self.address_id}"


# What the club says about what it keeps, and how long a former member stays known by name.

WORDS_LENGTH = 10_000
MONTHS_KEPT, FEWEST_MONTHS, MOST_MONTHS = 12, 0, 120  # our own choice, no source


class Privacy(models.Model):
    """One row, or none: then nothing was said and `MONTHS_KEPT` holds."""

    only = models.BooleanField(default=True, unique=True, editable=False)
    words = models.TextField(_("in the club's own words"), max_length=WORDS_LENGTH, blank=True)
    months = models.PositiveSmallIntegerField(
        _("months after which a former member's name is erased"),
        default=MONTHS_KEPT,
        validators=[MinValueValidator(FEWEST_MONTHS), MaxValueValidator(MOST_MONTHS)],
    )
    changed_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    changed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.CheckConstraint(name="privacy_is_one_row", condition=Q(only=True)),
            models.CheckConstraint(name="privacy_term_within_reason", condition=Q(months__lte=MOST_MONTHS)),
        ]

    def __str__(self) -> str:
        return str(self.months)


def privacy_of_the_club() -> Privacy:
    """What was said, or what holds while nobody said anything (a row that is not kept)."""
    return Privacy.objects.select_related("changed_by").first() or Privacy()


# The door to the street: what who has no account may see, and who asked to join.

STREET_WORDS, JOIN_WORDS = 2000, 500


class StreetPage(models.Model):
    """One row, or none: then the door is shut."""

    only = models.BooleanField(default=True, unique=True, editable=False)
    is_open = models.BooleanField(_("people without an account may read it"), default=False)
    about = models.TextField(_("what the club is"), max_length=STREET_WORDS, blank=True)
    hours = models.TextField(_("when the hall is open, and where it is"), max_length=STREET_WORDS, blank=True)
    joining = models.TextField(_("how one joins"), max_length=STREET_WORDS, blank=True)
    changed_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    changed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.CheckConstraint(name="street_page_is_one_row", condition=Q(only=True))]

    def __str__(self) -> str:
        return "open" if self.is_open else "shut"


def street_page() -> StreetPage:
    """What was said, or a door that is shut while nobody said anything (a row that is not kept)."""
    return StreetPage.objects.first() or StreetPage()


class JoinState(models.TextChoices):
    ASKED = "asked", _("not answered yet")
    INVITED = "invited", _("invited")
    DECLINED = "declined", _("declined")


class JoinRequest(models.Model):
    """Somebody from the street who would like to join; an organiser answers. Of an address one is open at a time."""

    name = NameField(_("name"), max_length=NAME_LENGTH)
    email = models.EmailField(_("email"), max_length=254)
    words = models.CharField(_("a few words"), max_length=JOIN_WORDS, blank=True)
    state = models.CharField(max_length=10, choices=JoinState.choices, default=JoinState.ASKED)
    asked_at = models.DateTimeField()
    answered_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["asked_at", "pk"]
        indexes = [models.Index(fields=["state", "asked_at"])]
        constraints = [
            models.UniqueConstraint(
                fields=["email"], condition=Q(state="asked"), name="one_open_request_to_join_an_address"
            ),
            models.CheckConstraint(
                name="join_request_answered_by_whom_and_when",
                condition=Q(state="asked", answered_by=None, answered_at=None)
                | Q(state__in=["invited", "declined"], answered_by__isnull=False, answered_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return self.name
