"""A recall: a withdrawn revision, a bad lid lot or a batch gone wrong, and what each holder of its jars answered.

Imported by models.py; tables of the room are named by words here, so that neither waits for the other.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.batches.words import RecallKind, RecallOutcome
from inventory.jars.models import LidLot
from recipes.models import Revision

if TYPE_CHECKING:
    from inventory.batches.models import Batch


class RecallQuerySet(models.QuerySet["Recall"]):
    def open(self) -> RecallQuerySet:
        """People are still asked for what they did with their jars."""
        return self.filter(closed_at=None)

    def not_cleared(self) -> RecallQuerySet:
        """Open, or closed without the jars having been found sound: nobody hands these on."""
        return self.filter(is_cleared=False)

    def for_list(self) -> RecallQuerySet:
        """A row of a list or a page, in one query; the plan and the recipe's text are left behind."""
        named = self.select_related("revision__recipe", "lid_lot", "batch__revision__recipe", "opened_by", "closed_by")
        return named.defer("revision__content", "batch__plan", "batch__revision__content")


class Recall(models.Model):
    """One recall of just one subject. `opened_by` may be empty only where the library withdrew a revision."""

    kind = models.CharField(max_length=10, choices=RecallKind.choices)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls")
    lid_lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls")
    batch: models.ForeignKey[Batch | None, Batch | None] = models.ForeignKey(
        "batches.Batch", on_delete=models.PROTECT, null=True, blank=True, related_name="recalls"
    )
    reason = models.TextField(_("why"))
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls_opened"
    )
    opened_at = models.DateTimeField(default=timezone.now)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls_closed"
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_note = models.TextField(_("how it ended"), blank=True)
    # Looked into, and the jars were found sound: only then may they be handed on again.
    is_cleared = models.BooleanField(default=False)
    token = models.UUIDField(unique=True, editable=False)

    objects = RecallQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                name="recall_is_of_just_one_subject",
                condition=Q(kind="revision", revision__isnull=False, lid_lot=None, batch=None)
                | Q(kind="lid-lot", revision=None, lid_lot__isnull=False, batch=None)
                | Q(kind="batch", revision=None, lid_lot=None, batch__isnull=False),
            ),
            models.CheckConstraint(name="recall_says_why", condition=~Q(reason="")),
            models.CheckConstraint(
                name="recall_was_opened_by_somebody", condition=Q(opened_by__isnull=False) | Q(kind="revision")
            ),
            models.CheckConstraint(
                name="recall_closed_says_how_it_ended",
                condition=Q(closed_at=None, closed_by=None, closed_note="", is_cleared=False)
                | (Q(closed_at__gte=F("opened_at"), closed_by__isnull=False) & ~Q(closed_note="")),
            ),
            *(
                models.UniqueConstraint(
                    fields=[subject],
                    condition=Q(closed_at=None, **{f"{subject}__isnull": False}),
                    name=f"one_open_recall_of_a_{subject}",
                )
                for subject in ("revision", "lid_lot", "batch")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.subject_words}"

    def get_absolute_url(self) -> str:
        return reverse("batches:recall", args=[self.pk])

    @property
    def subject_words(self) -> str:
        """ "Plum jam, revision 2", "LID 40 (maker)", "26257-KXT, Plum jam"."""
        if self.revision is not None:
            return _("%(recipe)s, revision %(n)s") % {"recipe": self.revision.recipe.title, "n": self.revision.number}
        if self.batch is not None:
            return f"{self.batch.lot_code}, {self.batch.title}"
        return str(self.lid_lot)


class RecallAnswer(models.Model):
    """What somebody did with the jars of one batch in one place. Never changed: who does more later answers again.

    `where` is the place of the holding that it settles (see recalls.py). Empty only in old answers, from before places
    were asked for, of people who held jars in several: these settle nothing.
    """

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="answers")
    batch: models.ForeignKey[Batch, Batch] = models.ForeignKey(
        "batches.Batch", on_delete=models.PROTECT, related_name="recall_answers"
    )
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="recall_answers")
    where = models.CharField(max_length=30, blank=True)
    outcome = models.CharField(max_length=10, choices=RecallOutcome.choices)
    jars = models.PositiveSmallIntegerField(_("jars"), default=0)
    note = models.CharField(_("note"), max_length=300, blank=True)
    answered_at = models.DateTimeField(default=timezone.now)
    token = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["-answered_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                name="recall_answer_counts_what_it_names",
                condition=Q(outcome="none-left", jars=0) | (~Q(outcome="none-left") & Q(jars__gte=1)),
            )
        ]

    def __str__(self) -> str:
        return f"{self.recall_id} {self.batch_id} {self.outcome}"
