from __future__ import annotations

from typing import Any

from django.db import migrations, models


def places_of_answers(apps: Any, schema_editor: Any) -> None:
    """An answer of somebody who held jars of the lot in one place was for that place. Where there were several nobody
    can say any more which was meant: the place stays empty, the answer settles nothing, and its people are asked again.
    """
    answers = apps.get_model("batches", "RecallAnswer")
    for answer in answers.objects.filter(where="").select_related("batch").order_by("pk").iterator(chunk_size=500):
        places = _places(apps, answer)
        if len(places) == 1:
            answers.objects.filter(pk=answer.pk).update(where=places.pop())


def _places(apps: Any, answer: Any) -> set[str]:
    """Where this person may have held jars of the lot, by its jars and by the jar ledger (see recalls.py)."""
    jars = apps.get_model("batches", "Jar").objects.filter(batch=answer.batch_id).order_by()
    full = apps.get_model("jars", "Balance").objects.filter(batch=answer.batch_id, state="full", count__gt=0)
    moved = apps.get_model("jars", "Movement").objects.filter(batch=answer.batch_id, reason="given", by=answer.person_id)
    kitchens = set(jars.filter(held_by=None).values_list("place", flat=True).distinct())
    kitchens |= set(full.filter(place__kind="kitchen").order_by().values_list("place__kitchen", flat=True))
    found = set()
    for kitchen in kitchens:
        people = set(apps.get_model("members", "Kitchen").objects.get(pk=kitchen).people.values_list("pk", flat=True))
        if answer.person_id in (people or {answer.batch.made_by_id}):
            found.add(f"kitchen {kitchen}")
        elif answer.person_id == answer.batch.made_by_id:
            found.add(f"maker {answer.person_id}")
    if jars.filter(held_by=answer.person_id).exists() or full.filter(place__person=answer.person_id).exists():
        found.add(f"person {answer.person_id}")
    keeps = apps.get_model("auth", "Group").objects.filter(name="keeper", user=answer.person_id).exists()
    if keeps and full.filter(place__kind="store").exists():
        found.add("store")
    if moved.exists():
        found.add(f"gave {answer.person_id}")
    return found


class Migration(migrations.Migration):
    dependencies = [
        ("batches", "0005_the_kitchen_used_last"),
        ("jars", "0004_club_order"),
        ("members", "0005_calendar_address"),
    ]

    operations = [
        migrations.AddField("recallanswer", "where", models.CharField(blank=True, max_length=30)),
        migrations.RunPython(places_of_answers, migrations.RunPython.noop),
    ]
