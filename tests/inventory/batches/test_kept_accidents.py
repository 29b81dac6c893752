"""What is published of ferments, dried and frozen food that went wrong, and what a member does about it on the page."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.batches import accidents, services
from inventory.batches.accidents import Act, KeptSituation, Situation, answer_for, kept_situations
from inventory.batches.models import Jar
from inventory.jars.models import Movement
from recipes.engine.keeping import Way
from recipes.library import keeping_tables
from tests.factories.batches import APPLES, BEANS, finish, make_ferment_done, make_kraut_kept, make_staged
from tests.factories.members import make_person
from tests.helpers import text_of
from tests.inventory.batches.test_stages import make_table

UNDER_WAY, KEPT = None, 500.0
BOTH = (UNDER_WAY, KEPT)
KRAUT, DILLS, KIMCHI = "sauerkraut", "fermented-dills", "kimchi"
# Situation, food, when, what is done, and who publishes it.
PUBLISHED = [
    ("scum", KRAUT, (UNDER_WAY,), "skim", "Oregon State SP 50-745"),
    ("scum", DILLS, (UNDER_WAY,), "skim", "AIB 539; Michigan State 01600129"),
    ("mould-little", KRAUT, (UNDER_WAY,), "skim", "Oregon State SP 50-745"),
    ("mould-little", DILLS, (UNDER_WAY,), "skim", "AIB 539; Michigan State 01600129"),
    ("mould-little", KIMCHI, BOTH, "ask", "none found"),
    ("mould-little", KRAUT, (KEPT,), "ask", "none found of a closed jar"),
    ("mould-much", KRAUT, BOTH, "discard", "Oregon State SP 50-745"),
    ("slimy", KRAUT, BOTH, "discard", "Oregon State SP 50-745"),
    ("slimy", DILLS, BOTH, "discard", "NCHFP; Missouri"),
    ("slimy", KIMCHI, BOTH, "ask", "none found"),
    ("soft", KRAUT, BOTH, "keep-if-clean", "Oregon State SP 50-745"),
    ("soft", DILLS, BOTH, "discard", "NCHFP; Missouri: soft or slippery"),
    ("pink", KRAUT, BOTH, "keep-unless-slimy", "Oregon State SP 50-745"),
    ("dark", KRAUT, BOTH, "ask", "causes are printed, not whether it is eaten"),
    ("bad-smell", KIMCHI, BOTH, "discard", "Washington State"),
    ("brine-low", KRAUT, (UNDER_WAY,), "push-under", "Florida he287; Michigan State; Missouri"),
    ("too-warm", DILLS, (UNDER_WAY,), "move-cooler", "AIB 539; Michigan State"),
    ("too-cold", KRAUT, (UNDER_WAY,), "move-warmer", "Missouri"),
    ("too-cold", DILLS, (UNDER_WAY,), "ask", "none found"),
    ("fridge-off", KRAUT, (KEPT,), "ask", "hours are printed of other food"),
    ("damp", "dry", (UNDER_WAY,), "dry-on", "Utah State; Michigan State 01600529"),
    ("damp", "dry", (0.0, KEPT), "use-or-redry", "Georgia; Clemson"),
    ("mould", "dry", BOTH, "discard", "Georgia; Clemson"),
    ("insects", "dry", BOTH, "kill-insects", "Michigan State 01600520; Utah State"),
    ("drier-off", "dry", BOTH, "ask", "none found"),
    ("freezer-off", "freeze", BOTH, "keep-shut", "FoodSafety.gov"),
    ("thawed-cold", "freeze", BOTH, "refreeze", "North Dakota State; FoodSafety.gov"),
    ("thawed-warm", "freeze", BOTH, "discard", "North Dakota State"),
    ("freezer-burn", "freeze", BOTH, "trim", "USDA"),
    *(("thermometer-off", food, BOTH, "ask", "none found") for food in (KRAUT, "dry", "freeze")),
]


@pytest.mark.parametrize(("situation", "food", "moments", "done", "_source"), PUBLISHED)
def test_each_answer_is_the_published_one(situation, food, moments, done, _source):
    what = KeptSituation(situation) if situation in list(KeptSituation) else Situation(situation)
    for hours in moments:
        answer = answer_for(what, food, hours)
        assert " ".join(answer.acts) == done
        assert answer.is_known is (done != "ask")
        assert all(accidents.WORDS[act][0] for act in answer.acts)


def test_every_kept_situation_has_a_name_and_stands_in_a_list_of_a_way():
    listed = {one for way in Way for under_way in (True, False) for one in kept_situations(way, is_under_way=under_way)}
    assert set(KeptSituation) <= listed
    assert set(accidents.KEPT_NAMES) == set(KeptSituation)
    named = {food for row in accidents._rows() for food in row.foods if row.situation in KeptSituation}
    assert named <= {*keeping_tables().ferments, *Way}


@pytest.fixture
def cook(db):
    return make_person(name="Cook")


@pytest.fixture
def client(sign_in, cook):
    return sign_in(cook)


def at(batch, what=""):
    return reverse("batches:batch-wrong", args=[batch.lot_code]) + (f"?what={what}" if what else "")


def ago(days):
    return timezone.now() - timedelta(days=days)


def test_a_ferment_s_page_answers_by_its_food_and_leads_to_a_look(client, cook, django_assert_max_num_queries):
    batch = make_staged(by=cook, began=ago(5))
    finish(batch, at=ago(4.9))
    assert at(batch) in client.get(batch.get_absolute_url()).content.decode()
    with django_assert_max_num_queries(22):
        page = client.get(at(batch, "slimy"))
    assert page.context["answer"].acts == (Act.DISCARD,)
    text = page.content.decode()
    assert reverse("batches:look", args=[batch.lot_code]) in text
    assert reverse("batches:abandon", args=[batch.lot_code]) in text
    assert "answer" not in client.get(at(batch, "damp")).context  # nothing that can happen to a ferment


def test_what_no_row_answers_is_thrown_away_or_asked_about(client, cook):
    batch = make_kraut_kept(by=cook, began=ago(40))
    page = client.get(at(batch, "dark"))
    assert page.context["answer"].acts == (Act.ASK,)
    assert "Ask your extension service" in text_of(page)


def test_containers_are_set_aside_and_thrown_away_without_the_ledger(client, cook):
    began = ago(20)
    batch = make_staged("freeze", BEANS, by=cook, began=began)
    finish(batch, at=began)
    accidents_page = at(batch, "thawed-warm")
    batch = services.keeping_put_up(by=cook, batch=batch, counts={"bag": 3}, grams=1500, at=began, now=began)
    page = client.get(accidents_page)
    assert batch.freezer_item.get_absolute_url() in page.content.decode()

    token = page.context["act"]["token"].value()
    client.post(accidents_page, {"token": token, "jars": [1, 2], "do": "discard"})

    assert list(Jar.objects.filter(batch=batch).values_list("disposal", flat=True)) == ["discard", "discard", "freeze"]
    assert not Movement.objects.exists()


def test_a_canned_ferment_is_asked_about_as_a_pickle(client, cook):
    make_table()
    batch = make_ferment_done(key="fermented-dills", by=cook, began=ago(23))
    batch = services.keeping_can(by=cook, batch=batch, pack="raw", jar="pint")
    page = client.get(at(batch))
    assert Situation.HEAT_FELL in dict(page.context["listed"])
    assert client.get(at(batch, "heat-fell")).context["answer"].acts == (Act.RESTART,)


@pytest.mark.parametrize(
    ("asked", "acts"),
    [
        ({"what": "soft"}, (Act.DISCARD,)),  # of the foods that it may be, the strictest
        ({"what": "soft", "food": "sauerkraut"}, (Act.KEEP_IF_CLEAN,)),
        ({"what": "damp", "since": "stove"}, (Act.DRY_ON,)),
        ({"what": "drier-off"}, (Act.ASK,)),
    ],
)
def test_without_a_batch_the_food_may_be_said(client, asked, acts):
    page = client.get(reverse("batches:wrong"), asked)
    assert page.context["answer"].acts == acts
    assert "sauerkraut" in dict(page.context["form"].fields["food"].choices)


def test_dried_food_speaks_of_no_closed_jar(client, cook):
    batch = make_staged("dry", APPLES, by=cook, began=ago(1))
    assert "Botulism" not in text_of(client.get(at(batch, "damp")))
