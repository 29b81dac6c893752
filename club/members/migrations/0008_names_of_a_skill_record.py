from django.db import migrations, models


class Migration(migrations.Migration):
    """`told` is called `reason` in Python. The table stays as it is."""

    dependencies = [("members", "0007_who_founded_a_kitchen")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RemoveConstraint("skillrecord", "skill_says_which_class_or_why"),
                migrations.RenameField("skillrecord", "told", "reason"),
                migrations.AlterField(
                    "skillrecord",
                    "reason",
                    models.CharField(
                        db_column="told", max_length=300, verbose_name="which class, or why it is waived"
                    ),
                ),
                migrations.AddConstraint(
                    "skillrecord",
                    models.CheckConstraint(condition=~models.Q(reason=""), name="skill_says_which_class_or_why"),
                ),
            ]
        )
    ]
