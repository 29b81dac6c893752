import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """The model is called YearlyTarget now; its table keeps its name."""

    dependencies = [("desk", "0001_household_season")]

    operations = [
        migrations.AlterModelTable("yearlywish", "desk_yearlywish"),
        migrations.RenameModel("YearlyWish", "YearlyTarget"),
        migrations.AlterField(
            "yearlytarget",
            "kitchen",
            models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="yearly_targets", to="members.kitchen"
            ),
        ),
        migrations.AlterField(
            "yearlytarget",
            "recipe",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="yearly_targets",
                to="recipes.recipe",
            ),
        ),
    ]
