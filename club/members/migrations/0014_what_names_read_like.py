from django.db import migrations, models
from django.db.models import Q

from club.core.text import reads_like, seen


def keys(apps, schema_editor):
    """Of those who have one name already, or names that read alike, all but who joined first share it."""
    User = apps.get_model("members", "User")
    drawn, folded, changed = set(), set(), []
    for person in User.objects.order_by("-is_active", "joined_at", "pk").iterator():
        person.name = seen(person.name)
        person.name_drawn, person.name_folded = (key[:240] for key in reads_like(person.name))
        person.is_name_shared = person.name_drawn in drawn or person.name_folded in folded
        drawn.add(person.name_drawn)
        folded.add(person.name_folded)
        changed.append(person)
    User.objects.bulk_update(changed, ["name", "name_drawn", "name_folded", "is_name_shared"], batch_size=500)


def unshared(key):
    condition = Q(is_active=True, is_name_shared=False) & ~Q((key, ""))
    return models.UniqueConstraint(fields=[key], name=f"one_member_per_{key}", condition=condition)


class Migration(migrations.Migration):
    dependencies = [("members", "0013_further_addresses")]

    operations = [
        migrations.AddField(
            "user", "name_drawn", models.CharField(blank=True, default="", editable=False, max_length=240),
            preserve_default=False,
        ),
        migrations.AddField(
            "user", "name_folded", models.CharField(blank=True, default="", editable=False, max_length=240),
            preserve_default=False,
        ),
        migrations.AddField("user", "is_name_shared", models.BooleanField(default=False, editable=False)),
        migrations.RunPython(keys, migrations.RunPython.noop),
        migrations.AddConstraint("user", unshared("name_drawn")),
        migrations.AddConstraint("user", unshared("name_folded")),
    ]
