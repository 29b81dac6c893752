from __future__ import annotations

from django.db import migrations

from recipes import triggers


class Migration(migrations.Migration):
    dependencies = [("recipes", "0002_index_columns")]

    operations = [migrations.RunPython(triggers.install, triggers.remove)]
