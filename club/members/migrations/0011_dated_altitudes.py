from datetime import timedelta
from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.models import Q

from club.members import triggers


def first_rows(apps, schema_editor):
    """Each change became the row that says what it changed to. What a kitchen had before its first one, or has now
    without any, becomes a row since the kitchen was named; what was mended without a change noted, one since then too.
    """
    Kitchen = apps.get_model("members", "Kitchen")
    KitchenAltitude = apps.get_model("members", "KitchenAltitude")
    first, last = {}, {}
    for row in KitchenAltitude.objects.order_by("since", "pk").iterator():
        first.setdefault(row.kitchen_id, row)
        last[row.kitchen_id] = row
    made = []
    for kitchen in Kitchen.objects.order_by("pk").iterator():
        now = (kitchen.altitude_m, kitchen.altitude_how)
        begun, latest = first.get(kitchen.pk), last.get(kitchen.pk)
        known = now if begun is None else (begun.from_m, begun.from_how)
        told = {"kitchen_id": kitchen.pk, "noted_by_id": kitchen.founded_by_id}
        if known[0] is not None:
            since = kitchen.created_at
            if begun is not None:
                since = min(since, begun.since - timedelta(microseconds=1))
            made.append(KitchenAltitude(altitude_m=known[0], how=known[1], since=since, **told))
        if latest is not None and (latest.altitude_m, latest.how) != now:
            made.append(
                KitchenAltitude(
                    altitude_m=now[0], how=now[1], since=latest.since, kitchen_id=kitchen.pk, noted_by_id=latest.noted_by_id
                )
            )
    KitchenAltitude.objects.bulk_create(made, batch_size=500)
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # else the table cannot be altered below


class Migration(migrations.Migration):
    dependencies = [("members", "0010_keepers_of_households")]

    operations = [
        migrations.RenameModel("AltitudeChange", "KitchenAltitude"),
        migrations.RemoveIndex("kitchenaltitude", "members_alt_changed_17ca82_idx"),
        migrations.RenameField("kitchenaltitude", "to_m", "altitude_m"),
        migrations.RenameField("kitchenaltitude", "to_how", "how"),
        migrations.RenameField("kitchenaltitude", "changed_at", "since"),
        migrations.RenameField("kitchenaltitude", "changed_by", "noted_by"),
        migrations.AlterModelOptions("kitchenaltitude", {"ordering": ["since", "pk"]}),
        migrations.AlterField(
            "kitchenaltitude", "altitude_m", models.DecimalField(blank=True, decimal_places=4, max_digits=9, null=True)
        ),
        migrations.AlterField(
            "kitchenaltitude",
            "kitchen",
            models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="altitudes", to="members.kitchen"
            ),
        ),
        migrations.AlterField(
            "kitchenaltitude",
            "noted_by",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.RunPython(first_rows, migrations.RunPython.noop),
        migrations.RemoveField("kitchenaltitude", "from_m"),
        migrations.RemoveField("kitchenaltitude", "from_how"),
        migrations.AddIndex("kitchenaltitude", models.Index(fields=["since"], name="members_kit_since_4ad692_idx")),
        migrations.AddConstraint(
            "kitchenaltitude",
            models.CheckConstraint(
                name="noted_altitude_is_on_land",
                condition=Q(altitude_m=None) | Q(altitude_m__gte=Decimal("-430"), altitude_m__lte=Decimal("5000")),
            ),
        ),
        migrations.AddConstraint(
            "kitchenaltitude",
            models.CheckConstraint(
                name="noted_altitude_says_how_it_is_known",
                condition=Q(altitude_m=None, how="") | (Q(altitude_m__isnull=False) & ~Q(how="")),
            ),
        ),
        migrations.RunPython(triggers.ALTITUDES.install, triggers.ALTITUDES.remove),
    ]
