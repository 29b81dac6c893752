"""A withdrawal is a matter of safety or of editing. Whatever was withdrawn before counts as a matter of safety."""

from django.db import migrations, models

from recipes import triggers


class Migration(migrations.Migration):
    dependencies = [("recipes", "0005_classed_foods")]

    operations = [
        migrations.RunPython(triggers.remove, triggers.install),
        migrations.AddField(
            model_name="revision",
            name="withdrawn_for_editing",
            field=models.BooleanField(default=False),
        ),
        migrations.AddConstraint(
            model_name="revision",
            constraint=models.CheckConstraint(
                condition=models.Q(("state", "withdrawn"), ("withdrawn_for_editing", False), _connector="OR"),
                name="only_a_withdrawal_is_an_editing_matter",
            ),
        ),
        migrations.RunPython(triggers.install, triggers.remove),
        migrations.RunPython(triggers.WITHDRAWALS.install, triggers.WITHDRAWALS.remove),
    ]
