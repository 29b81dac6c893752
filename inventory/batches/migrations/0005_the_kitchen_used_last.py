from django.db import migrations


def used_last(apps, schema_editor):
    """For each person the kitchen of the last batch that they started for themselves."""
    User, Batch = apps.get_model("members", "User"), apps.get_model("batches", "Batch")
    batches = Batch.objects.filter(started_by=None).order_by("started_at", "pk")
    last = dict(batches.values_list("made_by_id", "kitchen_id").iterator())
    people = list(User.objects.filter(pk__in=last, kitchen_used=None))
    for person in people:
        person.kitchen_used_id = last[person.pk]
    User.objects.bulk_update(people, ["kitchen_used"], batch_size=500)


class Migration(migrations.Migration):
    dependencies = [
        ("batches", "0004_jar_offers"),
        ("members", "0006_kitchens_by_invitation"),
    ]

    operations = [migrations.RunPython(used_last, migrations.RunPython.noop)]
