"""How a person wants to be reached, and whether her mailbox takes our mail. No row means the defaults below."""

from __future__ import annotations

from datetime import time, tzinfo
from functools import cached_property
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.conf import settings
from django.core.exceptions import ObjectDoesNotExist
from django.db import models
from django.db.models import F, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.members.models import User
from club.reminders.quiet import QuietHours

# Our own choices, no source: what a household would call late, and the hour at which a week is looked over.
QUIET_FROM, QUIET_UNTIL = time(21, 30), time(7, 30)
DIGEST_HOUR = 8
BAR = "|"
MONDAY, SUNDAY = 0, 6


class Wishes(models.Model):
    """One row for each person, so that a sender reads it together with the person."""

    person = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="wishes")
    zone_name = models.CharField(_("time zone"), max_length=64, blank=True)  # empty: the club's
    quiet_from = models.TimeField(default=QUIET_FROM)
    quiet_until = models.TimeField(default=QUIET_UNTIL)
    # "|gauge-due|supply-low|": names of rules shown on the site alone. One text, so that one more is a single UPDATE.
    muted = models.TextField(default=BAR, blank=True)
    digest_weekday = models.PositiveSmallIntegerField(null=True, blank=True)  # Monday is 0; none: each as it comes
    digest_hour = models.PositiveSmallIntegerField(default=DIGEST_HOUR)
    # The address that sent our mail back for good. Another address in her account lifts it by itself.
    bounced_address = models.CharField(max_length=254, blank=True)
    bounced_at = models.DateTimeField(null=True, blank=True)
    bounce_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="digest_on_a_day_of_the_week",
                condition=Q(digest_weekday=None) | Q(digest_weekday__gte=MONDAY, digest_weekday__lte=SUNDAY),
            ),
            models.CheckConstraint(name="digest_at_an_hour_of_the_day", condition=Q(digest_hour__lte=23)),
            models.CheckConstraint(
                name="bounce_says_since_when",
                condition=Q(bounced_address="") | Q(bounced_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id}"

    @cached_property
    def zone(self) -> tzinfo:
        """Hers, or the club's where she named none or one that this machine no longer knows."""
        try:
            return ZoneInfo(self.zone_name) if self.zone_name else timezone.get_default_timezone()
        except (ZoneInfoNotFoundError, ValueError):
            return timezone.get_default_timezone()

    @property
    def quiet(self) -> QuietHours:
        return QuietHours(self.quiet_from, self.quiet_until)

    @property
    def muted_kinds(self) -> frozenset[str]:
        return frozenset(self.muted.split(BAR)) - {""}

    @property
    def has_digest(self) -> bool:
        return self.digest_weekday is not None

    @property
    def is_bounced(self) -> bool:
        return bool(self.bounced_address) and self.bounced_address == self.person.email


def people_bounced() -> QuerySet[Wishes]:
    """Of active people whose address, the one they have now, sends our mail back; the latest first."""
    theirs = Wishes.objects.exclude(bounced_address="").filter(bounced_address=F("person__email"))
    return theirs.filter(person__is_active=True).select_related("person").order_by("-bounced_at", "-pk")


def wishes_of(person: User) -> Wishes:
    """Hers, or the defaults, not saved. No query where the person was read with `select_related("wishes")`."""
    try:
        wishes: Wishes = person.wishes
    except ObjectDoesNotExist:
        return Wishes(person=person)
    return wishes
