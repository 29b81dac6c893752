"""The library, a recipe, its plan, a change to it; drafts and their review; prices."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from functools import partial
from importlib import import_module
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.clock import club_day
from club.core.http import allow, refusals_as_messages, refusals_on, signed_in
from club.core.money import money_text
from club.members.choices import Role
from club.members.models import Kitchen, User
from recipes import services
from recipes.charts import MOST_LINES, altitude_svg, tall_svg, timeline_svg
from recipes.engine import Plan
from recipes.engine.changes import GRAMMAR_HELP, Ruling, Verdict, allowed_by, check_changes
from recipes.engine.document import DocumentError
from recipes.engine.quantities import JAR_ML, JAR_SIZES, format_number
from recipes.engine.terms import TestedRecipe
from recipes.engine.yields import counted_between, prior_of
from recipes.forms.drafts import (
    AcidForm,
    DraftForm,
    FoodForm,
    LibraryTextForm,
    PublishForm,
    ReasonForm,
    WithdrawForm,
    can_edit,
)
from recipes.forms.plans import ChangesForm, PlanForm, PriceForm, SearchForm, TableSearchForm, ViewForm
from recipes.library import recipe_as_text
from recipes.models import Price, ProcessTable, Recipe, Revision, RevisionState
from recipes.papers import recipe_sheet_pdf, why_no_sheet
from recipes.planning import PlanInput, jar_at_hand, plan_for
from recipes.presentation import (
    LearnedYield,
    acid_lines,
    band_tables,
    cost_details,
    day_summary,
    detail_lines,
    hand_words,
    headspace_text,
    ingredient_lines,
    jar_texts,
    kitchen_points,
    learned_yield,
    load_lines,
    low_temperature_words,
    minute_format,
    plan_lines,
    plan_steps,
    pot_jars,
    process_details,
    process_here,
    processes_by_size,
    reach_of,
    start_query,
    step_lines,
    step_words,
    volume_text,
    yield_details,
)
from recipes.safety import food_of, panel_of
from recipes.shopping import PACKAGES, cost_of, shopping_list

# Reading the library: the list, a recipe at its current or an older revision, and the process tables.

PAGE = 30


@require_safe
def recipe_list(request: HttpRequest) -> HttpResponse:
    form = SearchForm(request.GET)
    page = Paginator(form.found(), PAGE).get_page(request.GET.get("page"))
    recipes = Recipe.objects.published().filter(pk__in=[row.pk for row in page])
    return render(request, "recipes/list.html", {"form": form, "page": page, "recipes": recipes})


@require_safe
def recipe(request: HttpRequest, slug: str) -> HttpResponse:
    found = get_object_or_404(Recipe.objects.readable(), slug=slug)
    numbered = found.revisions.numbered().select_related("recipe", "withdrawn_by")
    shown = numbered.get(pk=found.current_id) if found.current_id else numbered.latest("number")
    return render(request, "recipes/recipe.html", recipe_context(request, shown))


@require_safe
def sheet(request: HttpRequest, slug: str) -> HttpResponse:
    """The recipe on one page for the wall, with the process of the kitchen that the query names."""
    found = get_object_or_404(Recipe.objects.readable().filter(current__isnull=False), slug=slug)
    shown = get_object_or_404(found.revisions.numbered().select_related("recipe"), current_of=found)
    form = ViewForm(request.GET, user=signed_in(request))
    kitchen = form.chosen_kitchen
    if why := why_no_sheet(shown, kitchen):
        messages.error(request, why)
        return redirect("recipes:recipe", slug)
    data = recipe_sheet_pdf(shown, kitchen, units=form.chosen_units, printed=club_day())
    return HttpResponse(data, "application/pdf", headers={"Content-Disposition": f'inline; filename="{slug}.pdf"'})


@require_safe
def revision(request: HttpRequest, slug: str, number: int) -> HttpResponse:
    numbered = Revision.objects.numbered().select_related("recipe", "withdrawn_by")
    shown = get_object_or_404(numbered, recipe__slug=slug, number=number)
    return render(request, "recipes/recipe.html", recipe_context(request, shown))


def may_read_drafts(request: HttpRequest) -> bool:
    user = signed_in(request)
    return user.has_perm(WRITE) or user.has_perm(REVIEW)


def recipe_context(request: HttpRequest, shown: Revision) -> dict[str, Any]:
    """Everything the recipe page says about one revision, for the kitchen and units that the query asks for."""
    form = ViewForm(request.GET, user=signed_in(request))
    kitchen, tested = form.chosen_kitchen, shown.tested
    altitude = kitchen.altitude if kitchen else None
    tables = band_tables(tested.process, altitude, tested)
    return {
        "form": form,
        "kitchen": kitchen,
        "recipe": shown.recipe,
        "revision": shown,
        "tested": tested,
        "headspace": headspace_text(tested.headspace_in),
        "yield_low": format_number(tested.stated_yield.low),
        "yield_high": format_number(tested.stated_yield.high),
        "hard_boil_minutes": format_number(tested.hard_boil.minutes) if tested.hard_boil else "",
        "lines": ingredient_lines(tested, form.chosen_units),
        "recipe_steps": step_words(tested, tested.steps, form.chosen_units),
        "details": detail_lines(tested),
        "tables": tables,
        "process_here": process_here(tables),
        "altitudes": _altitude_picture(tested, kitchen, metric=form.chosen_units == "metric"),
        "points": kitchen_points(altitude, tested),
        "panel": panel_of(tested, altitude),
        "reach": reach_of(shown) if shown.is_unsafe else None,
        "acid": acid_lines(tested, services.sheet_of(tested)) if may_read_drafts(request) else None,
        "history": shown.recipe.revisions.numbered().order_by("-number"),
        "learned": _learned(request, shown, None, tested.stated_yield.jar),
    }


def _altitude_picture(tested: TestedRecipe, kitchen: Kitchen | None, *, metric: bool) -> str:
    """Of the first pack that boiling water has times for, its largest jars."""
    seen = [row for row in tested.process if row.seen.is_seen and row.minutes_bands and not row.only_for]
    rows = sorted((row for row in seen if row.pack is seen[0].pack), key=lambda row: JAR_SIZES.index(row.jar))
    name, altitude = (kitchen.name, kitchen.altitude) if kitchen else ("", None)
    # Safe: every text in the picture is escaped where it is drawn.
    return mark_safe(altitude_svg(rows[-MOST_LINES:], altitude, kitchen=name, metric=metric))


@require_safe
def process_tables(request: HttpRequest) -> HttpResponse:
    form = TableSearchForm(request.GET, user=signed_in(request))
    kitchen = form.chosen_kitchen
    page = Paginator(form.found(), PAGE).get_page(request.GET.get("page"))
    altitude = kitchen.altitude if kitchen else None
    shown = [
        (
            row,
            band_tables(row.table.rows, altitude, row.table),
            headspace_text(row.table.headspace_in),
            detail_lines(row.table),
            not row.is_held_back and services.stands_alone(row),
        )
        for row in page
    ]
    return render(
        request, "recipes/process_tables.html", {"form": form, "kitchen": kitchen, "page": page, "shown": shown}
    )


@require_POST
def table_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """From a table to the plan of what it makes; from there on it is planned and logged as any recipe."""
    user = signed_in(request)
    table = get_object_or_404(ProcessTable.objects.visible_to(user), pk=pk)
    with refusals_as_messages(request):
        return redirect("recipes:plan", services.table_revision(by=user, table=table).recipe.slug)
    return redirect("recipes:process-tables")


# May I change this? A verdict on each change somebody would like to make to a recipe.

# The class of the mark, its sign and its words: never by colour alone.
MARKS = {
    Ruling.FINE: ("go", "✓", _("fine")),
    Ruling.QUALITY: ("wait", "~", _("safe, but less good")),
    Ruling.REFUSED: ("stop", "✗", _("refused")),
}
# A text about an accident is no change: its answer is a page of the batches, by the name of what happened there.
WENT_WRONG = {
    "ACCIDENT-UNSEALED": "unsealed",
    "ACCIDENT-STOOD": "unsealed",
    "ACCIDENT-PRESSURE": "heat-fell",
    "ACCIDENT-POWER": "power-cut",
    "ACCIDENT-SIPHON": "siphoned-half",
    "ACCIDENT-BROKEN": "jar-broke",
    "ACCIDENT-SPOILED": "mould",
    "ACCIDENT-DRY": "boiled-dry",
    "ACCIDENT-GAUGE": "gauge-high",
    "ACCIDENT-ACID": "acid-forgotten",
    "ACCIDENT-JAR": "jar-larger",
    "ACCIDENT-HEADSPACE": "headspace-much",
    "ACCIDENT-SET": "not-set",
    "ACCIDENT-CLOUDY": "pickles-cloudy",
    "ACCIDENT-SOFT": "pickles-soft",
    "ACCIDENT-THAWED": "thawed-warm",
    "ACCIDENT-PROCESS": "",
    "ACCIDENT-OTHER": "",
}
NOT_PRINTED = ("no source", "from memory")  # what has no print behind it is not cited
TOGETHER = {
    Ruling.FINE: _("All of this may be changed."),
    Ruling.QUALITY: _("This is safe, and the jars will set, keep, look or taste less well."),
    Ruling.REFUSED: _("Please do not make it so: at least one of these changes is refused, or was not understood."),
}


@require_safe
def changes(request: HttpRequest, slug: str) -> HttpResponse:
    """All that is asked stands in the address. Only a recipe with a published revision has this page."""
    revision = get_object_or_404(Revision.objects.current().select_related("recipe"), recipe__slug=slug)
    tested = revision.tested
    form = ChangesForm(request.GET if "change" in request.GET else None, recipe=tested)
    context = {"recipe": revision.recipe, "revision": revision, "tested": tested, "form": form}
    if form.is_bound and form.is_valid():
        checked = check_changes(tested, form.asked)
        unread = any(verdict.nearest for verdict in checked.verdicts)
        context |= {
            "answers": [_answer(verdict) for verdict in checked.verdicts],
            "together": TOGETHER[checked.verdict],
            "mark": MARKS[checked.verdict],
            "food": food_of(tested),
            "instructors": User.objects.get_queryset().holding(Role.INSTRUCTOR).in_order()[:3] if unread else [],
        }
    return render(request, "recipes/changes.html", context | {"grammar": GRAMMAR_HELP, "allowed": allowed_by(tested)})


def _answer(verdict: Verdict) -> dict[str, object]:
    """A verdict with its mark. Where a text was not understood nothing is refused, and the mark says so."""
    kind, sign, words = ("stop", "?", _("not understood")) if verdict.nearest else MARKS[verdict.verdict]
    went_wrong = WENT_WRONG.get(verdict.rule)
    printed = "; ".join(part for part in verdict.source.split("; ") if not any(word in part for word in NOT_PRINTED))
    return {
        "verdict": verdict,
        "kind": kind,
        "sign": sign,
        "words": words,
        "went_wrong": went_wrong,
        "source": printed,
    }


def _learned(request: HttpRequest, shown: Revision, planned_ml: Fraction | None, jar: str) -> LearnedYield | None:
    """Jars to have ready, by the published figures and the logs; for one pot where no volume is planned."""
    prior = prior_of(shown.tested) if shown.tested.is_tested else None
    if prior is None:
        return None
    batches = import_module(settings.BATCHES_OF_RECIPES).Batch.objects
    logged, is_club = batches.logged_of(shown.recipe, signed_in(request), counted_between(prior.share))
    volume = Fraction(prior.jars) * JAR_ML[jar] if planned_ml is None else planned_ml
    return learned_yield(shown.tested, prior, logged, is_club=is_club, planned_ml=volume, jar=jar)


# From a recipe to a plan; all that is asked for stands in the address, so that it can be shared and reloaded.


@require_safe
def plan(request: HttpRequest, slug: str) -> HttpResponse:
    """The form, and below it the plan once one is asked for. Only a recipe with a published revision has this page."""
    revision = get_object_or_404(Revision.objects.current().select_related("recipe"), recipe__slug=slug)
    is_asked, user = PlanForm.is_asked(request.GET), signed_in(request)
    canners = import_module(settings.CANNERS_OF_PLANS)
    form = PlanForm(
        request.GET if is_asked else None,
        user=user,
        recipe=revision.tested,
        codes=partial(canners.canner_codes, user),
        initial=request.GET.dict(),
    )
    context = {"recipe": revision.recipe, "revision": revision, "tested": revision.tested, "form": form}
    context["came_out"] = import_module(settings.NOTES_OF_PLANS).came_out_before(user, revision)
    if is_asked and form.is_valid():
        kitchen, wanted, code = form.asked_kitchen, form.plan_input, form.cleaned_data["canner_code"]
        at_hand, today = import_module(settings.AT_HAND_OF_PLANS), club_day(timezone.now())

        def planned(wanted: PlanInput) -> tuple[Plan, list[str]]:
            if not code:
                return plan_for(revision=revision, altitude=kitchen.altitude, **wanted), []
            asked = {"user": user, "code": code, "altitude": kitchen.altitude, "wanted": wanted, "on": today}
            found: tuple[Plan, list[str]] = canners.plan_with_canner(revision=revision, **asked)
            return found

        made, problems = planned(wanted)
        empties = at_hand.empties_in(kitchen) if made.ok else {}
        asked = form.asked
        if made.ok and (jar := jar_at_hand(revision, made, wanted, empties)):
            other, _problems = planned(PlanInput(**{**wanted, "jar": jar}))
            if other.ok:
                made, context["instead_of"], asked = other, jar_texts(made), asked | {"jar": jar}
        if problems:
            form.add_error("canner_code", problems)
        else:
            context |= plan_context(request, revision, kitchen, made, asked)
            if made.ok:
                needed = at_hand.needed_for(made, user=user, kitchen=kitchen, empties=empties, on=today)
                context["missing"] = [one for one in needed if one.lacks]
                context["there"] = [one for one in needed if not one.lacks]
    return render(request, "recipes/plan.html", context)


def plan_context(
    request: HttpRequest, revision: Revision, kitchen: Kitchen, made: Plan, asked: Mapping[str, str]
) -> dict[str, Any]:
    units = signed_in(request).units
    context = {
        "plan": made,
        "kitchen": kitchen,
        "points": kitchen_points(kitchen.altitude, revision.tested),
        "panel": panel_of(revision.tested, kitchen.altitude),
        "lines": plan_lines(made, units),
        "recipe_steps": step_words(made.recipe, plan_steps(made), units),
        "look_up": made.look_up,
        "process": process_details(made.process),
        "low_temperature": low_temperature_words(made.low_temperature),
        "processes": processes_by_size(made),
        "jars": ", ".join(jar_texts(made)),
        "leftover": volume_text(made.leftover_ml),
        "yields": yield_details(made),
        "learned": _learned(request, revision, made.filled_ml, made.jars[0].size) if made.jars else None,
        "pot_jars": pot_jars(made),
        "start_query": start_query(revision.pk, asked),
    }
    if not made.ok:
        return context
    purchases = shopping_list(made, units)
    prices = Price.objects.known_of(purchase.item for purchase in purchases)
    title = f"{made.recipe.title}: {day_summary(made)}"
    return context | {
        "loads": load_lines(made),
        "day": day_summary(made),
        "steps": step_lines(made),
        "hands": hand_words(made, units),
        # Safe: every text in the picture is escaped where it is drawn.
        "picture": made.day and mark_safe(timeline_svg(made.day, title=title, when=minute_format(made), prefix="plan")),
        "tall_picture": made.day
        and mark_safe(tall_svg(made.day, title=title, when=minute_format(made), prefix="plan-tall")),
        "shopping": purchases,
        "cost": cost_details(cost_of(purchases, prices, made.jars)),
    }


# What things cost: everybody in the club reads it, keepers and organisers note it.

NOTE = "recipes.add_price"


@require_http_methods(["GET", "POST"])
def prices(request: HttpRequest) -> HttpResponse:
    """The current prices. `?item=` fills the form in from a shopping list."""
    user = signed_in(request)
    may_note = user.has_perm(NOTE)
    if request.method == "POST":
        allow(request, NOTE)
    form = PriceForm(request.POST or None, initial={"item": request.GET.get("item", "")[:80]})
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            noted = services.price_note(by=user, **form.written())
            messages.success(
                request, gettext("Noted: %(what)s for %(price)s.") % {"what": noted, "price": money_text(noted.cents)}
            )
            return redirect("recipes:prices")
    rows = [(price, money_text(price.cents)) for price in Price.objects.current().select_related("by")]
    known = sorted({*PACKAGES, *(price.item for price, _money in rows)})
    return render(
        request, "recipes/prices.html", {"form": form if may_note else None, "prices": rows, "known_things": known}
    )


# Writing drafts: the list, a new one, one from a revision, and changing one's own.

WRITE = "recipes.draft_revision"
REVIEW = "recipes.review_revision"


@require_safe
def draft_list(request: HttpRequest) -> HttpResponse:
    allow(request, WRITE, REVIEW)
    drafts = list(Revision.objects.drafts().select_related("recipe", "author").order_by("-created_at"))
    return render(
        request,
        "recipes/drafts.html",
        {
            "waiting": [d for d in drafts if d.state == RevisionState.IN_REVIEW],
            "drafts": [d for d in drafts if d.state == RevisionState.DRAFT and not d.is_held_back],
            "held_back": [d for d in drafts if d.is_held_back],
            "refused": Revision.objects.published().exclude(refused_why="").select_related("recipe"),
        },
    )


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    return _write(request, from_revision=None)


@require_http_methods(["GET", "POST"])
def start_from(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, WRITE)
    revision = get_object_or_404(Revision.objects.visible_to(user).select_related("recipe"), pk=pk)
    if not can_edit(revision.content):
        messages.error(
            request,
            gettext(
                "This form has no fields for its altitude bands, or its yield. Write the draft in the library's format."
            ),
        )
        return redirect("recipes:drafts")
    return _write(request, from_revision=revision)


def _write(request: HttpRequest, *, from_revision: Revision | None) -> HttpResponse:
    user = allow(request, WRITE)
    form = DraftForm(request.POST or None, document=from_revision.content if from_revision else None)

    def keep() -> Revision:
        return services.revision_draft(
            by=user,
            content=form.content,
            from_revision=from_revision,
            seen_statement=form.statement,
            token=form.token.cleaned_data["token"],
        )

    if made := _kept(request, form, keep):
        messages.success(request, gettext("The draft is kept. Look it over, then hand it in for review."))
        return redirect("recipes:draft", made.pk)
    return render(request, "recipes/draft_form.html", {"form": form, "from_revision": from_revision})


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, WRITE)
    draft = get_object_or_404(Revision.objects.drafts().select_related("recipe"), pk=pk)
    if draft.author_id != user.pk:
        raise PermissionDenied
    form = DraftForm(request.POST or None, document=draft.content, statement=draft.seen_statement, is_own=True)

    def keep() -> Revision:
        return services.revision_change(by=user, revision=draft, content=form.content, seen_statement=form.statement)

    if _kept(request, form, keep):
        messages.success(request, gettext("Saved."))
        return redirect("recipes:draft", draft.pk)
    return render(request, "recipes/draft_form.html", {"form": form, "draft": draft})


def _kept(request: HttpRequest, form: DraftForm, keep: Callable[[], Revision]) -> Revision | None:
    """What `keep` made of a valid form; None when the form is to be shown (again), with whatever is wrong in it."""
    if request.method != "POST" or form.add_to or not form.is_valid():
        return None
    return _tried(form, keep)


def _tried(form: DraftForm | LibraryTextForm, keep: Callable[[], Revision]) -> Revision | None:
    """What `keep` made; None where it was refused, which the form then says."""
    try:
        return keep()
    except DocumentError as error:
        form.add_problems(error.problems)
    except ValidationError as error:
        form.add_refusal(error)
    return None


# The same as text in the library's format, for figures that the form has no fields for.


@require_http_methods(["GET", "POST"])
def new_as_text(request: HttpRequest) -> HttpResponse:
    user = allow(request, WRITE)
    form = LibraryTextForm(request.POST or None, request.FILES or None)
    said = form.cleaned_data if form.is_valid() else {}

    def keep() -> Revision:
        statement, token = said["seen_statement"], said["token"]
        return services.revision_draft(by=user, content=said["content"], seen_statement=statement, token=token)

    if said and (made := _tried(form, keep)):
        messages.success(request, gettext("The draft is kept. Look it over, then hand it in for review."))
        return redirect("recipes:draft", made.pk)
    return render(request, "recipes/draft_text.html", {"form": form})


@require_http_methods(["GET", "POST"])
def change_as_text(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, WRITE)
    draft = get_object_or_404(Revision.objects.drafts().select_related("recipe"), pk=pk)
    if draft.author_id != user.pk:
        raise PermissionDenied
    initial = {"text": recipe_as_text(draft.content), "seen_statement": draft.seen_statement}
    form = LibraryTextForm(request.POST or None, request.FILES or None, initial=initial)
    said = form.cleaned_data if form.is_valid() else {}

    def keep() -> Revision:
        statement = said["seen_statement"]
        return services.revision_change(by=user, revision=draft, content=said["content"], seen_statement=statement)

    if said and _tried(form, keep):
        messages.success(request, gettext("Saved."))
        return redirect("recipes:draft", draft.pk)
    return render(request, "recipes/draft_text.html", {"form": form, "draft": draft})


# A draft as its readers see it, and what moves it: submit, send back, publish; and withdrawing what is published.

WITHDRAW = "recipes.withdraw_revision"
BY_REASON = {"": "reason"}  # what a service refuses stands beside the reason


def _draft(pk: int) -> Revision:
    return get_object_or_404(Revision.objects.select_related("recipe", "author"), pk=pk)


@require_safe
def draft(request: HttpRequest, pk: int) -> HttpResponse:
    """A draft in full. One that was published meanwhile is found at its own page."""
    allow(request, WRITE, REVIEW)
    shown = _draft(pk)
    if shown.number is not None:
        return redirect("recipes:revision", shown.recipe.slug, shown.number)
    return _show(request, shown, ReasonForm(label=gettext("What should be changed")))


def _show(
    request: HttpRequest, shown: Revision, note_form: ReasonForm, food_form: FoodForm | None = None
) -> HttpResponse:
    findings = services.findings_of(shown.tested)
    unknown = [found.unknown for found in findings if found.unknown]
    context = {
        **recipe_context(request, shown),
        "findings": findings,
        "asks_statement": any(found.by_statement for found in findings),
        "acid_form": AcidForm(),
        "food_form": food_form or (FoodForm(words=unknown) if unknown else None),
        "note_form": note_form,
        "is_author": shown.author_id == request.user.pk,
    }
    return render(request, "recipes/draft.html", context)


@require_POST
def submit(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, WRITE)
    return _move(request, pk, gettext("Handed in for review."), lambda d: services.revision_submit(by=user, revision=d))


@require_POST
def publish(request: HttpRequest, pk: int) -> HttpResponse:
    """The form says which content the reviewer saw, so that no later change slips in."""
    user = allow(request, REVIEW)
    sent = request.POST.copy()
    sent["seen_digest"] = sent.get("seen_digest", "").replace("\0", "")  # PostgreSQL takes no text with a NUL in it
    form = PublishForm(sent)
    if not form.is_valid():  # too long a word on the acid, or a digest that is none
        return _second_look(request, _draft(pk), form)
    asked = {"acid_seen": form.cleaned_data["acid_seen"], "seen_digest": form.cleaned_data["seen_digest"] or "unseen"}
    if form.cleaned_data["confirmed"]:
        return _move(
            request, pk, gettext("Published."), lambda d: services.revision_publish(by=user, revision=d, **asked)
        )
    with refusals_as_messages(request):
        services.revision_publish_check(by=user, revision=_draft(pk), **asked)
        if "second_look" in request.POST:
            form.add_error("confirmed", gettext("Say that you have read this, and tick it."))
        return _second_look(request, _draft(pk), form)
    return redirect("recipes:draft", pk)


def _second_look(request: HttpRequest, shown: Revision, form: PublishForm) -> HttpResponse:
    """What publishing does for good, before it is done."""
    context = {
        "form": form,
        "revision": shown,
        "tested": shown.tested,
        "number": services.next_number(shown.recipe),
        "current": Revision.objects.current().filter(recipe=shown.recipe_id).first(),
        "acid": acid_lines(shown.tested, services.sheet_of(shown.tested)),
        "statement": form.cleaned_data.get("acid_seen", ""),
    }
    return render(request, "recipes/publish.html", context)


@require_POST
def class_food(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, REVIEW)
    shown = _draft(pk)
    findings = services.findings_of(shown.tested)
    form = FoodForm(request.POST, words=[found.unknown for found in findings if found.unknown])
    if form.is_valid():
        with refusals_on(form):
            services.food_classify(by=user, revision=shown, **form.cleaned_data)
            messages.success(request, gettext("Classed. What still speaks against the draft stands below."))
            return redirect("recipes:draft", pk)
    return _show(request, shown, ReasonForm(label=gettext("What should be changed")), form)


def _move(request: HttpRequest, pk: int, message: str, move: Callable[[Revision], Any]) -> HttpResponse:
    """A button without a form of its own: a refusal becomes a message on the draft's page."""
    with refusals_as_messages(request):
        move(_draft(pk))
        messages.success(request, message)
    return redirect("recipes:draft", pk)


@require_POST
def send_back(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, REVIEW)
    shown = _draft(pk)
    form = ReasonForm(request.POST, label=gettext("What should be changed"))
    if form.is_valid():
        with refusals_on(form, BY_REASON):
            services.revision_send_back(by=user, revision=shown, note=form.cleaned_data["reason"])
            messages.success(request, gettext("Sent back to its author."))
            return redirect("recipes:draft", pk)
    return _show(request, shown, form)


@require_http_methods(["GET", "POST"])
def withdraw(request: HttpRequest, slug: str, number: int) -> HttpResponse:
    user = allow(request, WITHDRAW)
    shown = get_object_or_404(Revision.objects.numbered().select_related("recipe"), recipe__slug=slug, number=number)
    if shown.is_unsafe:
        messages.info(request, gettext("This revision was withdrawn before."))
        return redirect("recipes:revision", slug, number)
    reach = reach_of(shown)
    form = WithdrawForm(
        request.POST or None,
        calls_back=reach.words if reach.jars else "",
        is_withdrawn=shown.state == RevisionState.WITHDRAWN,
    )
    if request.method == "POST" and form.is_valid():
        with refusals_on(form, BY_REASON):
            services.revision_withdraw(
                by=user, revision=shown, reason=form.cleaned_data["reason"], for_editing=form.for_editing
            )
            messages.success(request, gettext("Withdrawn. The page says so to everybody who opens it."))
            return redirect("recipes:revision", slug, number)
    context = {"form": form, "revision": shown, "recipe": shown.recipe, "reach": reach}
    return render(request, "recipes/withdraw.html", context)
