"""The pages that only show: the list, one batch, labels, a trace, the lids; 30 rows cost no more queries than one."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
import segno
from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.models import Batch
from inventory.batches.stove import course_of
from recipes.models import RevisionState
from tests.factories.batches import (
    make_batch,
    make_batch_checked,
    make_batch_out,
    make_freezer_revision,
    make_pressure_batch_out,
)
from tests.factories.jars import make_lid_lot
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision
from tests.helpers import text_of

pytestmark = pytest.mark.django_db

LIST, TRACE, LIDS = (reverse(f"batches:{page}") for page in ("list", "trace", "lids"))


def ago(**span):
    return timezone.now() - timedelta(**span)


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def keeper():
    return make_person(Role.KEEPER, name="Keeper")


# The list


def test_the_list_shows_mine_and_my_kitchens_and_for_tracers_all_on_asking(cook, keeper, sign_in):
    mine = make_batch(by=cook)
    fellows = make_batch(kitchen=make_kitchen(cook, other := make_person()), by=other)
    strangers = make_batch()
    page = text_of(sign_in(cook).get(LIST, {"whose": "all"}))
    assert mine.lot_code in page
    assert fellows.lot_code in page
    assert strangers.lot_code not in page
    assert strangers.lot_code not in text_of(sign_in(keeper).get(LIST))
    assert strangers.lot_code in text_of(sign_in(keeper).get(LIST, {"whose": "all"}))


@pytest.mark.parametrize("show", ["", "open", "cooling", "due", "done", "nonsense"])
def test_the_list_narrows_to_a_state(cook, sign_in, show):
    batches = {
        "open": make_batch(by=cook),
        "cooling": make_batch_out(by=cook, out_at=ago(hours=2)),
        "due": make_batch_out(by=cook, out_at=ago(hours=13)),
        "done": make_batch_checked(by=cook, out_at=ago(hours=30)),
    }
    page = text_of(sign_in(cook).get(LIST, {"show": show}))
    shown = {state for state, batch in batches.items() if batch.lot_code in page}
    assert shown == ({show} if show in batches else set(batches))


def test_an_empty_list_says_where_a_batch_begins(cook, sign_in):
    page = sign_in(cook).get(LIST)
    assert "Choose a recipe" in text_of(page)
    assert reverse("recipes:list") in page.content.decode()


def test_the_list_is_paged_by_30(cook, sign_in):
    kitchen, revision = make_kitchen(cook), make_revision()
    for _n in range(31):
        make_batch(by=cook, kitchen=kitchen, revision=revision)
    client = sign_in(cook)
    assert len(client.get(LIST).context["page"]) == 30
    assert len(client.get(LIST, {"page": 2}).context["page"]) == 1
    assert client.get(LIST, {"page": "x"}).status_code == 200


@pytest.mark.parametrize("rows", [1, 30])
def test_the_list_costs_the_same_queries_for_one_row_and_for_30(rows, cook, sign_in, django_assert_max_num_queries):
    for _n in range(rows):
        make_batch_checked(by=cook, out_at=ago(hours=40), unsealed={1: "freeze"})
    client = sign_in(cook)
    with django_assert_max_num_queries(8):
        assert len(client.get(LIST).context["page"]) == rows


# One batch


def test_a_batch_page_shows_the_snapshot_the_steps_and_what_is_next(cook, sign_in):
    batch = make_batch(by=cook, pots=2)
    page = text_of(sign_in(cook).get(batch.get_absolute_url()))
    for part in (
        batch.lot_code,
        "plums",
        "8 cups",
        "Stir the plums",
        "10 minutes",
        "Write down what was done",
        "1,040 m",
    ):
        assert part in page
    assert "3,412.1 ft" in page


def test_a_batch_leads_with_the_step_the_cook_stands_at_then_with_what_its_clock_says(cook, sign_in):
    client, batch = sign_in(cook), make_batch(by=cook, pots=1)
    first = course_of(batch).steps[0]
    assert first.heading.startswith(client.get(batch.get_absolute_url()).context["next"].words)
    services.stove_press(by=cook, batch=batch, kind="began", step="l1process", token=uuid4())
    shown = client.get(batch.get_absolute_url()).context["next"]
    assert re.search(r"\b(9|10) minutes left", shown.words), shown
    late = make_batch_out(by=cook, out_at=ago(hours=14))
    assert client.get(late.get_absolute_url()).context["next"].words == "Look at the seals now"


def test_a_cooling_batch_says_when_to_look_and_until_when_to_reprocess(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=2))
    response = sign_in(cook).get(batch.get_absolute_url())
    page = text_of(response)
    assert f"{timezone.localtime(batch.window.opens):%H:%M}" in response.context["next"].words
    for moment in (batch.window.opens, batch.reprocess_until):
        local = timezone.localtime(moment)
        assert f"{local:%H:%M} {local.tzname()}" in page
    assert "Leave the jars where they are" in page
    assert "Reprocessing lapsed" not in page


def test_after_24_hours_the_batch_page_says_that_reprocessing_lapsed(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=24, minutes=1))
    page = text_of(sign_in(cook).get(batch.get_absolute_url()))
    assert "Reprocessing lapsed" in page
    assert "thrown away" in page


def test_no_page_promises_to_reprocess_what_is_never_reprocessed(cook, sign_in):
    filling = make_batch_out(by=cook, revision=make_revision(kind="pie-filling"), out_at=ago(hours=13))
    spread = make_batch_out(by=cook, out_at=ago(hours=13))
    client = sign_in(cook)
    for page in ("detail", "seals"):
        said = [text_of(client.get(reverse(f"batches:{page}", args=[batch.lot_code]))) for batch in (filling, spread)]
        assert "can be reprocessed until" not in said[0]
        assert "Pie filling, squash and pumpkin are not reprocessed" in said[0]
        assert "can be reprocessed until" in said[1]
    form = client.get(reverse("batches:seals", args=[filling.lot_code])).context["form"]
    assert "reprocess" not in dict(form.fields["disposal_1"].choices)


def test_an_early_look_is_told_to_leave_bands_and_lids_alone(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=2))
    page = text_of(sign_in(cook).get(reverse("batches:seals", args=[batch.lot_code])))
    assert "leave the bands on" in page
    assert "Take the bands off" not in page


def test_a_time_says_its_moment_to_the_second_for_machines(cook, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=2).replace(microsecond=123456))
    page = sign_in(cook).get(f"/batches/{batch.lot_code}/").content.decode()
    moments = re.findall(r'<time datetime="([^"]*)">', page)
    assert moments
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d", one) for one in moments)


def test_times_are_the_club_s_on_both_sides_of_a_clock_change(cook, sign_in):
    # Out at 20:00 MDT on the eve of the change back: 12 hours later the club's clocks show 07:00 MST.
    out = timezone.datetime(2026, 11, 1, 2, 0, tzinfo=timezone.get_fixed_timezone(0))
    batch = make_batch_out(by=cook, out_at=out)
    page = text_of(sign_in(cook).get(batch.get_absolute_url()))
    assert "31 Oct 2026, 20:00 MDT" in page
    assert "1 Nov 2026, 07:00 MST" in page


def test_who_only_traces_sees_no_button_to_write(cook, keeper, sign_in):
    batch = make_batch_out(by=cook, out_at=ago(hours=13))
    seals = reverse("batches:seals", args=[batch.lot_code])
    assert seals in sign_in(cook).get(batch.get_absolute_url()).content.decode()
    assert seals not in sign_in(keeper).get(batch.get_absolute_url()).content.decode()


def test_a_revision_withdrawn_later_is_said_on_the_batch(cook, sign_in):
    batch = make_batch(by=cook)
    type(batch.revision).objects.filter(pk=batch.revision_id).update(
        state=RevisionState.WITHDRAWN, withdrawn_at=timezone.now(), withdrawn_reason="Too little acid."
    )
    for address in (batch.get_absolute_url(), reverse("batches:log", args=[batch.lot_code])):
        page = text_of(sign_in(cook).get(address))
        assert "withdrawn after this batch was started" in page
        assert "Too little acid." in page


@pytest.mark.parametrize("jars", [1, 30])
def test_a_batch_page_costs_the_same_queries_for_one_jar_and_for_30(jars, cook, sign_in, django_assert_max_num_queries):
    batch = make_batch_out(by=cook, out_at=ago(hours=13), pots=5, jars={"half-pint": jars})
    client = sign_in(cook)
    with django_assert_max_num_queries(17):
        assert client.get(batch.get_absolute_url()).status_code == 200
    with django_assert_max_num_queries(15):
        assert len(client.get(reverse("batches:seals", args=[batch.lot_code])).context["form"].jars) == jars


# Labels


def labels(client, batch, **query):
    return client.get(reverse("batches:labels", args=[batch.lot_code]), query)


def test_labels_are_for_jars_that_may_be_kept(cook, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(hours=30), unsealed={2: "freeze"}, broken=(3,))
    page = labels(sign_in(cook), batch)
    assert [label.number for label in page.context["labels"]] == [1, 4]
    for part in (batch.title, batch.lot_code, batch.kitchen.name, "Put up", "Best before"):
        assert part in text_of(page)


def test_jars_not_looked_at_have_a_label_only_on_asking_and_marked(cook, sign_in):
    batch, client = make_batch_out(by=cook, out_at=ago(hours=2)), sign_in(cook)
    assert "No jar of this batch has a label yet" in text_of(labels(client, batch))
    page = labels(client, batch, which="all")
    assert len(page.context["labels"]) == 4
    assert text_of(page).count("Seal not checked") == 4 + 1  # one is shown as it will be printed


def test_a_frozen_jar_s_label_says_to_keep_it_frozen_and_no_date_that_nobody_printed(cook, sign_in):
    batch = make_batch_out(by=cook, revision=make_freezer_revision(), out_at=ago(hours=2))
    page = text_of(labels(sign_in(cook), batch))
    assert "Keep frozen" in page
    assert "Best before" not in page


def test_a_label_names_ingredients_allergens_of_the_club_s_list_and_how_to_open(cook, sign_in, settings):
    settings.ALLERGEN_LIST = "canada"
    batch = make_batch_checked(by=cook, out_at=ago(hours=30))
    page = labels(sign_in(cook), batch)
    shown = text_of(page)
    for part in (
        "Ingredients: plums, sugar, lemon juice",
        "Contains: sulphites (lemon juice)",
        "Before opening: lid firm",
        "University of Missouri Extension GH1461",
    ):
        assert part in shown
    assert "Boil it" not in shown  # plum jam is acid by itself
    settings.ALLERGEN_LIST = "us"
    assert "Contains:" not in text_of(labels(sign_in(cook), batch))


def test_a_label_of_low_acid_food_says_to_boil_it_in_doubt_and_a_frozen_one_nothing_of_opening(cook, sign_in):
    beans = make_pressure_batch_out(by=cook, out_at=ago(hours=30))
    assert "Boil it 10 min" in text_of(labels(sign_in(cook), beans, which="all"))
    frozen = make_batch_out(by=cook, revision=make_freezer_revision(), out_at=ago(hours=2))
    assert "Before opening" not in text_of(labels(sign_in(cook), frozen))


def test_a_label_speaks_of_the_batch_s_own_plan_and_its_square_leads_to_it(cook, sign_in, settings):
    settings.SITE_URL = "https://club.example.test"
    batch = make_batch_checked(by=cook, out_at=ago(hours=30))
    batch.plan["lines"][0] |= {"item": "zibartes", "optional": True}
    batch.save(update_fields=["plan"])
    page = labels(sign_in(cook), batch)
    assert "Ingredients: zibartes (if used), sugar, lemon juice" in text_of(page)
    assert "look yourself: zibartes" in text_of(page)
    square = segno.make(settings.SITE_URL + batch.get_absolute_url(), error="m", micro=False)
    path = re.search(r' d="([^"]+)"', square.svg_inline(border=4, omitsize=True))
    assert path is not None
    assert page.content.decode().count(path[1]) == len(page.context["labels"])


def test_a_batch_on_the_stove_has_no_labels(cook, sign_in):
    assert labels(sign_in(cook), make_batch(by=cook), which="all").context["labels"] == []


# Trace


def test_a_lot_code_leads_to_batch_kitchen_and_jars_in_any_spelling(cook, keeper, sign_in):
    batch = make_batch_checked(by=cook, out_at=ago(hours=30), unsealed={2: "freeze"})
    for code in (
        batch.lot_code,
        batch.lot_code.lower(),
        batch.lot_code.replace("-", ""),
        batch.lot_code.replace("-", " "),
    ):
        for reader in (cook, keeper):
            response = sign_in(reader).get(TRACE, {"code": f" {code} "})
            assert response.status_code == 200
            assert list(response.context["page"]) == [batch]
    where = {(place.seal, place.disposal, place.count) for place in response.context["found"].whereabouts}
    assert where == {("sealed", "shelf", 3), ("unsealed", "freeze", 1)}
    assert batch.kitchen.name in text_of(response)


def test_what_one_may_not_see_is_as_if_it_were_not_there(cook, sign_in):
    batch = make_batch_out(by=cook, lid_code="L-7")
    client = sign_in(make_person())
    slug = batch.revision.recipe.slug
    told = set()
    for code in (batch.lot_code, "26001-333", "L-7", "L-8", slug, f"{slug} 1", "no-such-recipe", "%", "'", "\0"):
        response = client.get(TRACE, {"code": code})
        if code != "\0":
            assert response.status_code == 404
            assert batch.lot_code not in text_of(response).replace(f"“{batch.lot_code}”", "")
            told.add(text_of(response).replace(f"“{code}”", "").replace(f'value="{code}"', ""))
    assert len(told) == 1
    assert sign_in(cook).get(TRACE, {"code": batch.lot_code}).status_code == 200


def test_a_lid_lot_leads_to_every_jar_it_sat_on_also_those_it_failed(keeper, sign_in):
    first = make_batch_checked(out_at=ago(hours=18), unsealed={1: "reprocess"}, lid_code="OLD 1")
    make_batch_out(out_at=ago(hours=18), lid_code="OTHER")
    services.jars_reprocess(
        by=first.made_by, batch=first, minutes=10, lid_code="NEW 1", jars_out_at=ago(hours=1), rims_sound=True
    )
    old = sign_in(keeper).get(TRACE, {"code": "old1"})
    new = sign_in(keeper).get(TRACE, {"code": "NEW-1"})
    assert list(old.context["page"]) == list(new.context["page"]) == [first]
    assert sum(place.count for place in old.context["found"].whereabouts) == 4
    assert sum(place.count for place in new.context["found"].whereabouts) == 1


def test_a_lid_lot_shows_a_member_only_her_own_jars(cook, sign_in):
    mine = make_batch_out(by=cook, lid_code="L-7")
    make_batch_out(lid_code="L-7")
    found = sign_in(cook).get(TRACE, {"code": "L-7"})
    assert list(found.context["page"]) == [mine]
    assert sum(place.count for place in found.context["found"].whereabouts) == 4


def test_a_revision_leads_to_its_batches_and_no_other_revision_s(keeper, sign_in):
    old = make_revision(slug="plum-spread")
    batch = make_batch_out(revision=old)
    newer = make_batch_out(revision=make_revision(old.recipe))
    client = sign_in(keeper)
    assert list(client.get(TRACE, {"code": "plum-spread 1"}).context["page"]) == [batch]
    assert set(client.get(TRACE, {"code": "Plum-Spread"}).context["page"]) == {batch, newer}
    assert client.get(TRACE, {"code": "plum-spread 9"}).status_code == 404
    assert client.get(TRACE, {"code": "plum-spread x"}).status_code == 404


def test_without_a_code_the_trace_page_asks_for_one(cook, sign_in):
    response = sign_in(cook).get(TRACE)
    assert response.status_code == 200
    assert 'name="code"' in response.content.decode()


@pytest.mark.parametrize("rows", [1, 30])
@pytest.mark.parametrize("code", ["L-7", "traced-spread"])
def test_a_trace_costs_the_same_queries_for_one_batch_and_for_30(
    rows, code, keeper, sign_in, django_assert_max_num_queries
):
    revision = make_revision(slug="traced-spread")
    for _n in range(rows):
        make_batch_out(revision=revision, lid_code="L-7")
    client = sign_in(keeper)
    with django_assert_max_num_queries(12):
        assert len(client.get(TRACE, {"code": code}).context["page"]) == rows


# Lids


def test_the_lids_page_counts_seals_by_lot_and_a_failed_first_lid_as_unsealed(keeper, sign_in):
    batch = make_batch_checked(out_at=ago(hours=18), unsealed={1: "reprocess"}, broken=(2,), lid_code="OLD")
    services.jars_reprocess(
        by=batch.made_by, batch=batch, minutes=10, lid_code="NEW", jars_out_at=ago(hours=1), rims_sound=True
    )
    figures = {row.lot.code: row for row in sign_in(keeper).get(LIDS).context["figures"]}
    old, new = figures["OLD"], figures["NEW"]
    assert (old.batches, old.sealed, old.unsealed, old.broken, old.unchecked) == (1, 2, 1, 1, 0)
    assert old.failed_percent == 33
    assert (new.batches, new.sealed, new.unsealed, new.unchecked, new.failed_percent) == (1, 0, 0, 1, None)


@pytest.mark.parametrize("rows", [1, 30])
def test_the_lids_page_costs_the_same_queries_for_one_lot_and_for_30(
    rows, keeper, sign_in, django_assert_max_num_queries
):
    for number in range(rows):
        make_lid_lot(f"LOT {number}")
    client = sign_in(keeper)
    with django_assert_max_num_queries(12):
        assert len(client.get(LIDS).context["figures"]) == rows


def test_only_a_lot_that_closed_a_batch_leads_to_its_trace(keeper, sign_in):
    make_batch_out(lid_code="USED")
    make_lid_lot("STILL BOXED")
    client = sign_in(keeper)
    page = client.get(LIDS).content.decode()
    assert "STILL BOXED" in page
    led_to = re.findall(rf'href="({TRACE}[?]code=[^"]+)"', page)
    assert led_to == [f"{TRACE}?code=USED"]
    assert client.get(led_to[0]).status_code == 200


def test_no_lids_yet_is_said(keeper, sign_in):
    assert "No lids yet" in text_of(sign_in(keeper).get(LIDS))


# What the desk and the reminders ask


def test_due_comes_by_the_longest_wait_and_cooling_by_the_soonest(cook):
    late = make_batch_out(by=cook, out_at=ago(hours=21))
    later = make_batch_out(by=cook, out_at=ago(hours=13))
    soon = make_batch_out(by=cook, out_at=ago(hours=11))
    fresh = make_batch_out(by=cook, out_at=ago(hours=1))
    stove = make_batch(by=cook)
    now = timezone.now()
    assert list(Batch.objects.seals_due(now)) == [late, later]
    assert list(Batch.objects.cooling(now)) == [soon, fresh]
    assert list(Batch.objects.open()) == [stove]
    assert list(Batch.objects.for_list().seals_due(now)) == [late, later]


def test_due_is_12_elapsed_hours_after_also_when_asked_in_local_time_over_a_clock_change(cook):
    club = timezone.get_default_timezone()
    out = timezone.datetime(2026, 10, 31, 20, 0, tzinfo=club)
    batch = make_batch_out(by=cook, out_at=out)
    # The clocks go back that night: at 07:00 twelve hours have passed, at 06:59 they have not.
    assert list(Batch.objects.seals_due(timezone.datetime(2026, 11, 1, 7, 0, tzinfo=club))) == [batch]
    assert list(Batch.objects.cooling(timezone.datetime(2026, 11, 1, 6, 59, tzinfo=club))) == [batch]
