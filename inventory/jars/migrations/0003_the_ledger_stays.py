from __future__ import annotations

from django.db import migrations

from inventory.jars import triggers


class Migration(migrations.Migration):
    dependencies = [("jars", "0002_the_ledger")]

    operations = [migrations.RunPython(triggers.install, triggers.remove)]
