"""Whose altitude a page takes when nothing else is asked for: what the person chose, used or founded, never a name."""

from __future__ import annotations

from importlib import import_module

import pytest
from django.apps import apps
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from club.members import services
from club.members.choices import Role
from club.members.models import Kitchen, User, default_kitchen
from tests.factories.batches import NOW, make_batch
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision
from tests.helpers import signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada():
    return make_person(name="Ada Plum")


@pytest.fixture
def home(ada):
    return make_kitchen(ada, name="Zither Row", altitude="2400 m")


@pytest.fixture
def shared(ada):
    """Another's low kitchen that sorts first, in which Ada said yes."""
    kitchen = make_kitchen(make_person(), name="Aardvark Lane", altitude="10 m")
    kitchen.people.add(ada)
    return kitchen


def default_of(person: User) -> Kitchen | None:
    return default_kitchen(User.objects.get(pk=person.pk), Kitchen.objects.usable_by(person))


def test_a_kitchen_shared_with_somebody_does_not_become_theirs_by_its_name(ada, home, shared):
    make_kitchen(name="Aaa Hall", is_hall=True)
    assert default_of(ada) == home
    client, revision = signed_in(ada), make_revision()
    for path in ("recipes:recipe", "recipes:plan"):
        page = client.get(reverse(path, args=[revision.recipe.slug]))
        form = page.context["form"]
        assert form["kitchen"].value() == home.pk, path
    plan = client.get(reverse("recipes:plan", args=[revision.recipe.slug]), {"pots": "1"})
    assert plan.context["kitchen"] == home


def test_who_neither_founded_nor_used_nor_chose_one_is_asked(ada, shared):
    make_kitchen(name="Aaa Hall", is_hall=True)
    assert default_of(ada) is None
    client, slug = signed_in(ada), make_revision().recipe.slug
    page = client.get(reverse("recipes:recipe", args=[slug]))
    assert page.context["kitchen"] is None
    assert "Choose the kitchen that you preserve in" in page.text
    plan = client.get(reverse("recipes:plan", args=[slug]), {"pots": "1"})
    assert "plan" not in plan.context
    assert list(plan.context["form"].errors) == ["kitchen"]
    assert '<option value="" selected' in client.get(reverse("recipes:plan", args=[slug])).text
    assert '<option value="" selected' in client.get(reverse("fruit:freezer-add")).text
    assert "Choose the kitchen that you preserve in" in client.get(reverse("desk:make")).text
    asked = client.get(reverse("recipes:plan", args=[slug]), {"pots": "1", "kitchen": shared.pk})
    assert asked.context["kitchen"] == shared


def test_the_one_used_last_comes_before_the_one_founded_and_the_one_chosen_before_both(ada, home, shared):
    make_batch(by=ada, kitchen=shared)
    assert default_of(ada) == shared
    services.kitchen_choose(by=ada, kitchen=home)
    make_batch(by=ada, kitchen=shared)
    assert default_of(ada) == home


def test_a_batch_started_for_somebody_else_is_nobody_s_use_of_a_kitchen(ada, home):
    hall, teacher = make_kitchen(name="Hall", is_hall=True), make_person(Role.INSTRUCTOR)
    make_batch(by=teacher, kitchen=hall, for_person=ada)
    assert default_of(ada) == home
    assert default_of(teacher) is None


def test_a_kitchen_that_one_left_is_not_the_default_any_more(ada, home, shared):
    services.kitchen_choose(by=ada, kitchen=shared)
    assert default_of(ada) == shared
    services.household_leave(by=ada, kitchen=shared)
    assert default_of(ada) == home


def test_one_chooses_on_one_s_own_page_among_what_one_may_use(ada, home, shared):
    hall, theirs = make_kitchen(name="Hall", is_hall=True), make_kitchen(make_person())
    client = signed_in(ada)
    for kitchen in (hall, shared):
        choose = reverse("members:kitchen-choose", args=[kitchen.pk])
        assert client.get(choose).status_code == 405
        assert "Recipes and plans show their figures for" in client.post(choose, follow=True).text
        assert default_of(ada) == kitchen
    assert client.post(reverse("members:kitchen-choose", args=[theirs.pk])).status_code == 404
    with pytest.raises(PermissionDenied):
        services.kitchen_choose(by=ada, kitchen=theirs)
    assert default_of(ada) == shared


def test_kitchens_from_before_are_founded_by_whoever_was_in_them_first_and_used_by_their_last_batch():
    ada, bo = make_person(), make_person()
    old, hall = make_kitchen(ada), make_kitchen(name="Hall", is_hall=True)
    old.people.add(bo)  # after ada: added together, two go in as a set orders their numbers
    make_batch(by=bo, kitchen=old, started_at=NOW)
    Kitchen.objects.update(founded_by=None)
    User.objects.get_queryset().update(kitchen_used=None)
    import_module("club.members.migrations.0007_who_founded_a_kitchen").founders(apps, None)
    import_module("inventory.batches.migrations.0005_the_kitchen_used_last").used_last(apps, None)
    old.refresh_from_db()
    hall.refresh_from_db()
    assert (old.founded_by, hall.founded_by) == (ada, None)
    assert list(old.people.order_by("pk")) == [ada, bo]
    assert (default_of(ada), default_of(bo)) == (old, old)
    assert User.objects.get(pk=bo.pk).kitchen_used == old
    assert User.objects.get(pk=ada.pk).kitchen_used is None
