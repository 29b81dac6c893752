"""Which lots went into a batch: noted from what is at hand, weak vinegar refused, stock going down, slips mended."""

from __future__ import annotations

from copy import deepcopy
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from club.core.clock import club_day
from inventory.batches import services
from inventory.batches.ingredients import lines_to_ask, lines_with_lots, notes_of
from inventory.batches.models import Batch, Jar, LotTaken, Recall
from inventory.batches.presentation import labels_of
from inventory.batches.services import AlreadyDone, LotAnswer
from inventory.batches.tracing import affected_jars, holders, is_called_back, trace
from inventory.fruit.models import FreezerTaking
from inventory.jars.models import Balance, KitchenStock, Supply, SupplyLot, SupplyMovement
from inventory.jars.services import NotEnough, ledger_audit, supply_add, supply_buy, supply_use
from tests.factories.batches import NOW, make_batch, make_batch_checked, make_recall
from tests.factories.freezer import make_freezer_item
from tests.factories.jars import make_keeper, make_supply
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import SPREAD, make_revision
from tests.helpers import text_of

pytestmark = pytest.mark.django_db

ADDED = [
    {"item": "cider vinegar", "prep": "5 %", "role": "acid", "amount": "1", "unit": "cup"},
    {"item": "salt", "role": "salt", "amount": "1", "unit": "tbsp"},
]


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def batch(cook):
    """Plums at 0, sugar at 1, bottled lemon juice at 2, cider vinegar at 3, salt at 4."""
    revision = make_revision(ingredients=[*deepcopy(SPREAD["ingredients"]), *ADDED])
    return make_batch(by=cook, kitchen=make_kitchen(cook), revision=revision)


@pytest.fixture
def keeper():
    return make_keeper(name="Keeper")


def bought(keeper, *, strength=50, code="V-100", count=4, use_by=None, name="Cider vinegar"):
    vinegar = supply_add(by=keeper, name=name, unit="bottles", kind="vinegar")
    fields = {"strength_tenths": strength, "code": code, "use_by": use_by}
    return supply_buy(by=keeper, supply=vinegar, count=count, token=uuid4(), **fields).lot


def note(by, batch, *answers, token=None):
    return services.lots_note(by=by, batch=batch, answers=answers, token=token or uuid4(), now=NOW)


def problems_of(by, batch, *answers):
    with pytest.raises(ValidationError) as refused:
        note(by, batch, *answers)
    assert not LotTaken.objects.exists()
    return refused.value.message_dict


# What is asked and what is proposed


def test_acids_salt_and_fruit_are_asked_for_by_what_they_are_and_sugar_is_not(batch):
    assert [(line.at, line.kind) for line in lines_with_lots(batch)] == [
        (0, "fruit"),
        (2, "juice"),
        (3, "vinegar"),
        (4, "salt"),
    ]


def test_the_kitchen_s_own_lots_and_the_club_s_are_proposed_and_nothing_weak_or_lapsed(batch, cook, keeper):
    sound = bought(keeper)
    bought(keeper, strength=40, code="WEAK")
    bought(keeper, code="OLD", use_by=NOW.date() - timedelta(days=1))
    plums = make_freezer_item(by=cook, kitchen=batch.kitchen, now=NOW)
    make_freezer_item(by=cook, kitchen=batch.kitchen, what="rhubarb", now=NOW)
    make_freezer_item(what="plums", now=NOW)  # of another household
    note(cook, batch, LotAnswer(4, "code", code="S 1", is_new=True, have=3, used=1))
    _lines, offered = lines_to_ask(batch, cook, "4")
    assert {at: [one.key for one in found] for at, found in offered.items()} == {
        0: [f"freezer-{plums.pk}"],
        2: [],
        3: [f"club-{sound.pk}"],
        4: [f"home-{SupplyLot.objects.get(code='S 1').pk}"],
    }


def test_fruit_is_asked_about_only_where_some_was_shared_or_frozen(batch, cook):
    assert [line.at for line in lines_to_ask(batch, cook)[0]] == [2, 3, 4]


# Noting


def test_a_club_s_bottle_is_noted_with_what_its_label_says_and_its_count_goes_down(batch, cook, keeper):
    lot = bought(keeper, use_by=date(2027, 3, 1))
    token = uuid4()
    first = note(cook, batch, LotAnswer(3, f"club-{lot.pk}", used=1), token=token)
    again = note(cook, batch, LotAnswer(3, f"club-{lot.pk}", used=1), token=token)
    assert first == again
    taken = LotTaken.objects.get()
    assert (taken.supply_lot, taken.strength_tenths, taken.use_by) == (lot, 50, date(2027, 3, 1))
    lot.refresh_from_db()
    assert lot.count == 3
    used = SupplyMovement.objects.get(reason="used")
    assert (used.batch_id, used.change) == (batch.pk, -1)
    assert ledger_audit().is_sound


def test_what_was_never_counted_is_booked_as_found_so_that_no_batch_waits(batch, cook, keeper):
    lot = bought(keeper, count=1)
    note(cook, batch, LotAnswer(3, f"club-{lot.pk}", used=3))
    lot.refresh_from_db()
    assert lot.count == 0
    assert ledger_audit().is_sound


def test_a_bottle_of_one_s_own_is_written_down_once_and_stands_in_that_kitchen(batch, cook):
    new = LotAnswer(
        3, "code", code="lot 77", name="Vinegar of Old Mill", strength_tenths=60, is_new=True, have=2, used=1
    )
    note(cook, batch, new)
    lot = SupplyLot.objects.get()
    assert (str(lot), lot.count) == ("Vinegar of Old Mill, lot lot 77", 0)
    assert KitchenStock.objects.get(lot=lot, kitchen=batch.kitchen).count == 1
    assert not Supply.objects.kept().exists()
    other = make_batch(by=cook, kitchen=batch.kitchen, revision=batch.revision)
    note(cook, other, LotAnswer(3, "code", code="LOT-77", used=1))
    assert KitchenStock.objects.get().count == 0
    assert ledger_audit().is_sound


def test_a_typed_code_takes_of_the_kitchen_s_own_bottles_before_the_club_s(batch, cook, keeper):
    lot = bought(keeper, code="77", count=4)
    note(cook, batch, LotAnswer(3, "code", code="77", name="Cider vinegar", strength_tenths=50, is_new=True, have=1))
    left = []
    for _time in range(2):
        other = make_batch(by=cook, kitchen=batch.kitchen, revision=batch.revision)
        note(cook, other, LotAnswer(3, "code", code="77", used=1))
        lot.refresh_from_db()
        left.append((KitchenStock.objects.get().count, lot.count))
    assert left == [(0, 4), (0, 3)]
    assert ledger_audit().is_sound


def test_the_same_lot_in_two_households_is_one_lot(batch, cook):
    new = LotAnswer(3, "code", code="77", strength_tenths=50, is_new=True)
    note(cook, batch, new)
    neighbour = make_person()
    other = make_batch(by=neighbour, kitchen=make_kitchen(neighbour), revision=batch.revision)
    note(neighbour, other, new)
    assert LotTaken.objects.values_list("supply_lot", flat=True).distinct().count() == 1
    assert KitchenStock.objects.count() == 2


def test_a_bottle_without_a_lot_is_an_answer_and_given_once(batch, cook):
    note(cook, batch, LotAnswer(2, "without"), LotAnswer(3, "without", strength_tenths=50))
    assert [(one.taken.item, one.words) for one in notes_of(batch)] == [
        ("lemon juice", "without a lot"),
        ("cider vinegar", "without a lot, 5 %"),
    ]
    with pytest.raises(ValidationError) as refused:
        note(cook, batch, LotAnswer(2, "without"))
    assert list(refused.value.message_dict) == ["lot_2"]


def test_fruit_from_the_freezer_goes_down_by_what_came_out(batch, cook):
    plums = make_freezer_item(by=cook, kitchen=batch.kitchen, now=NOW, grams=2400)
    note(cook, batch, LotAnswer(0, f"freezer-{plums.pk}", used=900))
    plums.refresh_from_db()
    assert plums.grams_left == 1500
    assert FreezerTaking.objects.get().by == cook


# Refusals: beside the field, and nothing half-written


@pytest.mark.parametrize("tenths", [None, 49, 40])
def test_vinegar_under_5_percent_or_of_unknown_strength_is_never_canned_with(batch, cook, tenths):
    weak = LotAnswer(3, "code", code="77", strength_tenths=tenths, is_new=True)
    assert list(problems_of(cook, batch, LotAnswer(2, "without"), weak)) == ["strength_3"]
    assert list(problems_of(cook, batch, LotAnswer(3, "without", strength_tenths=tenths))) == ["strength_3"]
    assert not SupplyLot.objects.exists()
    assert not SupplyMovement.objects.exists()


def test_a_weak_or_lapsed_lot_of_the_club_is_refused_beside_the_choice(batch, cook, keeper):
    weak = bought(keeper, strength=40, code="WEAK")
    old = bought(keeper, code="OLD", use_by=NOW.date() - timedelta(days=1))
    assert "too weak" in problems_of(cook, batch, LotAnswer(3, f"club-{weak.pk}"))["lot_3"][0]
    assert "past its date" in problems_of(cook, batch, LotAnswer(3, f"club-{old.pk}"))["lot_3"][0]
    assert "too weak" in problems_of(cook, batch, LotAnswer(3, "code", code="weak"))["code_3"][0]


def test_a_code_that_nobody_knows_says_what_to_do(batch, cook):
    assert "tick below" in problems_of(cook, batch, LotAnswer(3, "code", code="NOPE"))["code_3"][0]
    assert list(problems_of(cook, batch, LotAnswer(3, "code"))) == ["code_3"]


def test_one_code_is_one_lot_with_one_label(batch, cook, keeper):
    bought(keeper, use_by=date(2027, 3, 1))
    assert list(problems_of(cook, batch, LotAnswer(3, "code", code="v100", strength_tenths=60))) == ["strength_3"]
    other_day = LotAnswer(3, "code", code="v100", use_by=date(2027, 4, 1))
    assert list(problems_of(cook, batch, other_day)) == ["use_by_3"]


def test_a_lot_of_another_kind_or_of_another_household_is_not_there(batch, cook, keeper):
    pectin = make_supply("Pectin", by=keeper, kind="pectin")
    lot = supply_buy(by=keeper, supply=pectin, count=3, token=uuid4(), code="P1").lot
    neighbour = make_person()
    plums = make_freezer_item(by=neighbour, now=NOW)
    for answer in (LotAnswer(3, f"club-{lot.pk}"), LotAnswer(0, f"freezer-{plums.pk}"), LotAnswer(1, "without")):
        assert list(problems_of(cook, batch, answer)) == [f"lot_{answer.at}"]
    assert list(problems_of(cook, batch, LotAnswer(3, "code", code="P1"))) == ["code_3"]


def test_only_who_works_at_the_batch_may_note_and_none_once_it_is_given_up(batch, cook):
    with pytest.raises(PermissionDenied):
        note(make_person(), batch, LotAnswer(2, "without"))
    services.batch_abandon(by=cook, batch=batch, reason="scorched")
    with pytest.raises(AlreadyDone):
        note(cook, batch, LotAnswer(2, "without"))


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "vinegar", "strength_tenths": 49},
        {"kind": "vinegar", "strength_tenths": None},
        {"kind": "salt", "use_by": NOW.date() - timedelta(days=1)},
        {"kind": "salt", "strength_tenths": 50},
    ],
)
def test_the_database_itself_refuses_what_may_not_be_canned_with(batch, cook, fields):
    with pytest.raises(IntegrityError), transaction.atomic():
        LotTaken.objects.create(batch=batch, item="x", taken_on=NOW.date(), by=cook, token=uuid4(), **fields)


def test_the_database_compares_a_note_with_the_label_of_its_lot(batch, cook, keeper):
    weak = bought(keeper, strength=40)
    for fields in ({"kind": "vinegar", "strength_tenths": 50}, {"kind": "salt"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            LotTaken.objects.create(
                batch=batch, item="x", taken_on=NOW.date(), by=cook, token=uuid4(), supply_lot=weak, **fields
            )


# A slip


def test_a_note_taken_back_counts_the_bottle_again_and_frees_the_ingredient(batch, cook, keeper):
    lot = bought(keeper)
    [taken] = note(cook, batch, LotAnswer(3, f"club-{lot.pk}", used=2))
    services.lot_take_back(by=cook, taken=taken, now=NOW)
    with pytest.raises(AlreadyDone):
        services.lot_take_back(by=cook, taken=taken, now=NOW)
    lot.refresh_from_db()
    assert lot.count == 4
    assert ledger_audit().is_sound
    assert notes_of(batch) == []
    note(cook, batch, LotAnswer(3, f"club-{lot.pk}", used=1))


# Pages


def form_of(**fields):
    return {"token": uuid4(), **fields}


def test_the_page_writes_what_was_chosen_and_the_batch_shows_it(batch, cook, keeper, sign_in):
    lot = bought(keeper)
    client, page = sign_in(cook), reverse("batches:lots", args=[batch.lot_code])
    assert "Not noted yet: lemon juice, cider vinegar, salt" in text_of(client.get(batch.get_absolute_url()))
    sent = client.post(page, form_of(lot_3=f"club-{lot.pk}", used_3=1, lot_2="without", used_2=1))
    assert sent.status_code == 302
    shown = text_of(client.get(batch.get_absolute_url()))
    assert "cider vinegar: Cider vinegar, lot V-100, 5 %" in shown
    assert "Not noted yet: salt" in shown
    taken = LotTaken.objects.get(supply_lot=lot)
    assert client.post(reverse("batches:lot-take-back", args=[batch.lot_code, taken.pk])).status_code == 302
    assert "Not noted yet: cider vinegar, salt" in text_of(client.get(batch.get_absolute_url()))


def test_weak_vinegar_is_refused_beside_its_field_and_what_was_typed_stays(batch, cook, sign_in):
    page = reverse("batches:lots", args=[batch.lot_code])
    typed = form_of(lot_3="code", code_3="77", name_3="Old Mill", strength_3="4.5", is_new_3="on", have_3=1, used_3=1)
    answer = sign_in(cook).post(page, {**typed, "lot_2": "without", "used_2": 1})
    assert answer.status_code == 200
    assert "too weak" in answer.context["form"].errors["strength_3"][0]
    assert [answer.context["form"][name].value() for name in ("code_3", "name_3", "lot_2")] == [
        "77",
        "Old Mill",
        "without",
    ]
    assert not LotTaken.objects.exists()


def test_fruit_out_of_the_freezer_is_weighed_as_people_say_it(batch, cook, sign_in):
    page, client = reverse("batches:lots", args=[batch.lot_code]), sign_in(cook)
    plums = make_freezer_item(by=cook, kitchen=batch.kitchen, now=NOW, grams=2400)
    asked = form_of(lot_0=f"freezer-{plums.pk}")
    assert list(client.post(page, {**asked, "used_0": "a bag"}).context["form"].errors) == ["used_0"]
    assert list(client.post(page, {**asked, "used_0": "3 kg"}).context["form"].errors) == ["used_0"]
    assert not LotTaken.objects.exists()
    assert client.post(page, {**asked, "used_0": "1.5 kg"}).status_code == 302
    plums.refresh_from_db()
    assert plums.grams_left == 900


def test_what_was_written_of_a_lot_that_was_not_chosen_is_asked_about(batch, cook, sign_in):
    page = reverse("batches:lots", args=[batch.lot_code])
    answer = sign_in(cook).post(page, form_of(code_3="77"))
    assert list(answer.context["form"].errors) == ["lot_3"]
    assert list(sign_in(cook).post(page, form_of()).context["form"].errors) == ["__all__"]


def test_who_only_traces_notes_nothing_and_to_strangers_the_page_is_not_there(batch, keeper, sign_in):
    page = reverse("batches:lots", args=[batch.lot_code])
    assert sign_in(make_person()).get(page).status_code == 404
    assert sign_in(keeper).get(page).status_code == 403


@pytest.mark.parametrize("many", [1, 12])
def test_the_page_asks_the_same_for_one_lot_and_for_many(
    many, batch, cook, keeper, sign_in, django_assert_max_num_queries
):
    for n in range(many):
        bought(keeper, code=f"V{n}")
        make_freezer_item(by=cook, kitchen=batch.kitchen, now=NOW)
    client = sign_in(cook)
    with django_assert_max_num_queries(17):
        client.get(reverse("batches:lots", args=[batch.lot_code]))


def test_weak_vinegar_is_on_the_shelf_and_counts_as_nothing_to_use(keeper):
    weak = bought(keeper, strength=40, code="WEAK", count=6)
    sound = bought(keeper, count=2)
    assert Supply.objects.with_counts(NOW.date()).get().usable == 2
    with pytest.raises(NotEnough):
        supply_use(by=keeper, supply=weak.supply, count=3, token=uuid4(), now=NOW)
    [used] = supply_use(by=keeper, supply=weak.supply, count=2, token=uuid4(), now=NOW)
    assert used.lot == sound


def test_a_household_sees_its_own_shelf_among_the_supplies_and_nobody_else_does(batch, cook, sign_in):
    note(cook, batch, LotAnswer(3, "code", code="77", name="Old Mill", strength_tenths=50, is_new=True, have=3, used=1))
    page = reverse("jars:supplies")
    assert "2 bottles Old Mill, lot 77" in text_of(sign_in(cook).get(page))
    assert "Old Mill" not in text_of(sign_in(make_person()).get(page))
    assert "Old Mill" not in text_of(sign_in(make_keeper()).get(page))


# Trace and recall


def batches_with(keeper, cook, lot):
    """Two batches of two households with the lot, looked at; and one without."""
    made = []
    for person in (cook, make_person(name="Neighbour")):
        revision = make_revision(ingredients=[*deepcopy(SPREAD["ingredients"]), *ADDED])
        one = make_batch_checked(by=person, kitchen=make_kitchen(person), revision=revision, out_at=NOW)
        note(person, one, LotAnswer(3, f"club-{lot.pk}", used=1))
        made.append(one)
    return made, make_batch_checked(out_at=NOW)


def test_a_bottle_s_code_leads_to_every_batch_that_took_of_it(keeper, cook, sign_in):
    lot = bought(keeper)
    made, _other = batches_with(keeper, cook, lot)
    for code in ("v-100", "V100"):
        found = trace(keeper, code)
        assert set(found.batches) == set(made)
        assert sum(place.count for place in found.whereabouts) == 8
    assert [(one.words, one.kind) for one in found.ingredients] == [("Cider vinegar, lot V-100, 5 %", "supply-lot")]
    assert list(trace(cook, "V100").batches) == [made[0]]
    assert trace(make_person(), "V100") is None
    page = sign_in(keeper).get(reverse("batches:trace"), {"code": "V-100"})
    assert "Cider vinegar, lot V-100, 5 %" in text_of(page)
    assert "kind=supply-lot&amp;code=V-100" in page.content.decode()


def test_a_recall_of_a_lot_reaches_whoever_holds_jars_of_it_and_nobody_else(keeper, cook):
    lot = bought(keeper)
    made, other = batches_with(keeper, cook, lot)
    recall = make_recall(supply_lot=lot)
    assert set(holders(recall)) == {one.made_by for one in made}
    assert affected_jars(recall).count() == 8
    assert all(is_called_back(one) for one in made)
    assert not is_called_back(other)
    assert set(Batch.objects.recalled()) == set(made)
    assert not Jar.objects.filter(batch__in=made).to_give().exists()
    assert set(Balance.objects.called_back().values_list("batch", flat=True)) == {one.pk for one in made}
    assert labels_of(made[0]) == []
    services.recall_close(by=recall.opened_by, recall=recall, note="The laboratory found nothing.", is_cleared=True)
    assert not is_called_back(made[0])
    assert not Balance.objects.called_back().exists()


def test_a_note_taken_back_by_who_runs_the_recall_frees_the_batch(keeper, cook, batch, sign_in):
    lot = bought(keeper)
    [taken] = note(cook, batch, LotAnswer(3, f"club-{lot.pk}"))
    take_back = reverse("batches:lot-take-back", args=[batch.lot_code, taken.pk])
    client = sign_in(keeper)
    assert client.post(take_back).status_code == 403  # while nothing is called back it is the cook's own matter
    assert take_back not in client.get(batch.get_absolute_url()).content.decode()
    make_recall(supply_lot=lot)
    assert is_called_back(batch)
    assert take_back in client.get(batch.get_absolute_url()).content.decode()
    assert client.post(take_back).url == batch.get_absolute_url()
    assert LotTaken.objects.get().taken_back_by == keeper
    assert not is_called_back(batch)


@pytest.mark.parametrize("is_closed", [False, True])
def test_who_cooked_does_not_end_the_recall_of_a_lot_by_taking_the_note_back(keeper, cook, batch, sign_in, is_closed):
    lot = bought(keeper)
    [taken] = note(cook, batch, LotAnswer(3, f"club-{lot.pk}"))
    recall = make_recall(supply_lot=lot)
    if is_closed:
        services.recall_close(by=keeper, recall=recall, note="All answered.", now=NOW)
    with pytest.raises(ValidationError, match="called back"):
        services.lot_take_back(by=cook, taken=taken, now=NOW)
    client = sign_in(cook)
    take_back = reverse("batches:lot-take-back", args=[batch.lot_code, taken.pk])
    assert "That lot is called back" in client.post(take_back, follow=True).content.decode()
    assert take_back not in client.get(batch.get_absolute_url()).content.decode()
    assert LotTaken.objects.live().get() == taken
    assert is_called_back(batch)
    with pytest.raises(PermissionDenied):
        services.lot_take_back(by=make_person(), taken=taken, now=NOW)


def test_a_lot_that_is_called_back_is_neither_proposed_nor_used(keeper, cook, batch):
    lot = bought(keeper)
    make_recall(supply_lot=lot)
    assert lines_to_ask(batch, cook)[1][3] == []
    with pytest.raises(NotEnough):
        supply_use(by=keeper, supply=lot.supply, count=1, token=uuid4())


def test_fruit_from_a_freezer_is_traced_and_called_back_by_its_own_code(keeper, cook, batch, sign_in):
    plums = make_freezer_item(by=cook, kitchen=batch.kitchen, now=NOW)
    note(cook, batch, LotAnswer(0, f"freezer-{plums.pk}"))
    [noted] = notes_of(batch)
    assert noted.code == f"frozen-{plums.pk}"
    assert list(trace(keeper, noted.code).batches) == [batch]
    client = sign_in(keeper)
    form = {"token": uuid4(), "kind": "frozen", "code": noted.code, "reason": "Thawed in the power cut."}
    assert is_opened(client, form)
    assert is_called_back(batch)


def is_opened(client, form):
    """Sent, and said yes to where the page first shows what it calls back."""
    answer = client.post(reverse("batches:recall-new"), form)
    if answer.status_code == 200:
        again = answer.context["form"]
        assert not again.errors, again.errors
        answer = client.post(reverse("batches:recall-new"), {**again.data, "confirmed": "on"})
    return answer.status_code == 302


def test_a_recall_by_a_bottle_s_code_asks_which_where_two_share_it(keeper, cook, sign_in):
    lot = bought(keeper)
    bought(keeper, name="Malt vinegar")
    client = sign_in(keeper)
    form = {"token": uuid4(), "kind": "supply-lot", "code": "V-100", "reason": "Glass in it."}
    refused = client.post(reverse("batches:recall-new"), form)
    assert "V-100 (Malt vinegar)" in refused.context["form"].errors["code"][0]
    unknown = client.post(reverse("batches:recall-new"), {**form, "code": "NOPE"})
    assert list(unknown.context["form"].errors) == ["code"]
    assert is_opened(client, {**form, "code": "V-100 (Cider vinegar)"})
    assert Recall.objects.get().supply_lot == lot


def test_the_database_holds_a_recall_to_one_subject(keeper, cook, batch):
    lot = bought(keeper)
    fields = {"reason": "x", "opened_by": keeper, "token": uuid4()}
    for kind, subjects in (("supply-lot", {"supply_lot": lot, "batch": batch}), ("frozen", {"supply_lot": lot})):
        with pytest.raises(IntegrityError), transaction.atomic():
            Recall.objects.create(kind=kind, **subjects, **fields)


def test_a_log_that_moves_the_beginning_moves_the_day_of_the_notes_or_is_refused(batch, cook):
    use_by = club_day(NOW)
    note(cook, batch, LotAnswer(3, "without", strength_tenths=50, use_by=use_by), LotAnswer(2, "without"))
    later = NOW + timedelta(days=1)
    told = {"jars": {"half-pint": 4}, "minutes": 10, "lid_code": "L-7"}

    def log(began):
        out = began + timedelta(hours=1)
        times = {"started_at": began, "jars_out_at": out, "now": later + timedelta(hours=1)}
        return services.batch_log_process(by=cook, batch=batch, **told, **times)

    with pytest.raises(ValidationError) as refused:
        log(later)
    assert "cider vinegar" in refused.value.message_dict["started_at"][0]
    log(NOW - timedelta(days=1))
    assert set(LotTaken.objects.values_list("taken_on", flat=True)) == {use_by - timedelta(days=1)}


def logged(batch, cook, **told):
    out = NOW + timedelta(hours=2)
    fixed = {"jars": {"half-pint": 4}, "minutes": 10, "lid_code": "L-7", "jars_out_at": out, "now": out}
    return services.batch_log_process(by=cook, batch=batch, **{**fixed, **told})


def test_a_log_wants_a_word_on_every_acid_and_without_a_lot_is_one(batch, cook, keeper):
    with pytest.raises(ValidationError) as refused:
        logged(batch, cook)
    assert set(refused.value.message_dict) == {"lot_2", "lot_3"}  # the juice and the vinegar; salt may wait
    weak = [LotAnswer(2, "without"), LotAnswer(3, "without", strength_tenths=40)]
    with pytest.raises(ValidationError) as refused:
        logged(batch, cook, lots=weak)
    assert list(refused.value.message_dict) == ["strength_3"]
    assert not LotTaken.objects.exists()
    assert not Jar.objects.exists()
    lot = bought(keeper)
    note(cook, batch, LotAnswer(3, f"club-{lot.pk}"))
    logged(batch, cook, lots=[LotAnswer(2, "without")])
    assert dict(LotTaken.objects.values_list("item", "supply_lot")) == {"cider vinegar": lot.pk, "lemon juice": None}


def test_the_log_page_asks_for_each_acid_with_what_is_on_the_shelf(batch, cook, keeper, sign_in):
    lot = bought(keeper)
    out = timezone.localtime() - timedelta(minutes=5)
    Batch.objects.update(started_at=timezone.now() - timedelta(hours=3))
    address, client = reverse("batches:log", args=[batch.lot_code]), sign_in(cook)
    typed = {"jars_out_at": f"{out:%Y-%m-%dT%H:%M}", "minutes": "10", "jars_half-pint": "4", "lid_code": "L-7"}
    form = client.post(address, typed).context["form"]
    assert set(form.errors) == {"lot_2", "lot_3"}
    assert [key for key, _words in form.fields["lot_3"].choices] == [f"club-{lot.pk}", "without"]
    form = client.post(address, {**typed, "lot_2": "without", "lot_3": "without"}).context["form"]
    assert set(form.errors) == {"strength_3"}
    assert client.post(address, {**typed, "lot_2": "without", "lot_3": f"club-{lot.pk}"}).status_code == 302
    assert LotTaken.objects.get(supply_lot=lot).strength_tenths == 50
