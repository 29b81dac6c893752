from __future__ import annotations

from django.db import migrations

from inventory.jars import guards


class Migration(migrations.Migration):
    dependencies = [("jars", "0002_the_ledger")]

    operations = [migrations.RunPython(guards.install, guards.remove)]
