from django.db import migrations


def founders(apps, schema_editor):
    """Whoever has been in a household longest: who named a kitchen was the first to be put in it."""
    Kitchen = apps.get_model("members", "Kitchen")
    kitchens = {kitchen.pk: kitchen for kitchen in Kitchen.objects.filter(is_hall=False, founded_by=None)}
    pairs = Kitchen.people.through.objects.order_by("pk").values_list("kitchen_id", "user_id")
    for kitchen, person in pairs.iterator():
        if kitchen in kitchens and kitchens[kitchen].founded_by_id is None:
            kitchens[kitchen].founded_by_id = person
    Kitchen.objects.bulk_update(kitchens.values(), ["founded_by"], batch_size=500)


class Migration(migrations.Migration):
    dependencies = [("members", "0006_kitchens_by_invitation")]

    operations = [migrations.RunPython(founders, migrations.RunPython.noop)]
