from django.db import migrations, models


def first_names(apps, schema_editor):
    """Of guests, who were never asked, the first name stays."""
    signups = apps.get_model("classes", "SignUp")
    for pk, companion in list(signups.objects.filter(companion__contains=" ").values_list("pk", "companion")):
        signups.objects.filter(pk=pk).update(companion=next(iter(companion.split()), ""))


class Migration(migrations.Migration):
    dependencies = [("classes", "0009_notes_sealed")]

    operations = [
        migrations.AddField(
            model_name="sessionphoto",
            name="shown_agreed",
            field=models.BooleanField(default=False),
        ),
        migrations.RunPython(first_names, migrations.RunPython.noop, elidable=True),
    ]
