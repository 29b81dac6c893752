"""People and kitchens. A kitchen's altitude decides every process time, so how it is known is kept beside it."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from club.members.roles import Role
from recipes.engine.terms import Altitude

# ISO 2533 is used from the lowest shore on land to the highest towns; outside it the height is a slip of the pen.
LOWEST_M = Decimal("-430")
HIGHEST_M = Decimal("5000")


class Units(models.TextChoices):
    METRIC = "metric", _("metric (grams, litres)")
    US = "us", _("US (cups, pounds)")


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        user = self.model(email=email.strip().lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> User:
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)

    def get_by_natural_key(self, email: str | None) -> User:
        return self.get(email__iexact=email)


class User(AbstractBaseUser, PermissionsMixin):
    """A member of the club. Email is the sign-in name; roles are groups (see roles.py)."""

    email = models.EmailField(_("email"), unique=True)
    name = models.CharField(_("name"), max_length=120)
    units = models.CharField(_("units"), max_length=8, choices=Units.choices, default=Units.METRIC)
    is_staff = models.BooleanField(default=False)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(default=timezone.now)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        constraints = [models.UniqueConstraint(Lower("email"), name="one_user_per_email")]
        permissions = [("invite_member", "Can invite people"), ("grant_role", "Can give and take roles")]

    def __str__(self) -> str:
        return self.name or self.email

    def get_full_name(self) -> str:
        return self.name

    def get_short_name(self) -> str:
        return self.name.split(" ")[0] or self.email

    @cached_property
    def role_names(self) -> frozenset[str]:
        return frozenset(self.groups.values_list("name", flat=True))

    def has_role(self, *roles: Role) -> bool:
        """True when the person holds any of the roles. A superuser holds them all."""
        return self.is_superuser or any(role.value in self.role_names for role in roles)


class AltitudeHow(models.TextChoices):
    SURVEY = "survey", _("survey mark or official map")
    MAP = "map", _("looked up on a map for the address")
    GPS = "gps", _("read from a GPS or phone")
    BAROMETER = "barometer", _("from a barometer or boiling water test")
    TOLD = "told", _("told by somebody")


class KitchenQuerySet(models.QuerySet["Kitchen"]):
    def usable_by(self, user: User) -> KitchenQuerySet:
        """The gate: a person preserves in her own kitchens and in the club's halls."""
        return self.filter(Q(is_hall=True) | Q(people=user)).distinct()

    def changeable_by(self, user: User) -> KitchenQuerySet:
        """Own kitchens; the halls are the organisers' to change."""
        if user.has_role(Role.ORGANISER):
            return self.filter(Q(is_hall=True) | Q(people=user)).distinct()
        return self.filter(is_hall=False, people=user)


class Kitchen(models.Model):
    """A place where preserving is done. No altitude means no process time, never a guess."""

    name = models.CharField(_("name"), max_length=80)
    is_hall = models.BooleanField(_("club hall"), default=False)
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
    people = models.ManyToManyField(User, related_name="kitchens", blank=True)
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


class Invitation(models.Model):
    """An organiser's invitation by mail: signed, expiring, good for one person once."""

    email = models.EmailField(_("email"))
    name = models.CharField(_("name"), max_length=120, blank=True)
    role = models.CharField(_("role"), max_length=12, choices=Role.choices(), default=Role.MEMBER.value)
    nonce = models.CharField(max_length=43, unique=True)
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="invitations_sent")
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.OneToOneField(User, on_delete=models.PROTECT, null=True, blank=True, related_name="invitation")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return self.email
