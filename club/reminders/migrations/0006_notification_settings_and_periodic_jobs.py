"""Names in Python alone: tables and columns stay as they are."""

from __future__ import annotations

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("reminders", "0005_what_is_unread"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AlterModelTable(name="wishes", table="reminders_wishes"),
        migrations.AlterModelTable(name="tick", table="reminders_tick"),
        migrations.RenameModel(old_name="Wishes", new_name="NotificationSettings"),
        migrations.RenameModel(old_name="Tick", new_name="PeriodicJob"),
        migrations.AlterField(
            model_name="notificationsettings",
            name="person",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="notification_settings",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RenameField(model_name="reminder", old_name="holder", new_name="lease"),
                migrations.AlterField(
                    model_name="reminder",
                    name="lease",
                    field=models.UUIDField(blank=True, db_column="holder", null=True),
                ),
            ],
        ),
    ]
