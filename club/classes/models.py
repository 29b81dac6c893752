"""A class session, what is cooked where, who comes, and what is kept for it."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Case, Count, Exists, F, OuterRef, Q, Subquery, When
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.classes.choices import OPEN_STATES, SEAT_STATES, SessionState, SignUpState
from club.core.fields import NameField
from club.core.sealing import SealedTextField
from club.members.choices import Skill
from club.members.models import Kitchen, User
from inventory.batches.models import Batch
from inventory.equipment.models import Hold
from inventory.jars.models import Place
from recipes.models import Revision

# What a person may see of the classes, and the questions the rooms ask of them.

PLAN = "classes.plan_session"

TITLE_LENGTH, PRICE_LENGTH, REASON_LENGTH = 120, 200, 300
STATION_NAME_LENGTH = 60
COMPANION_LENGTH, NEEDS_LENGTH = 120, 1000


class SessionQuerySet(models.QuerySet["ClassSession"]):
    def visible_to(self, user: User) -> SessionQuerySet:
        """The gate: what was published once is everybody's to see; a plan in the making is its planners'."""
        if user.has_perm(PLAN):
            return self
        return self.exclude(state=SessionState.DRAFT).exclude(published_at=None)

    def run_by(self, user: User) -> SessionQuerySet:
        """The gate for changing and running: its own instructors who may plan, and whoever made it."""
        if not user.has_perm(PLAN):
            return self.none()
        if user.is_superuser:
            return self
        mine = Q(created_by=user) | Q(pk__in=user.class_sessions_taught.values("pk"))
        return self.filter(mine)

    def published(self) -> SessionQuerySet:
        return self.filter(state=SessionState.PUBLISHED)

    def coming(self, now: datetime) -> SessionQuerySet:
        return self.published().filter(ends_at__gt=now)

    def past(self, now: datetime) -> SessionQuerySet:
        return self.filter(Q(ends_at__lte=now) | Q(state=SessionState.HELD)).order_by("-starts_at", "-pk")

    def for_list(self) -> SessionQuerySet:
        return self.select_related("hall", "series").prefetch_related("instructors")

    def with_line(self, user: User) -> SessionQuerySet:
        """Each row with `waiting`, how many parties wait, and `my_state`, the state of this person's open sign-up."""

        line = SignUp.objects.filter(session=OuterRef("pk"), state=SignUpState.WAITING, person__is_active=True)
        waiting = line.values("session").annotate(n=Count("pk")).values("n")
        mine = SignUp.objects.open().of(user).filter(session=OuterRef("pk")).values("state")
        return self.annotate(waiting=Coalesce(Subquery(waiting), 0), my_state=Subquery(mine[:1]))


class SignUpQuerySet(models.QuerySet["SignUp"]):
    def of(self, user: User) -> SignUpQuerySet:
        return self.filter(person=user)

    def visible_to(self, user: User) -> SignUpQuerySet:
        """The gate: one's own, and those of the sessions one runs. `needs` has a gate of its own: needs_of."""

        return self.filter(Q(person=user) | Q(session__in=ClassSession.objects.run_by(user))).defer("needs")

    def with_place(self) -> SignUpQuerySet:
        """Each row with `ahead`: how many parties wait in front of it."""
        before = Q(joined_at__lt=OuterRef("joined_at")) | Q(joined_at=OuterRef("joined_at"), pk__lt=OuterRef("pk"))
        line = self.model.objects.filter(before, session=OuterRef("session"), person__is_active=True)
        ahead = line.waiting().order_by().values("session").annotate(n=Count("pk")).values("n")
        return self.annotate(ahead=Coalesce(Subquery(ahead), 0))

    def open(self) -> SignUpQuerySet:
        return self.filter(state__in=OPEN_STATES)

    def holding_seats(self) -> SignUpQuerySet:
        """Offered and seated: what `ClassSession.seats_taken` counts."""
        return self.filter(state__in=SEAT_STATES)

    def seated(self) -> SignUpQuerySet:
        return self.filter(state=SignUpState.SEATED)

    def at_the_hall(self) -> SignUpQuerySet:
        """Seated and not known to be absent: who sits at a station, or is still awaited."""
        return self.seated().exclude(came=0)

    def came(self) -> SignUpQuerySet:
        """Who was there, as far as the roll was called."""
        return self.seated().filter(came__gte=1)

    def handouts_for(self, user: User) -> SignUpQuerySet:
        """The gate to a handout: one's own, where one came, and those of the sessions that one runs."""

        run = ClassSession.objects.run_by(user).values("pk")
        return self.came().filter(Q(person=user) | Q(session__in=run))

    def waiting(self) -> SignUpQuerySet:
        """In the order in which they are asked."""
        return self.filter(state=SignUpState.WAITING).order_by("joined_at", "pk")


class SetAsideQuerySet(models.QuerySet["SetAside"]):
    def active(self, now: datetime) -> SetAsideQuerySet:
        """What is still kept: of sessions that are to come or going on. It ends by itself with the session."""
        kept = [SessionState.DRAFT, SessionState.PUBLISHED]
        return self.filter(session__state__in=kept, session__ends_at__gt=now)


# A class session: a day at the hall, from when to when on its wall clock, and how many seats are taken.


class ClassSeries(models.Model):
    """Sessions that belong together, such as four Saturdays on pressure canning."""

    title = NameField(_("title"), max_length=TITLE_LENGTH)
    token = models.UUIDField(unique=True, editable=False)
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return self.title


class ClassSession(models.Model):
    """One session. The wall day and hours are what people were told; the two moments are those hours in UTC.

    `seats_taken` counts seated and offered places. It is changed by a conditional update only, and a constraint keeps
    it within `seats_total`, so that a seat is never given twice, on any database and under any race.
    `sequence` counts every change that a calendar has to hear of (RFC 5545, SEQUENCE).
    """

    token = models.UUIDField(unique=True, editable=False)
    series = models.ForeignKey(ClassSeries, on_delete=models.PROTECT, null=True, blank=True, related_name="sessions")
    title = NameField(_("title"), max_length=TITLE_LENGTH)
    hall = models.ForeignKey(
        Kitchen, on_delete=models.PROTECT, related_name="class_sessions", limit_choices_to={"is_hall": True}
    )
    day = models.DateField(_("day"))
    starts = models.TimeField(_("from"))
    ends = models.TimeField(_("to"))
    zone = models.CharField(max_length=60)  # whose wall clock that is
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()

    instructors = models.ManyToManyField(settings.AUTH_USER_MODEL, related_name="class_sessions_taught")
    about = models.TextField(_("what it is about"), blank=True)
    what_to_bring = models.TextField(_("what to bring"), blank=True)
    price_note = models.CharField(_("price"), max_length=PRICE_LENGTH, blank=True)
    skill = models.CharField(_("skill that it teaches"), max_length=40, blank=True, choices=Skill.choices)

    minimum_people = models.PositiveSmallIntegerField(_("fewest people to run"), default=1)
    signup_opens_at = models.DateTimeField(_("sign-up opens"))
    signup_closes_at = models.DateTimeField(_("sign-up closes"))
    seats_total = models.PositiveSmallIntegerField(default=0)  # over all stations
    seats_taken = models.PositiveSmallIntegerField(default=0)

    state = models.CharField(max_length=10, choices=SessionState.choices, default=SessionState.DRAFT)
    published_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=REASON_LENGTH, blank=True)
    held_at = models.DateTimeField(null=True, blank=True)
    moved_at = models.DateTimeField(null=True, blank=True)  # its hours were changed: who signed up before is told
    sequence = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField(default=timezone.now)
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    objects = SessionQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at", "pk"]
        permissions = [("plan_session", "Can plan class sessions and run them")]
        indexes = [models.Index(fields=["state", "starts_at"])]
        constraints = [
            models.CheckConstraint(name="session_ends_after_it_starts", condition=Q(ends_at__gt=F("starts_at"))),
            models.CheckConstraint(name="session_never_oversold", condition=Q(seats_taken__lte=F("seats_total"))),
            models.CheckConstraint(
                name="session_signup_closes_after_it_opens", condition=Q(signup_closes_at__gt=F("signup_opens_at"))
            ),
            models.CheckConstraint(name="session_runs_with_somebody", condition=Q(minimum_people__gte=1)),
            models.CheckConstraint(
                name="session_published_says_when",
                condition=Q(state__in=["draft", "cancelled"]) | Q(published_at__isnull=False, seats_total__gte=1),
            ),
            models.CheckConstraint(
                name="session_cancelled_says_why",
                condition=~Q(state="cancelled") | (Q(cancelled_at__isnull=False) & ~Q(cancel_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title} {self.day}"

    def get_absolute_url(self) -> str:
        return reverse("classes:session", args=[self.pk])

    @property
    def seats_left(self) -> int:
        return self.seats_total - self.seats_taken

    @property
    def is_published(self) -> bool:
        return self.state == SessionState.PUBLISHED

    def signup_is_open(self, now: datetime) -> bool:
        return self.is_published and self.signup_opens_at <= now < self.signup_closes_at


# A station: a stove, a canner and the people at it, cooking one revision.

MOST_SEATS = 12  # at one stove; common practice, no source


class Station(models.Model):
    """`burners_w` holds the power of each burner in watts, such as [2000, 1800]; `canner` a value of engine's Canner.

    `capacity` is how many jars of each size the canner takes at once, as a thing's (see inventory.equipment).
    """

    session = models.ForeignKey(ClassSession, on_delete=models.CASCADE, related_name="stations")
    number = models.PositiveSmallIntegerField()
    name = NameField(_("name"), max_length=STATION_NAME_LENGTH, blank=True)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="stations")
    pots = models.PositiveSmallIntegerField(_("pots"), default=1, validators=[MinValueValidator(1)])
    jar_size = models.CharField(_("jar"), max_length=16, blank=True)  # empty: as the recipe states its yield
    pack = models.CharField(_("pack"), max_length=16, blank=True)
    canner = models.CharField(_("canner"), max_length=16, blank=True)
    canners = models.PositiveSmallIntegerField(_("canners"), default=1)
    capacity: models.JSONField[dict[str, int], dict[str, int]] = models.JSONField(default=dict, blank=True)
    stove = models.CharField(_("kind of stove"), max_length=16, default="electric")
    burners_w: models.JSONField[list[int], list[int]] = models.JSONField(default=list)
    cooks = models.PositiveSmallIntegerField(_("cooks"), default=2, validators=[MinValueValidator(1)])
    seats = models.PositiveSmallIntegerField(
        _("seats"), default=2, validators=[MinValueValidator(1), MaxValueValidator(MOST_SEATS)]
    )

    class Meta:
        ordering = ["session", "number"]
        constraints = [
            models.UniqueConstraint(fields=["session", "number"], name="one_station_per_number"),
            models.CheckConstraint(name="station_has_a_seat", condition=Q(seats__gte=1)),
            models.CheckConstraint(name="station_cooks_a_pot", condition=Q(pots__gte=1)),
        ]

    def __str__(self) -> str:
        return self.name or str(self.number)

    @property
    def label(self) -> str:
        """As it is called on the day."""
        return self.name or gettext("Station %(n)s") % {"n": self.number}


# Who comes, who waits, and who was offered a seat that came free.


class SignUp(models.Model):
    """One person, or a party of two, for one session. The places of an offered or seated sign-up are taken seats.

    `needs` (allergies, access) is for the session's instructors alone: show it through one gate, and export it never.
    """

    session = models.ForeignKey(ClassSession, on_delete=models.PROTECT, related_name="signups")
    token = models.UUIDField(unique=True, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="signups")
    places = models.PositiveSmallIntegerField(_("places"), default=1)
    companion = models.CharField(_("who comes along"), max_length=COMPANION_LENGTH, blank=True)
    needs = SealedTextField(_("allergies and access"), blank=True)
    # The session's instructors when `needs` was last written: nobody who came after them reads it.
    needs_for = models.ManyToManyField(settings.AUTH_USER_MODEL, related_name="+", blank=True)
    state = models.CharField(max_length=10, choices=SignUpState.choices)
    is_walk_in = models.BooleanField(default=False)
    joined_at = models.DateTimeField()
    offered_at = models.DateTimeField(null=True, blank=True)
    offer_until = models.DateTimeField(null=True, blank=True)
    seated_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)  # cancelled or lapsed

    station = models.ForeignKey(Station, on_delete=models.SET_NULL, null=True, blank=True, related_name="signups")
    # Roll call: how many of the party came. Empty: not called yet.
    came = models.PositiveSmallIntegerField(null=True, blank=True)

    objects = SignUpQuerySet.as_manager()

    class Meta:
        ordering = ["joined_at", "pk"]
        indexes = [
            models.Index(fields=["session", "state", "joined_at"]),
            models.Index(fields=["person", "state"]),
            models.Index(fields=["state", "offer_until"]),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "person"],
                name="one_open_signup_per_person",
                condition=Q(state__in=["waiting", "offered", "seated"]),
            ),
            models.CheckConstraint(name="signup_of_one_or_two", condition=Q(places__in=[1, 2])),
            models.CheckConstraint(
                name="signup_offered_until_when",
                condition=~Q(state="offered") | Q(offered_at__isnull=False, offer_until__isnull=False),
            ),
            models.CheckConstraint(
                name="signup_seated_since_when", condition=~Q(state="seated") | Q(seated_at__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.session_id} {self.person_id} {self.state}"

    @property
    def is_seated(self) -> bool:
        return self.state == SignUpState.SEATED

    @property
    def is_absent(self) -> bool:
        return self.came == 0

    @property
    def came_one(self) -> bool:
        return self.came == 1

    @property
    def came_both(self) -> bool:
        return self.came == 2


# What happens on the day: whose a station's jars are, its batch and canner loads, and what is written afterwards.

NOTE_LENGTH = 2000
CAPTION_LENGTH = 120


class JarTaker(models.Model):
    """Who of a station's people takes its jars home. It becomes their batch, and they look at its seals."""

    station = models.OneToOneField(Station, on_delete=models.CASCADE, related_name="taker")
    signup = models.OneToOneField(SignUp, on_delete=models.CASCADE, related_name="taking")
    chosen_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    chosen_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.station_id} {self.signup_id}"


class StationBatch(models.Model):
    """The one batch of a station."""

    station = models.OneToOneField(Station, on_delete=models.PROTECT, related_name="cooking")
    batch = models.OneToOneField(Batch, on_delete=models.PROTECT, related_name="at_station")

    def __str__(self) -> str:
        return f"{self.station_id} {self.batch_id}"


class CannerLoad(models.Model):
    """A load in the canner, and when its minutes began to count: at the boil, or once the pressure was reached."""

    cooking = models.ForeignKey(StationBatch, on_delete=models.CASCADE, related_name="loads")
    number = models.PositiveSmallIntegerField()
    began_at = models.DateTimeField()
    began_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["cooking", "number"]
        constraints = [
            models.UniqueConstraint(fields=["cooking", "number"], name="a_canner_load_begins_once"),
            models.CheckConstraint(name="canner_load_counts_from_one", condition=Q(number__gte=1)),
        ]

    def __str__(self) -> str:
        return f"{self.cooking_id}/{self.number}"


class SessionReport(models.Model):
    """What the instructor wrote when the session was over."""

    session = models.OneToOneField(ClassSession, on_delete=models.PROTECT, related_name="report")
    learned = models.TextField(_("what was learned"), blank=True, max_length=NOTE_LENGTH)
    closed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    changed_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return str(self.session_id)


class OwnNote(models.Model):
    """A student's own few words beside their handout, for them and the session's instructors."""

    signup = models.OneToOneField(SignUp, on_delete=models.CASCADE, related_name="own_note")
    text = models.TextField(_("your own note"), max_length=NOTE_LENGTH)
    changed_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return str(self.signup_id)


class SessionPhoto(models.Model):
    """A picture of the day, decoded and written anew. For those who were there."""

    session = models.ForeignKey(ClassSession, on_delete=models.CASCADE, related_name="photos")
    token = models.UUIDField(unique=True, editable=False)
    jpeg = models.BinaryField()
    caption = models.CharField(_("what it shows"), max_length=CAPTION_LENGTH)
    # Said by who added it: everybody who can be made out agreed, or nobody can. False: from before that was asked.
    shown_agreed = models.BooleanField(default=False)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["added_at", "pk"]

    def __str__(self) -> str:
        return self.caption


# What is kept for a session: things held in the equipment room, and jars, lids and supplies set aside.


class SetAsideKind(models.TextChoices):
    JAR = "jar", _("empty jars")
    LID = "lid", _("lids")
    SUPPLY = "supply", _("supplies")


class SessionGear(models.Model):
    """A hold that was placed for a session; `kind` is that of the equipment (inventory.equipment.choices)."""

    session = models.ForeignKey(ClassSession, on_delete=models.PROTECT, related_name="gear")
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, related_name="session_gear")
    kind = models.CharField(max_length=24)

    class Meta:
        ordering = ["kind", "pk"]

    def __str__(self) -> str:
        return f"{self.session_id} {self.kind}"


class SetAside(models.Model):
    """So many of something that others must not count on until the session is over.

    `key` says of what: a jar size, the number of a lid lot or of a supply. Empties stand at a `place`; lids and
    supplies are counted over the whole club.
    """

    session = models.ForeignKey(ClassSession, on_delete=models.PROTECT, related_name="set_aside")
    what = models.CharField(max_length=8, choices=SetAsideKind.choices)
    key = models.CharField(max_length=40)
    quantity = models.PositiveIntegerField()
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="set_aside")
    at = models.DateTimeField(default=timezone.now)

    objects = SetAsideQuerySet.as_manager()

    class Meta:
        ordering = ["what", "key", "pk"]
        indexes = [models.Index(fields=["what", "key"])]
        constraints = [
            models.CheckConstraint(name="set_aside_is_something", condition=Q(quantity__gte=1)),
            models.CheckConstraint(
                name="set_aside_jars_stand_somewhere",
                condition=Q(what="jar", place__isnull=False) | Q(what__in=["lid", "supply"], place=None),
            ),
            # Two constraints, as one over a nullable column would let two rows without a place pass.
            models.UniqueConstraint(
                fields=["session", "what", "key"], condition=Q(place=None), name="set_aside_once_for_a_session"
            ),
            models.UniqueConstraint(
                fields=["session", "what", "key", "place"],
                condition=Q(place__isnull=False),
                name="set_aside_once_at_a_place",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.session_id} {self.what} {self.key}: {self.quantity}"


class SetAsideLock(models.Model):
    """One row. Who sets aside counts it up first: of two at once the second waits, and then sees the first."""

    number = models.PositiveBigIntegerField(default=0)

    class Meta:
        db_table = "classes_setasideturn"  # the name it was made under

    def __str__(self) -> str:
        return str(self.number)


# The one gate to what people wrote about allergies and access: a session's own instructors, and nobody else.
#
# Of these, those who taught it when it was last written: whoever is named an instructor afterwards reads it once its
# writer, who is told (club/reminders), has sent it again.
# Nor is it kept: a seat given up takes it along (services/seats.py), and a week after the session it is erased
# (services/notes.py). The database has it sealed.


def teaches(user: User, session: ClassSession) -> bool:
    """One of the session's instructors by name. No role, permission or superuser stands in for that."""
    return user.is_active and session.instructors.filter(pk=user.pk).exists()


def needs_of(session: ClassSession, *, seen_by: User) -> dict[int, str | None]:
    """What was written, by sign-up key, of open sign-ups that wrote something; nothing for anybody else.

    None stands for what was written before this instructor was one.
    """
    if not teaches(seen_by, session):
        return {}
    written_for = SignUp.needs_for.through.objects.filter(signup=OuterRef("pk"), user=seen_by)
    wrote = SignUp.objects.open().filter(session=session).exclude(needs="").annotate(is_meant=Exists(written_for))
    # The text is not even read where it is not meant for them.
    text = Case(When(is_meant=True, then="needs"), default=None, output_field=SignUp._meta.get_field("needs"))
    return dict(wrote.annotate(read=text).values_list("pk", "read"))


def teachers_of(session: ClassSession) -> list[User]:
    """Who reads what is written now: its active instructors."""
    return list(User.objects.get_queryset().filter(class_sessions_taught=session, is_active=True).in_order())


def unread_by(signup: SignUp) -> list[User]:
    """The session's instructors who do not read what this sign-up wrote."""
    if not signup.needs:
        return []
    meant = set(signup.needs_for.values_list("pk", flat=True))
    return [person for person in teachers_of(signup.session) if person.pk not in meant]
