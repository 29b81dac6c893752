from __future__ import annotations

from typing import Any

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.utils import timezone

OUTCOMES = [
    ("back", "the part is back"),
    ("replaced", "the part was replaced"),
    ("withdrawn", "the thing was withdrawn"),
    ("before", "from before missing parts were followed up"),
]
OCCASIONS = [
    ("added", "came to the club"),
    ("handed-over", "handed over"),
    ("returned", "came back"),
    ("looked-over", "looked over"),
    ("to-repair", "went to repair"),
    ("repaired", "back from repair"),
    ("parts", "missing part settled"),
    ("retired", "retired"),
]


def matters_of_old(apps: Any, schema_editor: Any) -> None:
    """A part missing at a thing's latest return is an open matter from now on.

    Where the thing is out again, what was missing is noted on the loan that runs, so that whoever takes it back looks
    for it. Where it was returned since without a word, or is retired, the matter is closed as one from before.
    """
    loan_of = apps.get_model("equipment", "Loan").objects
    short = loan_of.exclude(missing_parts="").exclude(returned_at=None)
    things = short.order_by().values_list("thing", flat=True).distinct()
    for thing in apps.get_model("equipment", "Thing").objects.filter(pk__in=list(things)).order_by("pk"):
        latest = loan_of.filter(thing=thing).order_by("-handed_over_at", "-pk").first()
        old = short.filter(thing=thing).order_by("-handed_over_at", "-pk")
        if latest.returned_at is None:
            before = loan_of.filter(thing=thing).exclude(pk=latest.pk).order_by("-handed_over_at", "-pk").first()
            loan_of.filter(pk=latest.pk).update(missing_parts=before.missing_parts)
        elif thing.state != "retired":
            old = old.exclude(pk=latest.pk)
        old.update(parts_settled_at=timezone.now(), parts_outcome="before")


class Migration(migrations.Migration):
    dependencies = [
        ("equipment", "0002_skills"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField("loan", "parts_note", models.CharField(blank=True, max_length=300)),
        migrations.AddField(
            "loan", "parts_outcome", models.CharField(blank=True, choices=OUTCOMES, max_length=10)
        ),
        migrations.AddField("loan", "parts_settled_at", models.DateTimeField(blank=True, null=True)),
        migrations.AddField(
            "loan",
            "parts_settled_by",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AlterField(
            "conditionnote", "occasion", models.CharField(choices=OCCASIONS, max_length=12)
        ),
        migrations.RunPython(matters_of_old, migrations.RunPython.noop),
    ]
