from django.db import migrations, models


class Migration(migrations.Migration):
    """The field is called has_own_use_by now; its column keeps its name."""

    dependencies = [("fruit", "0002_the_freezer")]

    operations = [
        migrations.AlterField("offer", "use_by_told", models.BooleanField(db_column="use_by_told", default=False)),
        migrations.RenameField("offer", "use_by_told", "has_own_use_by"),
    ]
