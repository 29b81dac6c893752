from django.db import migrations

from club.core import sealing


def seal_what_is_there(apps, schema_editor):
    """Fails with NoKeyError, and changes nothing, where notes are kept and NOTE_KEYS is not set."""
    SignUp = apps.get_model("classes", "SignUp")
    for key, needs in SignUp.objects.exclude(needs="").values_list("pk", "needs"):
        SignUp.objects.filter(pk=key).update(needs=sealing.seal(needs))


def open_again(apps, schema_editor):
    """What no key opens stays sealed."""
    SignUp = apps.get_model("classes", "SignUp")
    for key, needs in SignUp.objects.exclude(needs="").values_list("pk", "needs"):
        text = sealing.unseal(needs)
        if not isinstance(text, sealing.Unreadable):
            SignUp.objects.filter(pk=key).update(needs=text)


class Migration(migrations.Migration):
    dependencies = [("classes", "0008_name_of_the_lock")]

    operations = [
        migrations.RunPython(seal_what_is_there, open_again),
        migrations.AlterField(
            model_name="signup",
            name="needs",
            field=sealing.SealedTextField(blank=True, verbose_name="allergies and access"),
        ),
    ]
