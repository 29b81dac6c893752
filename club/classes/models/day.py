"""What happens on the day: whose a station's jars are, its batch and canner loads, and what is written afterwards."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.classes.models.sessions import ClassSession
from club.classes.models.signups import SignUp
from club.classes.models.stations import Station
from inventory.batches.models import Batch

NOTE_LENGTH = 2000
CAPTION_LENGTH = 120


class JarTaker(models.Model):
    """Who of a station's people takes its jars home. Her batch it becomes, and hers is the look at the seals."""

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
    """A student's own few words beside her handout; she and the session's instructors read them."""

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
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["added_at", "pk"]

    def __str__(self) -> str:
        return self.caption
