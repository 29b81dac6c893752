import django.db.models.deletion
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models


def keepers(apps, schema_editor):
    """Who founded a kitchen keeps its household; where nobody is known to have, whoever has been in it longest."""
    HouseholdMember = apps.get_model("members", "HouseholdMember")
    first = {}
    rows = HouseholdMember.objects.filter(kitchen__is_hall=False).order_by("pk")
    for pk, kitchen, user, founder in rows.values_list("pk", "kitchen", "user", "kitchen__founded_by").iterator():
        if user == founder or kitchen not in first:
            first[kitchen] = pk
    for begin in range(0, len(first), 500):
        keys = list(first.values())[begin : begin + 500]
        HouseholdMember.objects.filter(pk__in=keys).update(is_keeper=True)


class Migration(migrations.Migration):
    dependencies = [("members", "0009_peoples_ledger")]

    operations = [
        migrations.AddField(
            "kitchen", "place", models.CharField(blank=True, default="", max_length=80, verbose_name="town or street"),
            preserve_default=False,
        ),
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.CreateModel(
                    "HouseholdMember",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID"),
                        ),
                        (
                            "kitchen",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.CASCADE,
                                related_name="household",
                                to="members.kitchen",
                            ),
                        ),
                        (
                            "user",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.CASCADE,
                                related_name="households",
                                to=settings.AUTH_USER_MODEL,
                            ),
                        ),
                    ],
                    options={
                        "db_table": "members_kitchen_people",
                        "ordering": ["pk"],
                        "unique_together": {("kitchen", "user")},
                    },
                ),
                migrations.AlterField(
                    "kitchen",
                    "people",
                    models.ManyToManyField(
                        blank=True,
                        related_name="kitchens",
                        through="members.HouseholdMember",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ]
        ),
        migrations.AddField("householdmember", "is_keeper", models.BooleanField(default=False)),
        migrations.RunPython(keepers, migrations.RunPython.noop),
        migrations.AddConstraint(
            "householdmember",
            models.UniqueConstraint(
                fields=["kitchen"], name="one_keeper_per_household", condition=models.Q(is_keeper=True)
            ),
        ),
        migrations.RemoveConstraint("kitcheninvitation", "one_kitchen_invitation_per_address"),
        migrations.AddConstraint(
            "kitcheninvitation",
            models.UniqueConstraint(
                models.F("kitchen"),
                django.db.models.functions.text.Lower("email"),
                name="one_kitchen_invitation_per_address",
            ),
        ),
    ]
