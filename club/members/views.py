"""The pages of people, kitchens, invitations and skills."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.mfa.models import Authenticator
from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.core import signing
from django.core.exceptions import PermissionDenied
from django.core.paginator import Page, Paginator
from django.db.models.functions import Lower
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.errors import AlreadyDone
from club.core.http import allow, ask_again, refusals_as_messages, refusals_on, signed_in
from club.core.papers import ruler_pdf, sheet_svg
from club.core.sheets import SHEETS
from club.core.tables import Row, TableRefused, read_table
from club.members import services, sessions
from club.members.adapter import may_ask_to_join
from club.members.choices import Role
from club.members.forms import (
    AcceptForm,
    EventFilterForm,
    ImportForm,
    InviteForm,
    JoinForm,
    KitchenForm,
    KitchenPersonForm,
    LabelPaperForm,
    NameForm,
    ProfileForm,
    RolesForm,
    StreetForm,
    WaiveForm,
)
from club.members.models import (
    AddressConsent,
    BrowserSession,
    Invitation,
    JoinRequest,
    JoinState,
    Kitchen,
    KitchenInvitation,
    PersonEvent,
    PersonEventQuerySet,
    SkillRecord,
    Units,
    User,
    default_kitchen,
    height_words,
    kitchen_words,
    label_paper_of,
    street_page,
)
from club.members.presentation import role_terms
from club.members.services import Closed, InvitationClosed, invitation_for_token, was_accepted_by

# A person's own page, and where they are signed in.

SESSIONS_SHOWN = 50


@require_http_methods(["GET", "POST"])
def me(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    form = ProfileForm(request.POST or None, user=user)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.profile_change(by=user, **form.cleaned_data)
            messages.success(request, _("Saved."))
            return redirect("members:me")
    kitchens = list(Kitchen.objects.usable_by(user))
    words = kitchen_words(kitchens)
    # Of those they can use, as Kitchen.objects.changeable_by has it; one question less.
    changeable = {kitchen.pk for kitchen in kitchens if not kitchen.is_hall or user.has_role(Role.ORGANISER)}
    asked = KitchenInvitation.objects.open(timezone.now()).filter(person=user)
    context = {
        "form": form,
        "kitchens": [(kitchen, words[kitchen.pk]) for kitchen in kitchens],
        "default": default_kitchen(user, kitchens),
        "changeable": changeable,
        "invitations": asked.select_related("kitchen", "invited_by"),
        "skills": user.skill_records.valid(),
    }
    return render(request, "members/me.html", context)


# The labels in a person's printer.


@require_http_methods(["GET", "POST"])
def my_labels(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    paper = label_paper_of(user)
    form = LabelPaperForm(request.POST or None, paper=paper, in_inches=user.units == Units.US)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.label_paper_set(by=user, **form.written())
            messages.success(request, _("Saved. Print the test page before a sheet of labels."))
            return redirect("members:my-labels")
    sheet = paper.sheet
    name = _("The sheet: %(columns)s across, %(rows)s down") % {"columns": sheet.columns, "rows": sheet.rows}
    context = {
        "form": form,
        "choices": [(key, name) for key, (name, _sheet) in SHEETS.items()],
        "sheet": sheet,
        "picture": sheet_svg(sheet, first=paper.first_free, count=0, name=name),
    }
    return render(request, "members/my_labels.html", context)


@require_POST
def my_labels_choose(request: HttpRequest) -> HttpResponse:
    """A sheet of the list, with the measures that the list begins with."""
    user = signed_in(request)
    found = SHEETS.get(request.POST.get("sheet", ""))
    if found is None:
        messages.error(request, _("Choose a sheet or a roll of the list."))
        return redirect("members:my-labels")
    services.label_paper_set(by=user, sheet=found[1], signed=label_paper_of(user).signed)
    messages.success(request, _("Chosen. Now print the test page and hold it against your sheet."))
    return redirect("members:my-labels")


@require_safe
def my_labels_test(request: HttpRequest) -> HttpResponse:
    sheet = label_paper_of(signed_in(request)).sheet
    headers = {"Content-Disposition": 'inline; filename="labels-test.pdf"'}
    return HttpResponse(ruler_pdf(sheet, title=_("Test page for labels")), "application/pdf", headers=headers)


@require_safe
def browser_sessions(request: HttpRequest) -> HttpResponse:
    """Where this person is signed in; at most the latest so many."""
    found = BrowserSession.objects.alive(signed_in(request))[:SESSIONS_SHOWN]
    return render(request, "members/browser_sessions.html", {"found": found, "current": request.session.session_key})


@require_POST
def browser_session_end(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    found = get_object_or_404(user.browser_sessions, pk=pk)
    services.browser_session_end(by=user, session=found)
    if found.session_key == request.session.session_key:
        logout(request)
        return redirect("account_login")
    messages.success(request, _("That sign-in has ended."))
    return redirect("members:browser-sessions")


@require_POST
def browser_sessions_end_others(request: HttpRequest) -> HttpResponse:
    """Whatever no list shows ends too: the person's sessions are all void, and this one is made anew."""
    user = signed_in(request)
    services.sessions_end_everywhere(user=user)
    update_session_auth_hash(request, user)
    sessions.begin(request, user)
    messages.success(request, _("You are signed out everywhere else."))
    return redirect("members:browser-sessions")


@require_POST
def sign_out_everywhere(request: HttpRequest) -> HttpResponse:
    services.sessions_end_everywhere(user=signed_in(request))
    logout(request)
    messages.success(request, _("You are signed out everywhere. Sign in again here."))
    return redirect("account_login")


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def address_agree(request: HttpRequest, token: str) -> HttpResponse:
    """What the mail to somebody's present address leads to: another address of theirs is confirmed, or it is not."""
    consent = services.consent_for_token(token, now=timezone.now())
    if consent is None:
        return render(request, "members/address_agree.html", {"consent": None}, status=410)
    if request.method == "POST":
        services.address_agree(by=consent.address.user, consent=consent)
        get_adapter(request).confirm_email(request, consent.address)
        return redirect("account_email" if request.user.is_authenticated else "account_login")
    return render(request, "members/address_agree.html", {"consent": consent})


# The organisers' pages: who is in the club, who is invited, who holds which role.

PER_PAGE = 50
FOUND = 8


@require_safe
def people(request: HttpRequest) -> HttpResponse:
    allow(request, "members.invite_member")
    return people_page(request, InviteForm(action=reverse("members:invite")))


@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """Some members called so, for the field in which somebody is typing a person; one letter finds nobody."""
    allow(request, "equipment.keep_things", "classes.plan_session")
    if request.headers.get("HX-Request") != "true":
        return redirect("desk:home")  # no page, a part of one
    text = next(iter(request.GET.dict().values()), "").strip()
    found = User.objects.get_queryset().called(text).in_order()[:FOUND] if len(text) > 1 else []
    return render(request, "members/parts/found.html", {"found": found})


@require_http_methods(["GET", "POST"])
def invite(request: HttpRequest) -> HttpResponse:
    user = allow(request, "members.invite_member")
    form = InviteForm(request.POST or None, action=reverse("members:invite"))
    if request.method == "POST" and form.is_valid():
        if form.cleaned_data["role"] != Role.MEMBER:
            ask_again(request)  # with an invitation goes its role
        with refusals_on(form):
            invitation = services.invitation_send(by=user, **form.cleaned_data)
            messages.success(request, _("An invitation is on its way to %(email)s.") % {"email": invitation.email})
            return redirect("members:people")
    return people_page(request, form)


IMPORT_SALT = "members.import"
CHECKED_FOR_S = 3600


@require_http_methods(["GET", "POST"])
def import_people(request: HttpRequest) -> HttpResponse:
    """First a look: who would be invited, or every problem. Then, from the same rows, the invitations."""
    user = allow(request, "members.invite_member")
    if "checked" in request.POST:
        return _import_checked(request, user)
    form = ImportForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"form": form, "roles": Role.choices()}
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            rows = read_table(file.read(), file.name, needed=["email"], other_encoding="cp1252")
        except TableRefused as error:
            form.add_error("file", str(error))
        else:
            context["report"] = report = services.people_import(by=user, rows=rows, file=file.name)
            if report.invited and not report.problems:
                kept = {"file": file.name, "rows": [asdict(row) for row in rows], "by": user.pk}
                context["checked"] = signing.dumps(kept, salt=IMPORT_SALT, compress=True)
    return render(request, "members/import.html", context)


def _import_checked(request: HttpRequest, user: User) -> HttpResponse:
    """What was looked at an instant ago, signed so that it is the same."""
    ask_again(request)  # with an invitation goes its role
    try:
        kept = signing.loads(request.POST["checked"], salt=IMPORT_SALT, max_age=CHECKED_FOR_S)
    except signing.BadSignature:
        kept = {}
    if kept.get("by") != user.pk:
        messages.error(request, _("That was checked too long ago. Choose the file again."))
        return redirect("members:import")
    rows = [Row(**row) for row in kept["rows"]]
    report = services.people_import(by=user, rows=rows, file=kept["file"], dry_run=False)
    if report.problems:
        messages.error(request, " ".join(str(problem) for problem in report.problems[:5]))
        return redirect("members:import")
    text = ngettext("%(n)s invitation is on its way.", "%(n)s invitations are on their way.", len(report.invited))
    messages.success(request, text % {"n": len(report.invited)})
    return redirect("members:people")


def people_page(request: HttpRequest, form: InviteForm) -> HttpResponse:
    everybody = User.objects.get_queryset().with_roles().in_order()
    context = {
        "form": form,
        "page": Paginator(everybody, PER_PAGE).get_page(request.GET.get("page")),
        "invitations": Invitation.objects.unsettled().select_related("invited_by")[:PER_PAGE],
        "now": timezone.now(),
    }
    return render(request, "members/people.html", context)


@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.grant_role")
    found = get_object_or_404(User.objects.get_queryset().with_roles(), pk=pk)
    # No box ticked is a POST without a field, and still an answer: hence not `request.POST or None`.
    form = RolesForm(request.POST if request.method == "POST" else None, person=found)
    if form.is_valid():
        ask_again(request)
        with refusals_on(form):
            services.roles_change(by=user, person=found, roles=form.cleaned_data["roles"])
            messages.success(request, _("Saved."))
            return redirect("members:person", pk=pk)
    return person_page(request, found, form)


@require_POST
def rename(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.grant_role")
    found = get_object_or_404(User.objects.get_queryset().with_roles(), pk=pk)
    form = NameForm(request.POST, person=found, action=request.path)
    if form.is_valid():
        with refusals_on(form):
            services.person_rename(by=user, person=found, **form.cleaned_data)
            messages.success(request, _("Saved."))
            return redirect("members:person", pk=pk)
    found.refresh_from_db(fields=["name"])
    return person_page(request, found, RolesForm(person=found), form)


def person_page(request: HttpRequest, found: User, form: RolesForm, name_form: NameForm | None = None) -> HttpResponse:
    user = signed_in(request)
    action = reverse("members:person-rename", args=[found.pk])
    name_form = name_form or NameForm(person=found, action=action)
    context = {
        "form": form,
        "name_form": name_form,
        "person": found,
        "is_self": found.pk == user.pk,
        "terms": role_terms(found),
        "addresses": AddressConsent.objects.waiting(timezone.now()).filter(address__user=found),
        "has_factor": Authenticator.objects.filter(user=found).exists(),
    }
    return render(request, "members/person.html", context)


@require_POST
def start_again(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.grant_role")
    found = get_object_or_404(User, pk=pk)
    ask_again(request)
    with refusals_as_messages(request):
        services.member_reactivate(by=user, person=found)
        messages.success(request, _("%(name)s is a member again.") % {"name": str(found)})
    return redirect("members:person", pk=pk)


@require_POST
def address_agree_for(request: HttpRequest, pk: int, consent_pk: int) -> HttpResponse:
    """For somebody who cannot open the mail to their old address any more."""
    user = allow(request, "members.grant_role")
    consent = get_object_or_404(AddressConsent.objects.waiting(timezone.now()).filter(address__user=pk), pk=consent_pk)
    ask_again(request)
    services.address_agree(by=user, consent=consent)
    get_adapter(request).confirm_email(request, consent.address)
    return redirect("members:person", pk=pk)


@require_POST
def lift_factors(request: HttpRequest, pk: int) -> HttpResponse:
    """For somebody who has lost their keys and codes."""
    user = allow(request, "members.grant_role")
    found = get_object_or_404(User, pk=pk)
    ask_again(request)
    services.second_factors_lift(by=user, person=found)
    messages.success(request, _("%(name)s signs in without a second factor until they set one up.") % {"name": found})
    return redirect("members:person", pk=pk)


# Naming a kitchen, and mending what is known of it.


@require_http_methods(["GET", "POST"])
def add(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    form = KitchenForm(request.POST or None, by=user)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            with refusals_on(form):
                kitchen = services.kitchen_add(
                    by=user, is_hall=data.get("is_hall", False), token=data["token"], **form.written()
                )
                # With the first kitchen a newcomer is done here; the desk says what can be done next.
                return saved(request, kitchen, then="desk:home" if user.kitchens.count() == 1 else "members:me")
        except services.SecondLook as look:  # it went back to mend what it had sent
            return second_look(request, form, look)
    is_first = not user.kitchens.exists()
    return render(request, "members/kitchen_add.html", {"form": form, "is_first": is_first})


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.usable_by(user), pk=pk)
    if not Kitchen.objects.changeable_by(user).filter(pk=pk).exists():
        raise PermissionDenied
    form = KitchenForm(request.POST or None, by=user, kitchen=kitchen)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                services.kitchen_change(by=user, kitchen=kitchen, **form.written())
                return saved(request, kitchen)
        except services.SecondLook as look:
            return second_look(request, form, look)
    return kitchen_page(request, kitchen, form)


def second_look(request: HttpRequest, form: KitchenForm, look: services.SecondLook) -> HttpResponse:
    """What was sent, once more, with what it lowers. A tick for other figures than these is none."""
    was_asked = form.cleaned_data["looked_at"] == look.before.pk
    form.data = request.POST.dict() | {"looked_at": str(look.before.pk)}
    context = {
        "form": form,
        "kitchen": look.before.kitchen,
        "before": look.before,
        "after": height_words(look.metres),
        "lowered": [(one.what.label, one.before, one.after) for one in look.lowered],
        "is_unticked": was_asked,
    }
    return render(request, "members/kitchen_lower.html", context)


ALTITUDES_SHOWN = 20


def kitchen_page(
    request: HttpRequest, kitchen: Kitchen, form: KitchenForm, person_form: KitchenPersonForm | None = None
) -> HttpResponse:
    user = signed_in(request)
    household = kitchen.household.select_related("user").order_by(Lower("user__name"), "pk")
    rows = [] if kitchen.is_hall else list(household)
    keeper = next((row.user for row in rows if row.is_keeper), None)
    action = reverse("members:kitchen-person-add", args=[kitchen.pk])
    context = {
        "form": form,
        "kitchen": kitchen,
        "household": rows,
        "keeper": keeper,
        "keeps": keeper == user,
        "invitations": kitchen.invitations.shown(timezone.now()) if rows else [],
        "altitudes": kitchen.altitudes.select_related("noted_by").reverse()[:ALTITUDES_SHOWN],
        "person_form": person_form or KitchenPersonForm(action=action),
    }
    return render(request, "members/kitchen_change.html", context)


@require_POST
def person_add(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.filter(is_hall=False, people=user), pk=pk)
    if not Kitchen.objects.kept_by(user).filter(pk=pk).exists():
        raise PermissionDenied
    form = KitchenPersonForm(request.POST, action=request.path)
    if form.is_valid():
        with refusals_on(form):
            services.kitchen_invite(by=user, kitchen=kitchen, email=form.cleaned_data["email"])
            params = {"email": form.cleaned_data["email"], "kitchen": kitchen.name}
            said = _(
                "If a member has the address %(email)s, they are asked now. With a yes they preserve in %(kitchen)s."
            )
            messages.success(request, said % params)
            return redirect("members:kitchen-change", pk=pk)
    return kitchen_page(request, kitchen, KitchenForm(by=user, kitchen=kitchen), form)


@require_POST
def person_remove(request: HttpRequest, pk: int, person_pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.filter(is_hall=False, people=user), pk=pk)
    person = get_object_or_404(kitchen.people.all(), pk=person_pk)
    with refusals_as_messages(request):
        services.household_remove(by=user, kitchen=kitchen, person=person)
        params = {"person": str(person), "kitchen": kitchen.name}
        messages.success(request, _("%(person)s is not of %(kitchen)s any more.") % params)
    return redirect("members:kitchen-change", pk=pk)


@require_POST
def hand_on(request: HttpRequest, pk: int, person_pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.filter(is_hall=False, people=user), pk=pk)
    person = get_object_or_404(kitchen.people.all(), pk=person_pk)
    with refusals_as_messages(request):
        services.household_hand_on(by=user, kitchen=kitchen, person=person)
        params = {"person": str(person), "kitchen": kitchen.name}
        messages.success(request, _("%(person)s keeps %(kitchen)s from now on.") % params)
    return redirect("members:kitchen-change", pk=pk)


@require_POST
def leave(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.filter(is_hall=False, people=user), pk=pk)
    with refusals_as_messages(request):
        services.household_leave(by=user, kitchen=kitchen)
        messages.success(request, _("You left %(kitchen)s.") % {"kitchen": kitchen.name})
        return redirect("members:me")
    return redirect("members:kitchen-change", pk=pk)


@require_POST
def invitation_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    invitations = KitchenInvitation.objects.filter(kitchen__people=user).select_related("kitchen")
    invitation = get_object_or_404(invitations, pk=pk)
    services.kitchen_invitation_withdraw(by=user, invitation=invitation)
    messages.success(request, _("%(email)s is not asked any more.") % {"email": invitation.email})
    return redirect("members:kitchen-change", pk=invitation.kitchen_id)


@require_POST
def invitation_answer(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    invitation = get_object_or_404(user.kitchen_invitations.select_related("kitchen"), pk=pk)
    accepts = request.POST.get("answer") == "accept"
    if not accepts and request.POST.get("answer") != "decline":
        return redirect("members:me")
    with refusals_as_messages(request):
        services.kitchen_invitation_answer(by=user, invitation=invitation, accept=accepts)
        said = _("You preserve in %(kitchen)s too now.") if accepts else _("You said no to %(kitchen)s.")
        messages.success(request, said % {"kitchen": invitation.kitchen.name})
    return redirect("members:me")


@require_POST
def choose(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    kitchen = get_object_or_404(Kitchen.objects.usable_by(user), pk=pk)
    services.kitchen_choose(by=user, kitchen=kitchen)
    said = _("Recipes and plans show their figures for %(kitchen)s, unless you choose another there.")
    messages.success(request, said % {"kitchen": kitchen.name})
    return redirect("members:me")


def saved(request: HttpRequest, kitchen: Kitchen, then: str = "members:me") -> HttpResponse:
    """Say back what was understood: a slip in the altitude is seen here or never."""
    if kitchen.altitude is None:
        said = _("%(kitchen)s is saved without an altitude. No process time is given for it until it has one.")
        messages.warning(request, said % {"kitchen": kitchen.name})
    else:
        said = _("%(kitchen)s is saved at %(altitude)s.")
        messages.success(request, said % {"kitchen": kitchen.name, "altitude": kitchen.altitude_words})
    return redirect(then)


# An invitation: opening it (public), sending it again, withdrawing it.


@login_not_required
@never_cache
@sensitive_post_parameters("password", "password_again")
@require_http_methods(["GET", "POST"])
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    try:
        found = invitation_for_token(token, now=timezone.now())
        if request.user.is_authenticated:
            return render(request, "members/invitation_signed_in.html", {"invitation": found}, status=409)
        return accept(request, token, found)
    except InvitationClosed as closed:
        return closed_page(request, token, closed.reason)


def accept(request: HttpRequest, token: str, found: Invitation) -> HttpResponse:
    form = AcceptForm(request.POST or None, initial={"name": found.name})
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        with refusals_on(form):
            user = services.invitation_accept(
                token=token, name=data["name"], password=data["password"], units=data["units"]
            )
            get_adapter(request).login(request, user)
            messages.success(request, _("Welcome to the club, %(name)s.") % {"name": user.name})
            return redirect("members:kitchen-add")
    return render(request, "members/invitation.html", {"form": form, "invitation": found})


def closed_page(request: HttpRequest, token: str, reason: Closed) -> HttpResponse:
    if isinstance(request.user, User) and reason is Closed.USED and was_accepted_by(token, request.user):
        return redirect("members:kitchen-add")
    # Gone, but for a link that we never made: that was never here.
    status = 404 if reason is Closed.FORGED else 410
    return render(request, "members/invitation_closed.html", {"reason": reason.value}, status=status)


@require_POST
def send_again(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.invite_member")
    found = get_object_or_404(Invitation, pk=pk)
    with refusals_as_messages(request):
        services.invitation_send_again(by=user, invitation=found)
        messages.success(request, _("A new link is on its way to %(email)s.") % {"email": found.email})
    return redirect("members:people")


@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.invite_member")
    found = get_object_or_404(Invitation, pk=pk)
    with refusals_as_messages(request):
        services.invitation_withdraw(by=user, invitation=found)
        messages.success(request, _("The invitation for %(email)s is withdrawn.") % {"email": found.email})
    return redirect("members:people")


# Who learned what, for those who teach it: a class waived with a reason, a record taken back.


@require_http_methods(["GET", "POST"])
def skills(request: HttpRequest) -> HttpResponse:
    user = allow(request, "members.note_skill")
    form = WaiveForm(request.POST or None, besides=user, wanted=request.GET.get("who", ""))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            record = services.skill_waive(by=user, **form.cleaned_data)
            params = {"name": str(record.person), "skill": record.get_skill_display()}
            messages.success(request, _("%(name)s, %(skill)s: waived.") % params)
            return redirect("members:skills")
    page = Paginator(SkillRecord.objects.valid().for_list(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "members/skills.html", {"form": form, "page": page})


@require_POST
def skill_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.note_skill")
    record = get_object_or_404(SkillRecord.objects.select_related("person"), pk=pk)
    if services.skill_withdraw(by=user, record=record):
        params = {"name": str(record.person), "skill": record.get_skill_display()}
        messages.success(request, _("%(name)s, %(skill)s: taken back.") % params)
    return redirect("members:skills")


# The people's ledger: for organisers everything, for a member what was done to them.


@require_safe
def ledger(request: HttpRequest) -> HttpResponse:
    allow(request, "members.grant_role")
    form = EventFilterForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    events = PersonEvent.objects.concerning(asked.get("person")).between(asked.get("first"), asked.get("last"))
    if asked.get("kind"):
        events = events.filter(kind=asked["kind"])
    return render(request, "members/ledger.html", {"form": form, "page": event_page(request, events)})


@require_safe
def my_ledger(request: HttpRequest) -> HttpResponse:
    events = PersonEvent.objects.about(signed_in(request))
    return render(request, "members/my_ledger.html", {"page": event_page(request, events)})


def event_page(request: HttpRequest, events: PersonEventQuerySet) -> Page[PersonEvent]:
    return Paginator(events.for_list(), PER_PAGE).get_page(request.GET.get("page"))


# The door to the street.

JOINS_SHOWN = 60


@require_http_methods(["GET", "HEAD", "POST"])
def street(request: HttpRequest) -> HttpResponse:
    """What who has no account may read, and whether they may."""
    user = allow(request, "members.grant_role")
    form = StreetForm(request.POST or None, instance=street_page())
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            row = services.street_change(by=user, **form.cleaned_data)
            messages.success(request, _("The door is open.") if row.is_open else _("The door is shut."))
            return redirect("members:street")
    return render(request, "members/street.html", {"form": form, "street": street_page()})


@login_not_required  # for who has no account
@require_http_methods(["GET", "HEAD", "POST"])
def join(request: HttpRequest) -> HttpResponse:
    """The same words whoever asks, and whether or not their address is known."""
    page = street_page()
    if not page.is_open:
        raise Http404
    form = JoinForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        if not may_ask_to_join(request):
            return render(request, "429.html", status=429)
        services.join_ask(**form.cleaned_data)
        messages.success(request, _("Thank you. An organiser of the club reads it and writes to you."))
        return redirect("members:join")
    return render(request, "members/join.html", {"form": form, "street": page})


@require_safe
def joins(request: HttpRequest) -> HttpResponse:
    allow(request, "members.invite_member")
    asked = JoinRequest.objects.filter(state=JoinState.ASKED)[:JOINS_SHOWN]
    answered = JoinRequest.objects.exclude(state=JoinState.ASKED).select_related("answered_by")
    context = {"asked": asked, "answered": answered.order_by("-answered_at")[:10]}
    return render(request, "members/joins.html", context)


@require_POST
def join_answer(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.invite_member")
    found, invite = get_object_or_404(JoinRequest, pk=pk), request.POST.get("answer") == "invite"
    try:
        with refusals_as_messages(request):
            services.join_answer(by=user, request=found, invite=invite)
            if invite:
                messages.success(request, _("An invitation is on its way to %(email)s.") % {"email": found.email})
            else:
                messages.success(request, _("Declined. The site writes nothing to them: do so yourself, if you can."))
    except AlreadyDone as done:
        messages.info(request, str(done))
    return redirect("members:joins")
