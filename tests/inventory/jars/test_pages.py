"""Every page of the room, by everybody who might ask; and 30 rows cost no more queries than one."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from club.core.clock import club_day
from club.members.choices import Role
from inventory.jars import forms, services
from inventory.jars.forms import REASONS_OFFERED
from inventory.jars.models import (
    Balance,
    Deposit,
    LidMovement,
    LidStock,
    Movement,
    Place,
    Supply,
    SupplyLot,
    SupplyMovement,
)
from tests.factories.batches import make_batch_checked, make_batch_out
from tests.factories.jars import make_jars, make_keeper, make_lid_lot, make_loan, make_stock, make_supply
from tests.factories.members import make_kitchen, make_person
from tests.helpers import refused_fields, text_of

pytestmark = pytest.mark.django_db

KEEPERS_ONLY = ["movements", "lids", "counts", "exports", "export-workbook"]
FOR_ALL = ["home", "deposits", "supplies"]
READ_ONLY = ["home", "movements", "deposits", "exports", "export-workbook"]


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def rows(cook, keeper):
    """One row of everything: address by page name, for pages that are about one thing."""
    kitchen = services.kitchen_place(make_kitchen(cook))
    mine = make_jars(kitchen, 5, by=cook)
    make_loan(cook, 2, by=keeper, deposit_cents=50)
    stock = make_stock(make_supply(by=keeper), 3, by=keeper)
    lids = services.lids_move(by=keeper, reason="bought", lot=make_lid_lot(), count=12, token=uuid4())
    return {
        "place": kitchen.pk,
        "correct": mine.pk,
        "settle": Deposit.objects.get().pk,
        "lids-correct": lids.pk,
        "supply": stock.supply.pk,
        "spoil": stock.pk,
        "supply-correct": SupplyMovement.objects.get().pk,
    }


# Who sees what


@pytest.mark.parametrize("page", KEEPERS_ONLY)
def test_who_keeps_the_ledger_opens_its_pages_and_nobody_else(page, keeper, sign_in):
    assert sign_in(keeper).get(reverse(f"jars:{page}")).status_code == 200
    for role in (Role.MEMBER, Role.INSTRUCTOR, Role.ORGANISER):
        assert sign_in(make_person(role)).get(reverse(f"jars:{page}")).status_code == 403


@pytest.mark.parametrize("page", FOR_ALL)
def test_a_member_opens_what_is_for_all(page, cook, sign_in):
    assert sign_in(cook).get(reverse(f"jars:{page}")).status_code == 200


@pytest.mark.parametrize("page", ["settle", "lids-correct", "spoil", "supply-correct"])
def test_a_member_gets_403_where_only_keepers_write(page, rows, cook, keeper, sign_in):
    path = reverse(f"jars:{page}", args=[rows[page]])
    assert sign_in(keeper).get(path).status_code == 200
    for method in ("get", "post"):
        assert getattr(sign_in(cook), method)(path, {"count": 1, "token": uuid4()}).status_code == 403


def test_a_member_opens_her_own_place_and_finds_no_other(rows, cook, keeper, sign_in):
    path = reverse("jars:place", args=[rows["place"]])
    assert "5 jars" in text_of(sign_in(cook).get(path))
    assert sign_in(keeper).get(path).status_code == 200
    assert sign_in(make_person()).get(path).status_code == 404
    outside = reverse("jars:place", args=[services.outside_place("bought").pk])
    assert sign_in(keeper).get(outside).status_code == 404


def test_a_member_corrects_her_own_movement_and_finds_no_other_s(rows, cook, keeper, sign_in):
    path = reverse("jars:correct", args=[rows["correct"]])
    assert sign_in(cook).get(path).status_code == 200
    assert sign_in(make_person()).get(path).status_code == 404
    loan = Movement.objects.get(reason="lent")
    assert sign_in(cook).get(reverse("jars:correct", args=[loan.pk])).status_code == 404
    fellow = make_person()
    Place.objects.get(pk=rows["place"]).kitchen.people.add(fellow)
    assert sign_in(fellow).get(path).status_code == 403


@pytest.mark.parametrize("page", ["place", "correct", "settle", "lids-correct", "supply", "spoil", "supply-correct"])
def test_what_is_not_there_is_not_found_and_nobody_signs_in(page, rows, keeper, sign_in):
    assert sign_in(keeper).get(reverse(f"jars:{page}", args=[999_999])).status_code == 404
    answer = Client().get(reverse(f"jars:{page}", args=[rows[page]]))
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("account_login"))


@pytest.mark.parametrize("page", READ_ONLY)
def test_pages_to_read_take_no_post(page, keeper, sign_in):
    assert sign_in(keeper).post(reverse(f"jars:{page}")).status_code == 405


@pytest.mark.parametrize("page", ["correct", "settle", "lids-correct", "supply", "spoil", "supply-correct"])
def test_pages_to_write_take_no_put(page, rows, keeper, sign_in):
    assert sign_in(keeper).put(reverse(f"jars:{page}", args=[rows[page]])).status_code == 405


@pytest.mark.parametrize("word", ["filled", "corrected", "missing", "stolen"])
def test_what_is_not_moved_by_hand_has_no_form(word, keeper, sign_in):
    assert sign_in(keeper).get(reverse("jars:move", args=[word])).status_code == 404
    assert sign_in(keeper).get(reverse("jars:move", args=["lent"])).status_code == 200


def test_a_csv_of_no_table_is_not_found_and_a_member_takes_none(cook, keeper, sign_in):
    assert sign_in(keeper).get(reverse("jars:export-csv", args=["secrets"])).status_code == 404
    assert sign_in(cook).get(reverse("jars:export-csv", args=["counts"])).status_code == 403


# Moving


@pytest.mark.parametrize("reason", REASONS_OFFERED)
def test_each_reason_has_a_form(reason, keeper, sign_in):
    assert "<form" in sign_in(keeper).get(reverse("jars:move", args=[reason])).content.decode()


def test_lending_is_a_size_a_number_and_a_name(keeper, sign_in):
    person = make_person(name="Borrower")
    make_jars(services.store_place(), 9, by=keeper)
    form = {"token": uuid4(), "size": "pint", "count": 6, "state": "empty", "source": "store"}
    form |= {"target": f"member-{person.pk}", "deposit_cents": "0.50"}
    client, path = sign_in(keeper), reverse("jars:move", args=["lent"])
    for _press in range(2):
        answer = client.post(path, form, follow=True)
        assert answer.status_code == 200
    assert "Deposit taken: 3.00." in text_of(answer)
    assert Balance.objects.get(place__person=person).count == 6
    assert Deposit.objects.get().cents == 300
    short = client.post(path, {**form, "token": uuid4(), "count": 4})
    assert short.status_code == 200
    assert refused_fields(short) == {"count"}
    assert 'value="4"' in short.content.decode()


def test_full_jars_are_moved_by_the_code_on_their_label(cook, keeper, sign_in):
    batch = make_batch_out(by=cook, kitchen=make_kitchen(cook))
    place = services.kitchen_place(batch.kitchen)
    form = {"size": "half-pint", "count": 1, "state": "full", "source": f"kitchen-{batch.kitchen_id}"}
    client, path = sign_in(cook), reverse("jars:move", args=["given"])
    wrong = client.post(path, {**form, "token": uuid4(), "lot": "26001-AAA"})
    assert refused_fields(wrong) == {"lot"}
    assert client.post(path, {**form, "token": uuid4(), "lot": batch.lot_code.lower()}).status_code == 302
    assert Balance.objects.get(place=place, state="full").count == 3
    assert Movement.objects.get(reason="given").batch == batch


def test_a_member_is_offered_her_own_places_only_and_another_s_is_refused(cook, sign_in):
    mine, theirs = make_kitchen(cook, name="Mine"), make_kitchen(name="Theirs")
    make_jars(services.kitchen_place(theirs), 5)
    client, path = sign_in(cook), reverse("jars:move", args=["broken"])
    page = text_of(client.get(path))
    assert "Mine" in page
    assert "Theirs" not in page
    form = {"token": uuid4(), "size": "pint", "count": 1, "state": "empty", "source": f"kitchen-{theirs.pk}"}
    assert client.post(path, form).status_code == 200
    assert not Movement.objects.filter(reason="broken").exists()
    make_jars(services.kitchen_place(mine), 1, by=cook)
    assert client.post(path, {**form, "source": f"kitchen-{mine.pk}"}).status_code == 302
    assert client.get(path, {"place": services.kitchen_place(theirs).pk}).status_code == 404


def test_a_correction_is_shown_beside_what_it_corrects(rows, cook, sign_in):
    client = sign_in(cook)
    path = reverse("jars:correct", args=[rows["correct"]])
    assert client.post(path, {"token": uuid4(), "count": 3}).status_code == 302
    page = text_of(client.get(reverse("jars:place", args=[rows["place"]])))
    assert "3 jars" in page
    assert f"corrects no {rows['correct']}" in page
    assert "corrected by no" in page
    assert "This was corrected already" in text_of(client.get(path))


def test_a_deposit_is_seen_by_its_member_and_closed_by_a_keeper(rows, cook, keeper, sign_in):
    assert "1.00" in text_of(sign_in(cook).get(reverse("jars:deposits")))
    assert "No jars are out" in text_of(sign_in(make_person()).get(reverse("jars:deposits")))
    path = reverse("jars:settle", args=[rows["settle"]])
    assert sign_in(keeper).post(path, {"token": uuid4(), "note": "Paid back."}).status_code == 302
    assert not Deposit.objects.open().exists()


# Lids and supplies


def test_lids_are_bought_and_spoilt_on_their_page(keeper, sign_in):
    client, path = sign_in(keeper), reverse("jars:lids")
    for what, count in (("buy", 12), ("spoil", 2)):
        form = {"token": uuid4(), "what": what, "code": "AB 1", "maker": "Tin", "count": count}
        assert client.post(path, form).status_code == 302
    assert LidStock.objects.get().on_hand == 10
    over = client.post(path, {"token": uuid4(), "what": "spoil", "code": "AB 1", "maker": "Tin", "count": 11})
    assert refused_fields(over) == {"count"}
    first = LidMovement.objects.get(reason="bought")
    client.post(reverse("jars:lids-correct", args=[first.pk]), {"token": uuid4(), "count": 24})
    assert LidStock.objects.get().on_hand == 22


def test_a_supply_is_added_brought_in_used_and_thrown_away_on_its_pages(keeper, sign_in):
    client, today = sign_in(keeper), club_day()
    added = client.post(reverse("jars:supplies"), {"name": "Pectin", "unit": "packets", "low_level": 2})
    page = added.url
    buy = {"form": "buy", "buy-count": 5, "buy-use_by": (today + timedelta(days=30)).isoformat()}
    assert client.post(page, {**buy, "buy-token": uuid4()}).status_code == 302
    assert client.post(page, {"form": "use", "use-count": 3, "use-token": uuid4()}).status_code == 302
    shown = text_of(client.get(page))
    assert "2 packets to use" in shown
    assert "low: buy more" in shown
    assert "running low" in text_of(client.get(reverse("jars:home")))
    over = client.post(page, {"form": "use", "use-count": 3, "use-token": uuid4()})
    assert refused_fields(over) == {"use-count"}
    lot = SupplyLot.objects.get()
    assert client.post(reverse("jars:spoil", args=[lot.pk]), {"count": 2, "token": uuid4()}).status_code == 302
    bought = SupplyMovement.objects.get(reason="bought")
    client.post(reverse("jars:supply-correct", args=[bought.pk]), {"count": 6, "token": uuid4()})
    lot.refresh_from_db()
    assert lot.count == 1


def test_no_two_parts_of_a_supply_s_page_share_an_id(keeper, sign_in):
    page = sign_in(keeper).get(make_supply(by=keeper).get_absolute_url()).content.decode()
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert {"submit-id-buy-send", "submit-id-use-send"} <= set(ids)
    assert sorted(ids) == sorted(set(ids))


def test_a_weak_vinegar_is_said_to_be_too_weak_with_the_rule_s_source(keeper, sign_in):
    vinegar = make_supply("Cider vinegar", by=keeper, kind="vinegar")
    client, page = sign_in(keeper), vinegar.get_absolute_url()
    for strength in ("5.0", "4.9"):
        form = {"form": "buy", "buy-count": 1, "buy-strength": strength, "buy-token": uuid4()}
        assert client.post(page, form).status_code == 302
    shown = text_of(client.get(page))
    assert shown.count("too weak for tested pickles") == 1
    assert "at least 5 percent acid" in shown


def test_a_member_reads_supplies_and_writes_none(cook, keeper, sign_in):
    supply = make_supply("Pectin", by=keeper)
    make_stock(supply, 3, by=keeper, use_by=club_day() - timedelta(days=1))
    client = sign_in(cook)
    assert "3 past the date" in text_of(client.get(reverse("jars:supplies")))
    assert "past its date: not used" in text_of(client.get(supply.get_absolute_url()))
    assert client.post(reverse("jars:supplies"), {"name": "X", "unit": "x"}).status_code == 403
    assert client.post(supply.get_absolute_url(), {"form": "use"}).status_code == 403


# Query bounds: the same number at 1 row and at 30


def fill_all(keeper, many):
    """So many places, members, movements, deposits, lid lots and supplies."""
    for _n in range(many):
        batch = make_batch_out(by=keeper, kitchen=make_kitchen(keeper), lid_code=f"LID {_n}")
        assert batch
        make_loan(make_person(), 2, by=keeper, deposit_cents=50)
        make_stock(make_supply(by=keeper), 3, by=keeper, use_by=club_day() + timedelta(days=9))


@pytest.mark.parametrize("many", [1, 30])
def test_every_list_costs_the_same_queries_for_one_row_and_for_30(many, keeper, sign_in, django_assert_max_num_queries):
    fill_all(keeper, many)
    client = sign_in(keeper)
    bounds = {
        "home": 11,
        "home?show=members": 11,
        "movements": 7,
        "deposits": 7,
        "lids": 8,
        "supplies": 9,
        "counts": 7,
    }
    for name, most in bounds.items():
        page, _mark, query = name.partition("?")
        with django_assert_max_num_queries(most):
            assert client.get(f"{reverse(f'jars:{page}')}?{query}").status_code == 200
    with django_assert_max_num_queries(11):
        assert client.get(Supply.objects.first().get_absolute_url()).status_code == 200


@pytest.mark.parametrize("many", [1, 30])
def test_a_place_costs_the_same_queries_for_one_lot_and_for_30(many, keeper, sign_in, django_assert_max_num_queries):
    kitchen = make_kitchen(keeper)
    for _n in range(many):
        make_batch_out(by=keeper, kitchen=kitchen)
    client, path = sign_in(keeper), services.kitchen_place(kitchen).get_absolute_url()
    with django_assert_max_num_queries(13):
        answer = client.get(path)
    assert len(answer.context["lots"]) == many
    with django_assert_max_num_queries(9):
        assert client.get(reverse("jars:move", args=["lent"]), {"place": answer.context["place"].pk}).status_code == 200


def test_movements_are_read_on_by_key_without_gap_or_overlap(keeper, sign_in):
    for _n in range(65):
        make_jars(services.store_place(), 1, by=keeper)
    client, seen = sign_in(keeper), []
    for path in (reverse("jars:movements"), services.store_place().get_absolute_url()):
        seen, before = [], ""
        while before is not None:
            answer = client.get(path, {"before": before})
            seen += [movement.pk for movement in answer.context["movements"]]
            before = answer.context["next_before"]
        assert seen == list(Movement.objects.order_by("-pk").values_list("pk", flat=True))
    assert client.get(path, {"before": "x"}).status_code == 200


# How the lids have done


def test_the_lids_page_shows_interval_picture_and_few_data(sign_in, keeper):
    make_batch_checked(unsealed={1: "freeze"}, lid_code="OLD")
    answer = sign_in(keeper).get(reverse("batches:lids"))
    page, source = text_of(answer), answer.content.decode()
    assert "25 % of 4" in page
    assert "5 to 70 %" in page  # Wilson's interval of 1 in 4: 0.0456 to 0.6994
    assert "few lids" in page
    assert "<svg" in source
    assert "OLD: 1 of 4 failed, likely 5 to 70 %." in page
    svg = source[source.index("<svg") : source.index("</svg>")]
    assert "style" not in svg
    assert "<script" not in svg


@pytest.mark.parametrize(
    ("a", "b", "said"),
    [
        ({}, {}, "Too few lids or failures to tell"),
        (
            dict.fromkeys(range(1, 7), "freeze"),
            {},
            "Hardly chance: lots of one quality would differ by so much about once in 462",
        ),
    ],
)
def test_two_lots_are_laid_side_by_side(a, b, said, keeper, sign_in):
    for code, unsealed in (("A1", a), ("B1", b)):
        make_batch_checked(unsealed=unsealed, lid_code=code, jars={"half-pint": 6})
    lots = {
        batch.lid_lot.code: batch.lid_lot.pk for batch in (make_batch_out(lid_code="A1"), make_batch_out(lid_code="B1"))
    }
    page = text_of(sign_in(keeper).get(reverse("batches:lids"), {"a": lots["A1"], "b": lots["B1"]}))
    assert said in page
    same = sign_in(keeper).get(reverse("batches:lids"), {"a": lots["A1"], "b": lots["A1"]})
    assert "Choose two different lots" in text_of(same)
    assert make_keeper()


def test_among_very_many_people_one_is_looked_for_by_name_and_what_was_typed_stays(sign_in, keeper, monkeypatch):
    monkeypatch.setattr(forms, "MOST_PLACES", 2)
    people = [make_person(name=name) for name in ("Ann Reed", "Bo Lund", "Cy Lund", "Di Moor")]
    client, path = sign_in(keeper), reverse("jars:move", args=["lent"])

    def shown(answer):
        return [label for key, label in answer.context["form"].fields["target"].choices if key]

    assert len(shown(client.get(path))) == 2
    found = client.post(path, {"find": "1", "target_find": "lund", "count": "7", "size": "pint", "source": "store"})
    assert shown(found) == ["Bo Lund", "Cy Lund"]
    assert 'value="7"' in found.content.decode()
    make_jars(services.store_place(), 9, by=keeper, size="pint")
    before = Movement.objects.count()
    unlisted = {"target": f"member-{people[3].pk}", "count": "7", "size": "pint", "state": "empty"}
    unlisted |= {"source": "store", "token": uuid4()}
    refused = client.post(path, {**unlisted, "count": "700"})
    assert "Di Moor" in shown(refused)
    for nobody in ("member-999999", "kitchen-1", "member-²", ""):
        assert client.post(path, {**unlisted, "target": nobody}).status_code == 200
    assert Movement.objects.count() == before
    assert client.post(path, unlisted).status_code == 302
    assert Movement.objects.latest("pk").target.person == people[3]
