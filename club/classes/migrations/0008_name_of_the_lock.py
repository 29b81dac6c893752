from django.db import migrations


class Migration(migrations.Migration):
    """`SetAsideTurn` is called `SetAsideLock` in Python. The table stays as it is."""

    dependencies = [("classes", "0007_notes_from_before")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RenameModel("SetAsideTurn", "SetAsideLock"),
                migrations.AlterModelTable("SetAsideLock", "classes_setasideturn"),
            ]
        )
    ]
