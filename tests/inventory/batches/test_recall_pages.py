"""The pages of a recall: who sees it, what a holder reads and answers, and what those who run it see."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from club.members.choices import Role
from club.members.models import User
from club.members.services import profile_change
from inventory.batches import services
from inventory.batches.models import Jar, Recall, RecallAnswer
from inventory.jars.services import jars_move, kitchen_place, outside_place
from tests.factories.batches import NOW, make_batch_checked, make_recall
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db


@pytest.fixture
def maker():
    return make_person(name="Mona Maker")


@pytest.fixture
def batch(maker):
    return make_batch_checked(by=maker)


@pytest.fixture
def recall(batch):
    return make_recall(batch=batch)


def told(batch, /, **changes):
    return {"token": str(uuid4()), "batch": str(batch.pk), "outcome": "set-apart", "jars": "4", "note": "", **changes}


def open_recall(client, form):
    """The form, then once more with a yes to what it said it would call back."""
    url = reverse("batches:recall-new")
    shown = client.post(url, form).context["form"]
    return client.post(url, {**form, "seen": shown["seen"].value(), "confirmed": "on"})


def answer_url(recall):
    return reverse("batches:recall-answer", args=[recall.pk])


def test_a_holder_reads_why_and_what_to_do_and_answers(client, maker, batch, recall):
    client.force_login(maker)
    page = client.get(recall.get_absolute_url()).content.decode()
    assert recall.reason in page
    assert "taste nothing" in page
    assert "local food-safety authority" in page
    assert "Clemson University Extension" in page  # the source stands beside the rule
    sent = told(batch)
    assert client.post(answer_url(recall), sent).status_code == 302
    assert client.post(answer_url(recall), sent).status_code == 302
    assert RecallAnswer.objects.get().outcome == "set-apart"
    assert "not answered yet" not in client.get(recall.get_absolute_url()).content.decode()


def test_of_jars_called_back_nothing_is_said_of_boiling_them(client, maker, recall):
    client.force_login(maker)
    panel = client.get(recall.get_absolute_url()).context["panel"]
    assert panel.suspect
    assert not panel.before_eating


def test_who_threw_all_her_jars_away_can_still_open_the_page(client, maker, batch, recall):
    client.force_login(maker)
    page = client.post(answer_url(recall), told(batch, outcome="discarded"), follow=True)
    assert page.status_code == 200
    assert "thrown away" in page.content.decode()


def test_an_answer_without_a_number_keeps_what_was_typed_and_says_so_beside_it(client, maker, batch, recall):
    client.force_login(maker)
    page = client.post(answer_url(recall), told(batch, jars="", note="in the cellar"))
    assert page.status_code == 400
    assert "in the cellar" in page.content.decode()
    assert "Say how many jars" in page.content.decode()
    at_top, _rules, form = page.content.decode().partition("What to do")
    assert f'href="#lot-{batch.lot_code}"' in at_top  # the form stands two screens down on a phone
    assert f'id="lot-{batch.lot_code}"' in form
    assert "Not done yet" not in client.get(recall.get_absolute_url()).content.decode()


def test_the_buttons_of_two_answers_on_one_page_have_ids_of_their_own(client, maker):
    revision = make_revision()
    lots = [make_batch_checked(by=maker, revision=revision) for _each in range(2)]
    recall = make_recall(revision=revision, batch=None)
    client.force_login(maker)
    pages = [client.get(recall.get_absolute_url()), client.post(answer_url(recall), told(lots[0], jars=""))]
    for page in pages:
        ids = re.findall(r'\sid="([^"]+)"', page.content.decode())
        assert sum(one.endswith("_send") for one in ids) == 2
        assert len(ids) == len(set(ids))


@pytest.mark.parametrize("way", ["get", "post"])
def test_a_stranger_finds_no_recall_that_does_not_reach_her(client, batch, recall, way):
    client.force_login(make_person())
    pages = [recall.get_absolute_url(), answer_url(recall)]
    path = pages[0] if way == "get" else pages[1]
    assert getattr(client, way)(path, told(batch)).status_code == 404
    assert client.get(reverse("batches:recall-close", args=[recall.pk])).status_code == 404


def test_a_fellow_of_the_kitchen_answers_for_it_but_does_not_end_the_recall(client, maker):
    fellow = make_person()
    batch = make_batch_checked(by=maker, kitchen=make_kitchen(maker, fellow))
    recall = make_recall(batch=batch)
    client.force_login(fellow)
    assert client.get(recall.get_absolute_url()).status_code == 200
    assert client.get(reverse("batches:recall-close", args=[recall.pk])).status_code == 403
    assert client.post(answer_url(recall), told(batch)).status_code == 302


def test_nobody_answers_for_a_batch_that_the_recall_does_not_reach(client, maker, batch, recall):
    other = make_batch_checked(by=maker)
    client.force_login(maker)
    assert client.post(answer_url(recall), told(other)).status_code == 403
    assert client.post(answer_url(recall), told(other, batch="999999")).status_code == 404


@pytest.mark.parametrize("role", [Role.INSTRUCTOR, Role.KEEPER, Role.ORGANISER])
def test_those_who_may_trace_see_who_has_not_answered_and_end_it(client, recall, role):
    client.force_login(make_person(role))
    page = client.get(recall.get_absolute_url()).content.decode()
    assert "Mona Maker" in page
    assert "not yet" in page
    assert "1 of 1 not answered" in client.get(reverse("batches:recalls")).content.decode()
    path = reverse("batches:recall-close", args=[recall.pk])
    assert "has not answered yet" in client.get(path).content.decode()
    assert client.post(path, {"note": "Everybody was telephoned."}).status_code == 302
    recall.refresh_from_db()
    assert recall.closed_note == "Everybody was telephoned."
    assert "still not to be eaten" in client.get(recall.get_absolute_url()).content.decode()


def test_a_recall_is_opened_from_the_code_on_a_label_a_box_or_a_recipe(client, batch):
    client.force_login(make_person(Role.KEEPER))
    slug = batch.revision.recipe.slug
    for kind, code in (("batch", batch.lot_code.lower()), ("lid-lot", "lid-1"), ("revision", f"{slug} 1")):
        form = {"token": str(uuid4()), "kind": kind, "code": code, "reason": "Two spoiled."}
        assert open_recall(client, form).status_code == 302, kind
    assert set(Recall.objects.values_list("kind", flat=True)) == {"batch", "lid-lot", "revision"}


def test_before_anything_is_called_back_the_page_says_what_that_would_be(client, maker, batch):
    """Jars, households and messages in figures; names only for those who may trace."""
    friend, former = make_person(name="Fay Friend"), make_person(name="Fred Former")
    Jar.objects.filter(batch=batch, number=1).update(held_by=friend)
    Jar.objects.filter(batch=batch, number=2).update(held_by=former)
    User.objects.filter(pk=former.pk).update(is_active=False)
    form = {"token": str(uuid4()), "kind": "batch", "code": batch.lot_code, "reason": "I forgot the lemon juice."}
    for person, sees_names in ((maker, False), (make_person(Role.KEEPER), True)):
        client.force_login(person)
        page = client.post(reverse("batches:recall-new"), form)
        reach = page.context["reach"]
        assert (reach.jars, reach.places, reach.people, reach.former) == (4, 3, 2, 1)
        assert reach.words == "4 jars, 3 households, 2 messages, 1 former member"
        assert ("Fay Friend" in page.content.decode()) is sees_names
        assert ("Fred Former" in page.content.decode()) is sees_names
        assert "I forgot the lemon juice." in page.content.decode()
        assert not page.context["form"]["confirmed"].value()
    assert not Recall.objects.exists()


def test_without_a_yes_to_just_those_figures_nothing_is_called_back(client, maker, batch):
    client.force_login(maker)
    url = reverse("batches:recall-new")
    form = {"token": str(uuid4()), "kind": "batch", "code": batch.lot_code, "reason": "Two spoiled."}
    seen = client.post(url, form).context["form"]["seen"].value()
    for sent in ({"seen": seen}, {"confirmed": "on"}, {"seen": "0 jars", "confirmed": "on"}):
        page = client.post(url, {**form, **sent})
        assert page.status_code == 200
        assert page.context["form"]["seen"].value() == seen
        assert not page.context["form"]["confirmed"].value()
    assert page.context["form"].errors["confirmed"]
    Jar.objects.filter(batch=batch, number=1).update(held_by=make_person(name="Fay Friend"))
    page = client.post(url, {**form, "seen": seen, "confirmed": "on"})
    assert page.context["form"].errors["confirmed"]
    assert not Recall.objects.exists()
    again = {**form, "seen": page.context["form"]["seen"].value(), "confirmed": "on"}
    assert client.post(url, again).status_code == 302
    assert client.post(url, again).status_code == 302  # the same form sent twice
    assert Recall.objects.count() == 1


def test_what_is_called_back_already_says_so_before_any_figures(client, batch, recall):
    client.force_login(make_person(Role.KEEPER))
    form = {"token": str(uuid4()), "kind": "batch", "code": batch.lot_code, "reason": "Two spoiled."}
    page = client.post(reverse("batches:recall-new"), form)
    assert page.context["form"].errors["code"]
    assert "reach" not in page.context


def test_the_preview_asks_the_same_number_of_questions_for_one_and_for_thirty(client, django_assert_max_num_queries):
    client.force_login(make_person(Role.KEEPER))
    revision = make_revision()
    for count in (1, 30):
        while revision.batches.count() < count:
            batch = make_batch_checked(revision=revision)
        form = {"token": str(uuid4()), "kind": "lid-lot", "code": batch.lid_lot.code, "reason": "Two spoiled."}
        with django_assert_max_num_queries(24):
            page = client.post(reverse("batches:recall-new"), form)
        assert page.context["reach"].places == count


def test_of_jars_that_went_out_of_the_club_the_page_says_who_gave_them_and_what_they_noted(client, maker, batch):
    jars_move(
        by=maker,
        reason="given",
        size="half-pint",
        count=2,
        source=kitchen_place(batch.kitchen),
        target=outside_place("given-away"),
        token=uuid4(),
        state="full",
        batch_id=batch.pk,
        note="Aunt Ann, 555 0134",
        at=NOW + timedelta(days=1),
        now=NOW + timedelta(days=1),
    )
    recall = make_recall(batch=batch)
    client.force_login(make_organiser())
    page = client.get(recall.get_absolute_url())
    assert "Aunt Ann, 555 0134" in page.content.decode()
    client.force_login(maker)
    sent = told(batch, where=f"gave {maker.pk}", outcome="discarded", jars="2")
    assert client.post(answer_url(recall), sent).status_code == 400  # to whom, and were they reached?
    assert client.post(answer_url(recall), {**sent, "note": "Aunt Ann threw both away."}).status_code == 302
    assert set(batch.jars.values_list("disposal", flat=True)) == {"shelf"}  # none of hers


def test_who_comes_second_in_a_household_is_told_that_it_was_answered(client, maker):
    fellow = make_person()
    batch = make_batch_checked(by=maker, kitchen=make_kitchen(maker, fellow))
    recall = make_recall(batch=batch)
    for person in (maker, fellow):
        client.force_login(person)
        page = client.post(answer_url(recall), told(batch, outcome="discarded"), follow=True)
        assert page.status_code == 200
    assert RecallAnswer.objects.count() == 1
    assert "none of them is left there" in page.content.decode()


@pytest.mark.parametrize("code", ["26999-ZZZ", "nonsense", "\0"])
@pytest.mark.parametrize("kind", ["batch", "lid-lot", "revision"])
def test_a_code_that_leads_nowhere_is_refused_beside_its_field(client, kind, code):
    client.force_login(make_person(Role.KEEPER))
    form = {"token": str(uuid4()), "kind": kind, "code": code, "reason": "Two spoiled."}
    page = client.post(reverse("batches:recall-new"), form)
    assert page.status_code == 200
    assert page.context["form"].errors.get("code")
    assert Recall.objects.count() == 0


def test_a_member_calls_back_her_own_batch_and_no_lid_lot(client, maker, batch):
    client.force_login(maker)
    form = {"token": str(uuid4()), "kind": "batch", "code": batch.lot_code, "reason": "I forgot the lemon juice."}
    assert client.post(reverse("batches:recall-new"), {**form, "kind": "lid-lot", "code": "LID 1"}).status_code == 200
    other = make_batch_checked()
    assert client.post(reverse("batches:recall-new"), {**form, "code": other.lot_code}).status_code == 200
    assert Recall.objects.count() == 0
    assert open_recall(client, form).status_code == 302
    assert Recall.objects.get().batch == batch


def test_the_batchs_own_page_says_that_its_jars_are_called_back(client, maker, batch, recall):
    client.force_login(maker)
    page = client.get(batch.get_absolute_url()).content.decode()
    assert "these jars are called back" in page
    assert recall.get_absolute_url() in page


def test_wrong_methods_are_refused(client, maker, recall):
    client.force_login(maker)
    assert client.post(reverse("batches:recalls")).status_code == 405
    assert client.post(recall.get_absolute_url()).status_code == 405
    assert client.get(answer_url(recall)).status_code == 405


def test_the_pages_ask_the_same_number_of_questions_for_one_and_for_thirty(client, django_assert_max_num_queries):
    organiser, revision = make_organiser(), make_revision()
    client.force_login(organiser)
    batch = make_batch_checked(revision=revision)
    first = make_recall(by=organiser, batch=batch)
    wide = make_recall(by=organiser, lid_lot=batch.lid_lot)
    for count in (1, 30):
        while Recall.objects.count() < count + 1:
            make_recall(by=organiser, batch=make_batch_checked(revision=revision))
        with django_assert_max_num_queries(17):
            assert client.get(reverse("batches:recalls")).status_code == 200
        with django_assert_max_num_queries(25):
            assert len(client.get(wide.get_absolute_url()).context["rows"]) == count
    services.recall_close(by=organiser, recall=first, note="Done.")


def test_who_left_the_club_stands_on_the_page_with_how_to_reach_them_and_an_answer_is_noted_for_them(client, batch):
    friend = make_person(name="Fay Friend", email="fay@example.org")
    Jar.objects.filter(batch=batch, number=1).update(held_by=friend)
    User.objects.filter(pk=friend.pk).update(is_active=False)
    recall = make_recall(batch=batch)
    client.force_login(make_organiser())
    page = client.get(recall.get_absolute_url())
    [row] = [row for row in page.context["rows"] if row.former]
    assert (row.former, row.is_answered) == ((friend,), False)
    for words in ("Fay Friend", "left the club", "mailto:fay@example.org"):
        assert words in page.content.decode()
    [asked] = page.context["asked"]  # those of the club answer for themselves
    assert asked.is_for_others
    sent = told(batch, where=f"person {friend.pk}", outcome="none-left", jars="")
    assert client.post(answer_url(recall), sent).status_code == 302
    assert RecallAnswer.objects.get().where == f"person {friend.pk}"
    assert "with Fay Friend" in client.get(recall.get_absolute_url()).content.decode()


def test_a_member_does_not_see_who_else_holds_jars_nor_how_to_reach_them(client, maker, batch):
    friend = make_person(name="Fay Friend", email="fay@example.org")
    Jar.objects.filter(batch=batch, number=1).update(held_by=friend)
    User.objects.filter(pk=friend.pk).update(is_active=False)
    recall = make_recall(batch=batch)
    client.force_login(maker)
    assert "fay@example.org" not in client.get(recall.get_absolute_url()).content.decode()
    sent = told(batch, where=f"person {friend.pk}")
    assert client.post(answer_url(recall), sent).status_code == 403


def test_each_place_has_a_form_of_its_own_and_what_was_typed_stays_in_it(client, maker, batch):
    Jar.objects.filter(batch=batch, number=1).update(held_by=maker)
    recall = make_recall(batch=batch)
    client.force_login(maker)
    page = client.get(recall.get_absolute_url())
    assert [one.form.initial["where"] for one in page.context["asked"]] == [
        f"kitchen {batch.kitchen_id}",
        f"person {maker.pk}",
    ]
    ids = re.findall(r' id="((?:id_|lot-)[^"]+)"', page.content.decode())
    assert len(ids) == len(set(ids))
    sent = told(batch, where=f"person {maker.pk}", jars="", note="in the cellar")
    refused = client.post(answer_url(recall), sent)
    assert [one.form.is_bound for one in refused.context["asked"]] == [False, True]
    client.post(answer_url(recall), told(batch, where=f"person {maker.pk}", jars="1"))
    page = client.get(recall.get_absolute_url())
    assert [one.row.is_answered for one in page.context["asked"]] == [False, True]


@pytest.mark.parametrize("where", ["store", "kitchen 999999", "x" * 31, "\0"])
def test_a_place_that_is_not_ones_own_settles_nothing(client, maker, batch, recall, where):
    client.force_login(maker)
    assert client.post(answer_url(recall), told(batch, where=where)).status_code in (400, 403)
    assert RecallAnswer.objects.count() == 0


def test_telephones_are_on_the_list_for_organisers_alone_also_of_former_members(client, maker, batch, recall):
    friend = make_person(name="Fay Friend")
    Jar.objects.filter(batch=batch, number=1).update(held_by=friend)
    for person, phone in ((maker, "+353 1 234 567"), (friend, "0171 555 0199")):
        profile_change(by=person, name=person.name, units="us", phone=phone)
    User.objects.filter(pk=friend.pk).update(is_active=False)
    reader, fellow = make_organiser(), make_person(Role.INSTRUCTOR)
    client.force_login(reader)
    page = client.get(recall.get_absolute_url()).content.decode()
    assert 'href="tel:+3531234567"' in page
    assert 'href="tel:01715550199"' in page
    assert "Whom to telephone" in page
    for other in (maker, fellow):
        client.force_login(other)
        assert "tel:" not in client.get(recall.get_absolute_url()).content.decode()
    client.force_login(reader)
    assert "234 567" not in client.get(reverse("members:person", args=[maker.pk])).content.decode()
