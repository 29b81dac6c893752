"""The first page, the search, pages that bring rooms together, what the club keeps of people, and leaving it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from club.core.clock import club_day
from club.core.http import allow, ask_again, refusals_on, signed_in
from club.core.middleware import permissions
from club.core.photos import codes_in_photo
from club.desk.dashboard import desk_for
from club.desk.download import everything_of
from club.desk.forms import CodePhotoForm, LeaveForm, PrivacyForm, SuggestionsForm
from club.desk.leaving import membership_end, what_follows
from club.desk.retention import RETENTION
from club.desk.search import LONGEST_CODE, found_for, meant_by_code
from club.desk.suggestions import suggestions_for
from club.members import services as members
from club.members.models import User, privacy_of_the_club
from club.season.models import households_of
from club.season.presentation import shelves_of
from inventory.batches.models import JarOffer
from inventory.batches.services import to_answer
from inventory.fruit.models import FreezerItem, Offer
from inventory.fruit.rules import MEASURE_RULES, NO_ADDED_SUGAR
from inventory.fruit.services import produce_words
from inventory.jars.models import ClubOrder

MOST_OF_A_ROOM = 6  # rows of one kind on a page that brings several rooms together


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    context = {"desk": desk_for(user, now=timezone.now()), "recalls": to_answer(user)}
    return render(request, "desk/home.html", context)


@require_safe
def pantry(request: HttpRequest) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    kitchens = list(households_of(user))
    frozen = FreezerItem.objects.visible_to(user).there()
    lots = list(frozen.oldest_first()[: MOST_OF_A_ROOM + 1])
    context = {
        "shelves": shelves_of(kitchens, now=now),
        "lots": [(item, item.shelf_life, item.age_on(club_day(now))) for item in lots[:MOST_OF_A_ROOM]],
        "more_lots": len(lots) > MOST_OF_A_ROOM,
    }
    return render(request, "desk/pantry.html", context)


@require_safe
def sharing(request: HttpRequest) -> HttpResponse:
    """What others can spare, and what is bought together: of each as much as fits, and the way to the rest."""
    user, now = signed_in(request), timezone.now()
    fruit = Offer.objects.visible_to(user).claimable(now).for_list(user).spoils_first()
    jars = JarOffer.objects.open().sound().for_list()
    orders = ClubOrder.objects.visible_to(user).with_mine(user).going_on().order_by("closes_at", "pk")
    context = {
        "offers": fruit[:MOST_OF_A_ROOM],
        "jar_offers": jars[:MOST_OF_A_ROOM],
        "orders": orders[:MOST_OF_A_ROOM],
        "today": club_day(now),
    }
    return render(request, "desk/sharing.html", context)


@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """Everything, by words or a code. As one types only the results are sent; a whole code leads there at once."""
    found = found_for(signed_in(request), request.GET.get("q", ""), now=timezone.now())
    if request.headers.get("HX-Request") == "true":
        return render(request, "desk/parts/found.html", {"found": found})
    if found.at_once:
        return redirect(found.at_once)
    return render(request, "desk/find.html", {"found": found})


@require_http_methods(["GET", "HEAD", "POST"])
def camera(request: HttpRequest) -> HttpResponse:
    """A code on a label, typed, read by the browser's camera or out of a picture that is sent: leads to what it means.

    A picture with several codes leads nowhere by itself: the page asks which.
    """
    user = signed_in(request)
    form = CodePhotoForm(request.POST or None, request.FILES or None)
    codes, asked = [], request.GET.get("code", "")
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            codes = codes_in_photo(form.cleaned_data["photo"].read())
            if not codes:
                form.add_error("photo", _("No code was found. Hold the camera closer, straight, in good light."))
    elif asked:
        codes = [asked]
    found = list(dict.fromkeys(hit for code in codes if (hit := meant_by_code(user, code))))
    if len(found) == 1:
        return redirect(found[0].url)
    is_unknown = bool(codes) and not found
    context = {"form": form, "asked": asked[:LONGEST_CODE], "found": found, "is_unknown": is_unknown}
    answer = render(request, "desk/camera.html", context, status=404 if is_unknown else 200)
    answer.headers["Permissions-Policy"] = permissions(camera=True)
    return answer


@require_safe
def make(request: HttpRequest) -> HttpResponse:
    """Everything stands in the address, so that it can be gone back to."""
    user = signed_in(request)
    form = SuggestionsForm(request.GET, user=user)
    kitchen = form.chosen_kitchen
    context: dict[str, Any] = {
        "form": form,
        "kitchen": kitchen,
        "words": produce_words(),
        "measure_rules": MEASURE_RULES,
        "no_sugar": NO_ADDED_SUGAR,
    }
    if kitchen is not None and form.is_valid():
        context["asked"] = bool(form.fresh)
        context["suggestions"] = suggestions_for(
            user, kitchen, form.fresh, with_freezer=form.with_freezer, today=club_day()
        )
    return render(request, "desk/suggestions.html", context)


# What the club keeps of people; a member's own file; the end of a membership.


@login_not_required  # also for who is asked to join, before they say yes
@require_safe
def privacy(request: HttpRequest) -> HttpResponse:
    context = {"privacy": privacy_of_the_club(), "rows": RETENTION}
    return render(request, "desk/privacy.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def privacy_change(request: HttpRequest) -> HttpResponse:
    user = allow(request, "members.grant_role")
    form = PrivacyForm(request.POST or None, instance=privacy_of_the_club())
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            members.privacy_change(by=user, **form.cleaned_data)
            messages.success(request, _("Saved."))
            return redirect("desk:privacy")
    return render(request, "desk/privacy_change.html", {"form": form})


@require_http_methods(["GET", "HEAD", "POST"])
def my_data(request: HttpRequest) -> HttpResponse:
    if request.method != "POST":
        return render(request, "desk/my_data.html")
    ask_again(request)
    headers = {"Content-Disposition": 'attachment; filename="everything.zip"'}
    return HttpResponse(everything_of(by=signed_in(request)), content_type="application/zip", headers=headers)


@require_http_methods(["GET", "HEAD", "POST"])
def leave(request: HttpRequest) -> HttpResponse:
    return _leave(request, signed_in(request))


@require_http_methods(["GET", "HEAD", "POST"])
def leave_of(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, "members.grant_role")
    person = get_object_or_404(User, pk=pk)
    return redirect("desk:leave") if person.pk == user.pk else _leave(request, person)


def _leave(request: HttpRequest, person: User) -> HttpResponse:
    by, form = signed_in(request), LeaveForm(request.POST or None)
    if request.method == "POST":
        ask_again(request)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            membership_end(by=by, person=person)
            messages.success(request, _("The membership of %(name)s has ended.") % {"name": person})
            if by.pk != person.pk:
                return redirect("members:person", pk=person.pk)
            logout(request)
            return redirect("account_login")
    context = {"form": form, "person": person, "is_own": by.pk == person.pk, "steps": what_follows(person)}
    return render(request, "desk/leave.html", context)
