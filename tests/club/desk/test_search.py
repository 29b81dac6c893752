"""One search over the house: by words, other names, slips of the pen and codes, and never past a gate."""

from __future__ import annotations

import pytest
from django.utils import timezone

from club.desk.search import found_for
from club.members.choices import Role
from inventory.equipment.choices import Kind
from recipes.search import mended, read_search
from tests.factories.batches import make_batch_out
from tests.factories.classes import make_session
from tests.factories.equipment import make_thing
from tests.factories.freezer import make_freezer_item
from tests.factories.jars import make_lid_lot
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db

FOUND_QUERIES, MISSED_QUERIES = 19, 29


def found(person, text: str) -> dict[str, list[str]]:
    """The titles by kind."""
    groups = found_for(person, text, now=timezone.now()).groups
    return {group.key: [hit.title for hit in group.hits] for group in groups}


@pytest.mark.parametrize(
    ("typed", "terms"),
    [
        ("6 kg plums", [{"plum", "damson", "greengage"}]),
        ("Courgettes", [{"zucchini", "courgette", "summer squash", "baby marrow"}]),
        ("beetroot with Jalapeño", [{"beet", "beetroot"}, {"jalapeno"}]),
        ("green beans", [{"green bean", "snap bean", "string bean", "french bean", "runner bean"}]),
        ("the cherries", [{"cherr"}]),
        ("  ", []),
    ],
)
def test_a_search_reads_amounts_other_names_and_many_as_one(typed, terms):
    assert [set(term) for term in read_search(typed).terms] == terms


def test_the_weight_that_was_typed_is_kept_beside_the_food():
    asked = read_search("What can I do, 2.5 pounds of sour cherries")
    assert (asked.amount, read_search("6 kg plums").food) == ("2.5 lb", "plums")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("strawbery jam", "strawberry jam"), ("ruhbarb", "rhubarb"), ("plum jam", ""), ("xyz", ""), ("jma", "")],
)
def test_a_slip_of_the_pen_is_put_right_to_a_word_that_is_used_here(typed, meant):
    assert mended(typed, ["Strawberry jam", "rhubarb, plums"]) == meant


def test_a_jar_s_code_as_its_label_prints_it_leads_to_it_for_who_may_see_it_and_is_nothing_to_others(client):
    owner, stranger, keeper = make_person(), make_person(), make_person(Role.KEEPER)
    batch = make_batch_out(by=owner, kitchen=make_kitchen(owner))
    code, begun, end = batch.lot_code, batch.lot_code[:7], batch.lot_code[-3:]
    for person in (owner, keeper):
        client.force_login(person)
        for typed in (code, f"{code} / 99", code.replace("-", " ").lower()):
            assert client.get("/find/", {"q": typed}).headers["Location"] == batch.get_absolute_url()
        assert client.get("/find/", {"q": f"{code} / 2"}).headers["Location"] == f"{batch.get_absolute_url()}2/"
        assert found(person, begun)["lots"] == [batch.title]
    assert found(owner, end)["lots"] == [batch.title]
    assert found(keeper, end) == {}  # of the whole club's batches nobody looks for an end
    client.force_login(stranger)
    for typed in (code, f"{code} / 2", begun, end, batch.title):
        answer = client.get("/find/", {"q": typed})
        assert answer.status_code == 200
        assert not {"lots", "batches"} & {group.key for group in answer.context["found"].groups}
        assert batch.get_absolute_url() not in answer.content.decode()


def test_lids_and_people_are_found_by_who_looks_after_them():
    lot, person = make_lid_lot("LL-0412"), make_person(name="Petronella Quill")
    member, keeper, organiser = make_person(), make_person(Role.KEEPER), make_person(Role.ORGANISER)
    assert found(keeper, "ll 0412")["lids"] == [str(lot)]
    assert found(organiser, "petronella")["people"] == [str(person)]
    for typed in ("LL-0412", "petronella"):
        assert not {"lids", "people"} & set(found(member, typed))


def test_a_freezer_is_its_household_s_own_in_the_search_too():
    owner, organiser = make_person(), make_person(Role.ORGANISER)
    make_freezer_item(by=owner)
    assert found(owner, "plums")["freezer"] == ["plums"]
    assert "freezer" not in found(organiser, "plums")


def test_words_find_a_thing_of_each_kind_and_a_whole_phrase_its_page():
    person = make_person()
    revision = make_revision()
    thing = make_thing(name="Blue steam canner", kind=Kind.BOILING_WATER)
    session = make_session(title="Strawberry evening")
    draft = make_session(title="Strawberry morning", state="draft")
    here = found(person, "strawberry")
    assert revision.recipe.title in found(person, "plum spread")["recipes"]
    assert (here["classes"], draft.title in here["classes"]) == ([session.title], False)
    assert found(person, "steam canner")["equipment"] == [thing.name]
    assert found(person, thing.code)["equipment"] == [thing.name]
    assert found(person, "jar did not seal")["help"] == ["Something went wrong with jars"]
    assert "people" not in found(person, "People and invitations").get("help", [])


def test_what_is_at_hand_leads_to_what_can_be_made_of_it():
    [group] = [one for one in found_for(make_person(), "6 kg plums", now=timezone.now()).groups if one.key == "make"]
    assert group.hits[0].url == "/make/?fruit_1=plums&weight_1=6+kg"


@pytest.mark.parametrize("typed", ["", "\0", "%_", "a " * 1000, "'; --", "½ kg", "999 / 9", "6 kg"])
def test_a_search_for_nothing_or_for_a_thousand_words_is_answered_plainly(client, typed):
    client.force_login(make_person(Role.KEEPER))
    answer = client.get("/find/", {"q": typed})
    assert (answer.status_code, answer.context["found"].groups) == (200, [])


def test_as_one_types_only_the_results_come(client):
    client.force_login(make_person())
    make_revision()
    part = client.get("/find/", {"q": "pulms"}, headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    assert part.context["found"].mended == "plums"
    assert part.context["found"].groups[0].key == "recipes"


@pytest.mark.parametrize("count", [1, 9])
def test_a_search_asks_the_same_few_queries_however_much_there_is(client, count, django_assert_max_num_queries):
    person = make_person(Role.ORGANISER)
    kitchen = make_kitchen(person)
    for _ in range(count):
        make_batch_out(by=person, kitchen=kitchen)
        make_thing(name="Strawberry huller")
        make_freezer_item(by=person, kitchen=kitchen, what="strawberries")
        make_session(title="Strawberry jam")
    client.force_login(person)
    with django_assert_max_num_queries(FOUND_QUERIES):
        assert client.get("/find/", {"q": "strawberry"}).context["found"].count >= 3 * min(count, 6)
    with django_assert_max_num_queries(MISSED_QUERIES):
        assert client.get("/find/", {"q": "strawbrery"}).context["found"].mended == "strawberry"
