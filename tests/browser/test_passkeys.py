"""A passkey in a real browser: added on one's page, then enough to sign in by itself."""

from __future__ import annotations

from django.urls import reverse

from tests.factories.members import PASSWORD, make_kitchen, make_person

KEY = {
    "protocol": "ctap2",
    "transport": "internal",
    "hasResidentKey": True,
    "hasUserVerification": True,
    "isUserVerified": True,
    "automaticPresenceSimulation": True,
}


def test_a_member_adds_a_passkey_and_signs_in_with_it_alone(visitor):
    ada = make_person()
    make_kitchen(ada)
    page = visitor.page
    tools = page.context.new_cdp_session(page)
    tools.send("WebAuthn.enable")
    tools.send("WebAuthn.addVirtualAuthenticator", {"options": KEY})
    visitor.sign_in(ada.email, reverse("mfa_index"))
    visitor.look("factors")
    page.get_by_role("link", name="Add a passkey").click()
    visitor.look("factors-is-it-you")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Go on").click()
    visitor.look("factors-add-passkey")
    page.get_by_label("What you call it").fill("Kitchen phone")
    page.get_by_role("button", name="Add it").click()
    page.wait_for_url("**/recovery-codes/")
    visitor.look("factors-recovery-codes")
    page.get_by_role("link", name="I have them").click()
    assert "Kitchen phone" in visitor.text()
    visitor.look("factors-done")
    page.context.clear_cookies()
    visitor.go(reverse("account_login"))
    visitor.look("sign-in")
    page.get_by_role("button", name="Sign in with a passkey").click()
    page.wait_for_url(visitor.base_url + "/")
    visitor.go(reverse("members:browser-sessions"))
    assert "this one" in visitor.text()
    visitor.look("browser-sessions")
