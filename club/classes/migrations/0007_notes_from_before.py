from django.db import migrations
from django.db.models import F


def instructors_of_then(apps, schema_editor):
    """Whoever teaches a session that was not changed since the sign-up taught it when the note was written.

    Of other sessions nobody knows who taught them then: their notes wait for their writers, who are told.
    """
    SignUp = apps.get_model("classes", "SignUp")
    meant = SignUp.needs_for.through
    same = SignUp.objects.exclude(needs="").filter(session__changed_at__lte=F("joined_at"))
    pairs = same.exclude(session__instructors=None).values_list("pk", "session__instructors")
    rows = [meant(signup_id=signup, user_id=teacher) for signup, teacher in pairs]
    meant.objects.bulk_create(rows, batch_size=500, ignore_conflicts=True)


class Migration(migrations.Migration):
    dependencies = [("classes", "0006_who_reads_a_note")]

    operations = [migrations.RunPython(instructors_of_then, migrations.RunPython.noop)]
