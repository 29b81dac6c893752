"""Passkeys, one-time codes and recovery codes: offered to all, required of some where the club says so."""

from __future__ import annotations

import pytest
from allauth.mfa.models import Authenticator
from django.core import mail
from django.test import Client
from django.urls import reverse

from club.members import services
from club.members.choices import Role
from club.members.models import SignInChange, User
from tests.club.members.test_sign_in import changes_told, is_signed_in, say_password, sign_in
from tests.factories.members import PASSWORD, code_of, make_codes, make_organiser, make_person
from tests.factories.passkeys import HOST, SoftKey, make_passkey
from tests.helpers import just_asked, signed_in

pytestmark = pytest.mark.django_db

HERE = {"headers": {"host": HOST}}


def kinds(person):
    return set(Authenticator.objects.filter(user=person).values_list("type", flat=True))


@pytest.fixture
def key(member_client):
    """A passkey of the member's, added as the page does it."""
    url, key = reverse("mfa_add_webauthn"), SoftKey()
    page = just_asked(member_client).get(url, **HERE)
    credential = key.registered(page.context["js_data"]["creation_options"])
    added = member_client.post(url, {"name": "Phone", "passwordless": "on", "credential": credential}, **HERE)
    assert added.url == reverse("mfa_view_recovery_codes")
    return key


def options_for(client):
    asked = client.get(reverse("mfa_login_webauthn"), headers={"host": HOST, "accept": "application/json"})
    return asked.json()["request_options"]


def show(client, credential):
    return client.post(reverse("mfa_login_webauthn"), {"credential": credential}, **HERE)


def test_a_passkey_signs_in_by_itself_and_only_for_this_site_and_once(key, member):
    client = Client()
    show(client, key.signed(options_for(client), origin="https://evil.example.test"))
    show(client, SoftKey().signed(options_for(client)))
    assert not is_signed_in(client)
    answer = key.signed(options_for(client))
    assert show(client, answer).url == reverse("desk:home")
    assert client.get(reverse("members:me"), **HERE).status_code == 200
    thief = Client()
    options_for(thief)
    show(thief, answer)  # overheard: another challenge is open here
    assert not is_signed_in(thief)


def test_one_time_codes_are_asked_for_after_the_password_and_each_is_good_once(member):
    secret = make_codes(member)
    client = Client()
    assert sign_in(client, member.email).url == reverse("mfa_authenticate")
    assert not is_signed_in(client)
    assert "Second step" in client.get(reverse("mfa_authenticate")).text
    assert client.post(reverse("mfa_authenticate"), {"code": "000000"}).status_code == 200
    code = code_of(secret)
    client.post(reverse("mfa_authenticate"), {"code": code})
    assert is_signed_in(client)
    again = Client()
    sign_in(again, member.email)
    again.post(reverse("mfa_authenticate"), {"code": code})
    assert not is_signed_in(again)
    recovery = Authenticator.objects.get(user=member, type="recovery_codes").wrap().get_unused_codes()[0]
    for client, works in ((again, True), (Client(), False)):
        sign_in(client, member.email)
        client.post(reverse("mfa_authenticate"), {"code": recovery})
        assert is_signed_in(client) is works


def test_keys_of_codes_lie_encrypted_and_open_after_a_new_secret(member, settings):
    secret = make_codes(member)
    kept = str(list(Authenticator.objects.values_list("data", flat=True)))
    assert secret not in kept
    settings.SECRET_KEY_FALLBACKS, settings.SECRET_KEY = [settings.SECRET_KEY], "another secret, of this year"
    assert Authenticator.objects.get(type="totp").wrap().validate_code(code_of(secret))


def test_setting_codes_up_asks_for_the_password_shows_the_recovery_codes_and_is_told(
    client, member, django_capture_on_commit_callbacks
):
    sign_in(client, member.email)
    url = reverse("mfa_activate_totp")
    asked = client.get(url)
    assert asked.url.startswith(reverse("account_reauthenticate"))
    page = client.get(say_password(client, next=url).url)
    secret = page.context["form"].secret
    assert secret in page.text
    assert client.post(url, {"code": "12"}).context["form"].errors.keys() == {"code"}
    with django_capture_on_commit_callbacks(execute=True):
        codes = client.post(url, {"code": code_of(secret)}, follow=True)
    assert codes.request["PATH_INFO"] == reverse("mfa_view_recovery_codes")
    assert len(codes.context["unused_codes"]) == 10
    assert kinds(member) == {"totp", "recovery_codes"}
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("mfa_generate_recovery_codes"))
    client.post(reverse("mfa_deactivate_totp"))
    assert kinds(member) == set()
    told = ["one-time codes were set up", "new recovery codes were made, and the old ones are void"]
    assert changes_told() == [([member.email], what) for what in [*told, "one-time codes were turned off"]]


def test_a_borrowed_browser_changes_no_factor(client, member):
    make_codes(member)
    passkey = make_passkey(member)
    client.force_login(member)
    for name, args in [
        ("mfa_deactivate_totp", []),
        ("mfa_add_webauthn", []),
        ("mfa_generate_recovery_codes", []),
        ("mfa_view_recovery_codes", []),
        ("mfa_download_recovery_codes", []),
        ("mfa_edit_webauthn", [passkey.pk]),
        ("mfa_remove_webauthn", [passkey.pk]),
    ]:
        asked = [client.get(reverse(name, args=args)), client.post(reverse(name, args=args))]
        if "view_" in name:
            assert asked.pop().status_code == 405
        assert all(one.url.startswith(reverse("account_reauthenticate")) for one in asked), name
    assert kinds(member) == {"totp", "recovery_codes", "webauthn"}


def test_nobody_removes_another_s_passkey(member):
    passkey = make_passkey(member)
    other = just_asked(signed_in(make_person()))
    for name in ("mfa_remove_webauthn", "mfa_edit_webauthn"):
        assert other.post(reverse(name, args=[passkey.pk]), {"name": "Mine"}).status_code == 404
    assert Authenticator.objects.get(pk=passkey.pk).wrap().name == "Phone"


@pytest.mark.parametrize("who", [Role.ORGANISER, Role.KEEPER, "staff", Role.INSTRUCTOR, Role.MEMBER])
def test_the_club_may_require_a_second_factor_of_those_who_look_after_it(client, settings, who):
    person = make_person(*([] if who == "staff" else [who]))
    if who == "staff":
        User.objects.filter(pk=person.pk).update(is_staff=True)
    sign_in(client, person.email)
    pages = ["/", "/people/me/", "/recipes/", "/admin/", "/no-such-page/"]
    before = [client.get(page).status_code for page in pages]
    settings.REQUIRE_SECOND_FACTOR = True
    after = [client.get(page) for page in pages]
    if who in (Role.INSTRUCTOR, Role.MEMBER):
        assert [page.status_code for page in after] == before
        return
    assert [getattr(page, "url", "") for page in after[:4]] == [reverse("mfa_index")] * 4
    assert client.post("/people/me/", {"name": "Zoe", "units": "us"}).url == reverse("mfa_index")
    assert client.get("/", headers={"HX-Request": "true"}).headers["HX-Redirect"] == reverse("mfa_index")
    assert "need one of these two" in client.get(reverse("mfa_index")).text
    # No loop: everything on the way to a factor is open, and with it the site is.
    url = reverse("mfa_activate_totp")
    page = client.get(say_password(client, next=url).url)
    done = client.post(url, {"code": code_of(page.context["form"].secret)}, follow=True)
    assert done.status_code == 200
    assert [client.get(page).status_code for page in pages] == before


def test_who_is_held_back_can_sign_out_and_change_what_signs_them_in(client, settings):
    settings.REQUIRE_SECOND_FACTOR = True
    client.force_login(make_organiser())
    for name in ("account_email", "account_change_password", "account_reauthenticate", "account_logout", "mfa_index"):
        assert client.get(reverse(name)).status_code == 200, name
    client.post(reverse("account_logout"))
    assert client.get("/").url.startswith(reverse("account_login"))


def test_an_organiser_lifts_the_factors_of_who_lost_them_and_they_are_told(organiser_client, organiser, member):
    make_codes(member)
    phone = signed_in(member)
    assert "Take passkeys and codes away" in organiser_client.get(reverse("members:person", args=[member.pk])).text
    organiser_client.post(reverse("members:person-lift-factors", args=[member.pk]))
    assert kinds(member) == set()
    assert not is_signed_in(phone)
    assert changes_told() == [([member.email], SignInChange.objects.get().get_kind_display())]
    make_codes(organiser)
    assert organiser_client.post(reverse("members:person-lift-factors", args=[organiser.pk])).status_code == 403
    assert kinds(organiser) == {"totp", "recovery_codes"}
    keeper = just_asked(signed_in(make_person(Role.KEEPER)))
    assert keeper.post(reverse("members:person-lift-factors", args=[organiser.pk])).status_code == 403


# Asked again, before what a passer-by must not do.


def test_a_role_is_given_and_a_membership_begun_only_by_who_has_just_been_asked(client, organiser, member):
    client.force_login(organiser)
    page = reverse("members:person", args=[member.pk])
    asked = client.post(page, {"roles": ["organiser"]})
    assert asked.url.startswith(reverse("account_reauthenticate"))
    for name in ("person-start-again", "person-lift-factors"):
        asked_too = client.post(reverse(f"members:{name}", args=[member.pk]))
        assert asked_too.url.startswith(reverse("account_reauthenticate"))
    invited = {"email": "gil@example.test", "name": "", "role": "organiser"}
    assert client.post(reverse("members:invite"), invited).url.startswith(reverse("account_reauthenticate"))
    assert User.objects.get(pk=member.pk).role_names == {"member"}
    assert User.objects.get(pk=member.pk).is_active
    assert mail.outbox == []
    # What was sent is done once the password is said; an invitation as a member asks nothing.
    client.post(page, {"roles": ["keeper"]})
    say_password(client, next=page)
    assert User.objects.get(pk=member.pk).role_names == {"member", "keeper"}
    fresh = signed_in(organiser)
    assert fresh.post(reverse("members:invite"), {**invited, "role": "member"}).url == reverse("members:people")


def test_a_passkey_answers_where_the_password_is_asked_for(key, member):
    client = Client()
    show(client, key.signed(options_for(client)))
    page = client.get(reverse("mfa_reauthenticate_webauthn"), **HERE)
    credential = key.signed(page.context["js_data"]["request_options"])
    sent = {"credential": credential, "next": reverse("mfa_view_recovery_codes")}
    client.post(reverse("mfa_reauthenticate_webauthn"), sent, **HERE)
    assert client.get(reverse("mfa_view_recovery_codes"), **HERE).status_code == 200


def test_the_admin_site_neither_shows_keys_nor_says_whose_an_address_is(client):
    client.force_login(User.objects.create_superuser("root@example.test", PASSWORD, name="Root"))
    assert client.get("/admin/mfa/authenticator/").status_code == 404
    assert client.get("/admin/account/emailaddress/").status_code == 404
    assert client.get(reverse("admin:password_change")).url == reverse("account_change_password")
    person = make_person()
    change = reverse("admin:members_user_change", args=[person.pk])
    assert client.post(change, {"is_staff": "on"}).url.startswith(reverse("account_reauthenticate"))
    assert not User.objects.get(pk=person.pk).is_staff


@pytest.mark.parametrize("name", ["mfa_index", "mfa_add_webauthn", "mfa_activate_totp", "mfa_list_webauthn"])
def test_the_pages_of_factors_look_like_the_site_and_ask_little(member_client, django_assert_max_num_queries, name):
    just_asked(member_client)
    with django_assert_max_num_queries(11):
        page = member_client.get(reverse(name))
    assert 'class="house-name"' in page.text
    assert page.text.count("<h1") == 1


def test_a_factor_of_a_former_member_signs_nobody_in(key, member):
    services.member_deactivate(by=make_organiser(), person=member)
    client = Client()
    show(client, key.signed(options_for(client)))
    assert not is_signed_in(client)
