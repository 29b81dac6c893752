from __future__ import annotations

from typing import Any

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q

from inventory.jars import triggers

KINDS = [
    ("vinegar", "vinegar"),
    ("juice", "bottled lemon or lime juice"),
    ("citric-acid", "citric acid"),
    ("pectin", "pectin"),
    ("salt", "salt"),
    ("other", "something else"),
]
# By a word of the name that the club gave it; what has none of them stays something else, and a keeper may say.
WORDS = (("pectin", "pectin"), ("citric", "citric-acid"), ("salt", "salt"))


def kinds_from_vinegars(apps: Any, _schema_editor: Any) -> None:
    supplies = apps.get_model("jars", "Supply").objects
    for word, kind in WORDS:
        supplies.filter(name__icontains=word).update(kind=kind)
    supplies.filter(is_vinegar=True).update(kind="vinegar")


def vinegars_from_kinds(apps: Any, _schema_editor: Any) -> None:
    apps.get_model("jars", "Supply").objects.filter(kind="vinegar").update(is_vinegar=True)


class Migration(migrations.Migration):
    """A supply says what it is; a lot has its printed code; households have lots too, and batches take of them."""

    dependencies = [
        ("batches", "0006_recall_answers_by_place"),
        ("jars", "0005_order_entry"),
        ("members", "0008_names_of_a_skill_record"),
    ]

    operations = [
        migrations.RunPython(triggers.remove, triggers.install),
        migrations.AddField(
            "supply",
            "kind",
            models.CharField(
                choices=KINDS,
                default="other",
                help_text="A vinegar has its strength on the label.",
                max_length=12,
                verbose_name="what it is",
            ),
        ),
        migrations.AddField("supply", "is_kept", models.BooleanField(default=True, editable=False)),
        migrations.RunPython(kinds_from_vinegars, vinegars_from_kinds),
        migrations.RemoveField("supply", "is_vinegar"),
        migrations.AddConstraint(
            "supply",
            models.CheckConstraint(
                condition=Q(("kind__in", [kind for kind, _word in KINDS])), name="supply_of_a_known_kind"
            ),
        ),
        migrations.AddField(
            "supplylot", "code", models.CharField(blank=True, max_length=60, verbose_name="lot code on it")
        ),
        migrations.AddField(
            "supplylot",
            "code_key",
            models.CharField(blank=True, db_index=True, default="", editable=False, max_length=180),
            preserve_default=False,
        ),
        migrations.AddConstraint(
            "supplylot",
            models.UniqueConstraint(
                condition=Q(("code_key", ""), _negated=True),
                fields=("supply", "code_key"),
                name="one_supply_lot_per_code",
            ),
        ),
        migrations.CreateModel(
            name="KitchenStock",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("count", models.IntegerField(default=0)),
                (
                    "kitchen",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="supply_stocks",
                        to="members.kitchen",
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="kitchen_stocks",
                        to="jars.supplylot",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("lot", "kitchen"), name="one_stock_of_a_lot_per_kitchen"),
                    models.CheckConstraint(condition=Q(("count__gte", 0)), name="kitchen_stock_never_below_zero"),
                ],
            },
        ),
        migrations.AddField(
            "supplymovement",
            "kitchen",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="supply_movements",
                to="members.kitchen",
            ),
        ),
        migrations.AddField(
            "supplymovement",
            "batch",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="supply_movements",
                to="batches.batch",
            ),
        ),
        migrations.RunPython(triggers.install, triggers.remove),
    ]
