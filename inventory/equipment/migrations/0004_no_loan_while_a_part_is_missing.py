from __future__ import annotations

from django.db import migrations, models
from django.db.models import Q

# Apart from the step before: PostgreSQL alters no table whose rows were changed in the same transaction.


class Migration(migrations.Migration):
    dependencies = [("equipment", "0003_missing_parts")]

    operations = [
        migrations.AddConstraint(
            "loan",
            models.UniqueConstraint(
                fields=["thing"],
                name="no_loan_while_a_part_is_missing",
                condition=Q(returned_at=None) | (~Q(missing_parts="") & Q(parts_settled_at=None)),
            ),
        ),
        migrations.AddConstraint(
            "loan",
            models.CheckConstraint(
                name="loan_parts_settled_by_whom_and_how",
                condition=Q(parts_settled_at=None, parts_settled_by=None, parts_outcome="", parts_note="")
                | (
                    Q(parts_settled_at__isnull=False, returned_at__isnull=False)
                    & ~Q(missing_parts="")
                    & Q(parts_settled_by__isnull=False, parts_outcome__in=["back", "replaced", "withdrawn"])
                )
                | Q(parts_settled_at__isnull=False, parts_settled_by=None, parts_outcome="before"),
            ),
        ),
    ]
