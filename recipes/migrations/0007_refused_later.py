"""What is published already may be refused later, by a ledger that knows more."""

from django.db import migrations, models

from recipes import triggers


class Migration(migrations.Migration):
    dependencies = [("recipes", "0006_withdrawn_for_editing")]

    operations = [
        migrations.RunPython(triggers.WITHDRAWALS.remove, triggers.WITHDRAWALS.install),
        migrations.RunPython(triggers.remove, triggers.install),
        migrations.AddField(model_name="revision", name="refused_why", field=models.TextField(blank=True, default="")),
        migrations.AddConstraint(
            model_name="revision",
            constraint=models.CheckConstraint(
                condition=models.Q(("refused_why", ""), ("state__in", ["published", "withdrawn"]), _connector="OR"),
                name="only_what_is_published_is_refused_later",
            ),
        ),
        migrations.RunPython(triggers.install, triggers.remove),
        migrations.RunPython(triggers.WITHDRAWALS.install, triggers.WITHDRAWALS.remove),
    ]
