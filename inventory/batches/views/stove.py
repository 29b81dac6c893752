"""The cook's page: one step a screen, its presses, what a phone keeps of it, and the list of what is under way."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from club.core.clock import zoned_text
from club.core.http import messages_by_field, refusals_as_messages, signed_in
from club.members.models import User
from inventory.batches import services
from inventory.batches.accidents import WORDS, Situation, answer_for, food_of_batch
from inventory.batches.charts import icon_png
from inventory.batches.choices import PRESSES_TO_TAKE_BACK, BatchState, Cover, Moisture, PressKind, Scum, Smell
from inventory.batches.forms import KeptPressForm, PressForm
from inventory.batches.models import Batch, BatchHand
from inventory.batches.rules import CLOCK_SLACK, sizes_covered
from inventory.batches.stove import Course, KeptCourse, StoveStep, amounts_of, course_of
from inventory.batches.tracing import is_called_back
from inventory.batches.views.batches import batch_at_the_stove, whose_store
from recipes.choices import JARS

MOST_AT_ONCE = 100  # presses in one message of a phone; it sends the rest in the next


def _batch_to_cook(user: User, lot_code: str) -> Batch:
    """As `batch_at_the_stove`; 404 for a ferment that is canned by its table, which has no recipe's steps."""
    batch = batch_at_the_stove(user, lot_code)
    if batch.is_staged and not batch.is_in_containers:
        raise Http404
    return batch


@require_http_methods(["GET", "POST"])
def stove(request: HttpRequest, lot_code: str, step: str = "") -> HttpResponse:
    """One step, or the one where the cook is. Every screen of the batch is on the page, and all but one are hidden."""
    user = signed_in(request)
    batch = _batch_to_cook(user, lot_code)
    course = course_of(batch, user.units)
    shown = course.by_key.get(step) if step else course.here
    if shown is None:
        raise Http404
    if request.method == "POST":
        return _pressed(request, course, shown)
    return render(request, "batches/stove.html", _context(user, course, shown))


def _pressed(request: HttpRequest, course: Course, shown: StoveStep) -> HttpResponse:
    """A button without a script: what it did, or why not, is said on the step's page."""
    form = PressForm({"step": shown.key, **request.POST.dict()})
    if not form.is_valid():
        for errors in form.errors.values():
            messages.error(request, " ".join(map(str, errors)))
        return redirect("batches:stove-step", course.batch.lot_code, shown.key)
    with refusals_as_messages(request):
        press = services.stove_press(by=signed_in(request), batch=course.batch, **form.written())
        if press.kind == PressKind.DONE:
            return redirect("batches:stove", course.batch.lot_code)
    return redirect("batches:stove-step", course.batch.lot_code, shown.key)


def _context(user: User, course: Course, shown: StoveStep) -> dict[str, Any]:
    batch, now = course.batch, timezone.now()
    state = state_of(user, course, now)
    restart = answer_for(Situation.HEAT_FELL, food_of_batch(batch), None)
    broke = answer_for(Situation.JAR_BROKE, food_of_batch(batch), None)
    return {
        "batch": batch,
        "course": course,
        "shown": shown,
        "screens": [_screen(course, step) for step in course.steps],
        "amounts": amounts_of(batch, user.units),
        "state": state,
        "now": now,
        "is_open": _is_open(batch),
        "seen": {"scum": Scum.choices, "cover": Cover.choices, "smell": Smell.choices, "moisture": Moisture.choices},
        "restart": [WORDS[act] for act in restart.acts],
        "restart_source": restart.source,
        "broke": [WORDS[act] for act in broke.acts],
        "broke_source": broke.source,
        "sizes": [(size, JARS[size]) for size in reversed(sizes_covered(batch.jar_size))] if batch.jar_size else [],
        "reads_gauge": batch.required_psi is not None and not batch.canners_beside.exists(),
        "setting": batch.setting_psi if batch.setting_psi is not None else batch.required_psi,
        "store": whose_store(user),
        "slips": [press for press in reversed(course.live) if press.kind in PRESSES_TO_TAKE_BACK][:6],
    }


def _screen(course: Course, step: StoveStep) -> dict[str, Any]:
    return {
        "step": step,
        "done": course.done(step),
        "began": course.began(step.key),
        "fell": course.fell(step.key),
        "timers": [(timer, course.began(timer.key)) for timer in step.timers],
        "after": course.after(step),
        "before": course.before(step),
        "number": course.steps.index(step) + 1,
    }


# What a phone asks and is told, as JSON.


def _ms(moment: datetime) -> int:
    return int(moment.timestamp() * 1000)


def state_of(user: User, course: Course, now: datetime) -> dict[str, Any]:
    """Where the batch stands: moments in milliseconds of the server's clock."""
    batch = course.batch
    return {
        "now": _ms(now),
        "user": whose_store(user),
        "open": _is_open(batch),
        "ended": _ended(batch),
        "notice": _notice(course),
        "here": course.here.key,
        "done": {key: _ms(done.at) for key, step in course.by_key.items() if (done := course.done(step))},
        "who": {key: str(done.by) for key, step in course.by_key.items() if (done := course.done(step))},
        "fell": {key: _ms(fell.at) for key in course.by_key if (fell := course.fell(key))},
        "timers": [
            {
                "key": one.timer.key,
                "step": one.step.key,
                "name": one.step.name,
                "minutes": one.timer.minutes,
                "began": _ms(one.began.at),
                "ends": _ms(one.ends_at),
                "who": str(one.began.by),
                "process": one.step.is_process,
            }
            for one in course.running
        ],
        "seals": _ms(course.seals_from) if course.seals_from else None,
        "jars": course.jars,
        "fridge": course.tally(PressKind.FRIDGE),
        "broke": course.tally(PressKind.BROKE),
        "allout": course.is_all_out,
    }


def _is_open(batch: Batch) -> bool:
    return batch.state == (BatchState.UNDERWAY if batch.is_in_containers else BatchState.STARTED)


def _ended(batch: Batch) -> str:
    """Why nothing more is pressed here; "" while the batch is on the stove, or in its stages."""
    if _is_open(batch):
        return ""
    if batch.is_in_containers and batch.state != BatchState.ABANDONED:
        return _("This batch was put away.")
    if batch.state == BatchState.ABANDONED:
        return _("This batch was given up.")
    return _("The log of this batch is signed.")


def _notice(course: Course) -> str:
    batch = course.batch
    if isinstance(course, KeptCourse) and course.warning is not None and _is_open(batch):
        return _(course.warning.statement)
    if batch.state == BatchState.ABANDONED or not is_called_back(batch):
        return ""
    return _(
        "Called back: nobody eats from these jars. Fill no more. Write down what is filled already, so that the"
        " recall reaches it; or give the batch up."
    )


@require_http_methods(["GET", "POST"])
def presses(request: HttpRequest, lot_code: str) -> HttpResponse:
    """Where the batch stands; with POST first the presses that a phone kept, in their order."""
    user, now = signed_in(request), timezone.now()
    batch = _batch_to_cook(user, lot_code)
    answers: list[dict[str, Any]] = []
    clock = ""
    if request.method == "POST":
        sent = _read(request.body)
        if sent is None or sent.get("user") != whose_store(user):
            return JsonResponse({"problem": _("These presses are not of who is signed in here.")}, status=409)
        sent_ms, kept = sent.get("sent_ms"), sent.get("presses")
        if not isinstance(sent_ms, int) or not isinstance(kept, list) or len(kept) > MOST_AT_ONCE:
            return JsonResponse({"problem": _("This page is of another version. Open it again.")}, status=400)
        answers = [_answered(user, batch, one, sent_ms, now) for one in kept]
        clock = _clock_words(sent_ms, now)
    batch.refresh_from_db(fields=["state", "jars_out_at"])
    state = state_of(user, course_of(batch, user.units), now)
    return JsonResponse(state | {"answers": answers, "clock": clock, "csrf": get_token(request)})


def _read(body: bytes) -> dict[str, Any] | None:
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):  # lists in lists, a hundred thousand deep
        return None
    return found if isinstance(found, dict) else None


def _answered(user: User, batch: Batch, kept: Any, sent_ms: int, now: datetime) -> dict[str, Any]:
    """What became of one press: written (now or before), refused, or too late, with a sentence for the cook."""
    form = KeptPressForm(kept if isinstance(kept, dict) else {})
    token = str(kept.get("token", "")) if isinstance(kept, dict) else ""
    if not form.is_valid():
        said = " ".join(str(error) for errors in form.errors.values() for error in errors)
        return {"token": token, "result": "refused", "said": said}
    pressed_ms, behind = form.cleaned_data["pressed_ms"], form.cleaned_data["behind_ms"]
    at, is_doubtful = services.moment_pressed(
        kind=form.cleaned_data["kind"],
        now=now,
        ago=timedelta(milliseconds=max(min(sent_ms - pressed_ms, KEPT_MS), 0)),
        by_offset=None if behind is None else _moment(pressed_ms + behind),
    )
    try:
        services.stove_press(
            by=user,
            batch=batch,
            at=at,
            client_at=_moment(pressed_ms),
            is_doubtful=is_doubtful,
            **form.written(),
        )
    except services.AlreadyDone as done:
        return {"token": token, "result": "late", "said": str(done)}
    except ValidationError as error:
        said = " ".join(sentence for sentences in messages_by_field(error).values() for sentence in sentences)
        return {"token": token, "result": "refused", "said": said}
    doubt = _("This phone's clock was moved; the stricter time was taken: %(at)s.") % {"at": zoned_text(at)}
    return {"token": token, "result": "written", "said": doubt if is_doubtful else ""}


KEPT_MS = 30 * 24 * 3_600_000  # as long as a batch may be keyed in late


def _moment(ms: int) -> datetime:
    """Of a phone's clock; whatever it shows is kept within what a database holds."""
    return datetime.fromtimestamp(max(min(ms, 4_102_444_800_000), 0) / 1000, UTC)


def _clock_words(sent_ms: int, now: datetime) -> str:
    """Told where the phone's clock is off by more than the slack; "" else."""
    off = abs(timedelta(milliseconds=min(abs(sent_ms), 4_102_444_800_000)) - timedelta(milliseconds=_ms(now)))
    if off <= CLOCK_SLACK:
        return ""
    minutes = int(off / timedelta(minutes=1))
    by = ngettext("%(n)s minute", "%(n)s minutes", minutes) % {"n": minutes}
    if minutes >= 120:
        by = _("%(n)s hours") % {"n": minutes // 60}
    return _("The clock of this phone is wrong by %(by)s. The club's clock is used.") % {"by": by}


# What is under way, and what a browser asks of an installed site.


@require_safe
def under_way(request: HttpRequest) -> HttpResponse:
    """One's own batches on the stove, those that cool, and those whose seals are due: what a phone keeps."""
    user, now = signed_in(request), timezone.now()
    rows = Batch.objects.under_way_of(user).for_list().order_by("-started_at", "-pk")
    batches = list(rows[:30])
    keys = [one.pk for one in batches]
    may_look = set(Batch.objects.changeable_by(user).filter(pk__in=keys).values_list("pk", flat=True))
    for batch in batches:
        batch.phase = batch.phase_at(now)  # type: ignore[attr-defined]
        batch.leads_to = _leads_to(batch, batch.pk in may_look)  # type: ignore[attr-defined]
    asked = BatchHand.objects.asking(user)
    return render(request, "batches/stove_list.html", {"batches": batches, "asked": asked, "store": whose_store(user)})


def _leads_to(batch: Batch, may_look: bool) -> str:
    """The cook's page, then the page of the seals; who only worked at the stove looks at the batch."""
    if batch.state in (BatchState.STARTED, BatchState.UNDERWAY):
        return reverse("batches:stove", args=[batch.lot_code])
    return reverse("batches:seals", args=[batch.lot_code]) if may_look else batch.get_absolute_url()


WORKER = Path(__file__).parent.parent / "static" / "batches" / "kitchen-worker.js"


@require_safe
@login_not_required
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, asked for anew each time, so that a mended one comes to every phone. No data is in it."""
    return HttpResponse(
        WORKER.read_bytes(),
        content_type="text/javascript; charset=utf-8",
        headers={"Cache-Control": "no-cache", "Service-Worker-Allowed": "/"},
    )


@require_safe
@login_not_required
def manifest(request: HttpRequest) -> HttpResponse:
    """What an installed site is called and begins with. Nobody's data is in it."""
    png = {name: reverse("kitchen-icon", args=[name]) for name in ICONS}
    icons = [(static("batches/kitchen.svg"), "any", "image/svg+xml", "any")]
    icons += [
        (png[name], f"{side}x{side}", "image/png", "maskable" if is_maskable else "any")
        for name, (side, is_maskable) in ICONS.items()
    ]
    shortcuts = [
        (_("My batches"), reverse("batches:stove-list")),
        (_("Seals"), f"{reverse('batches:list')}?show=due"),
        (_("Opened a jar"), reverse("desk:pantry")),
    ]
    body = {
        "name": _("%(club)s at the stove") % {"club": settings.CLUB_NAME},
        "short_name": _("Stove"),
        "lang": get_language(),
        "id": reverse("batches:stove-list"),
        "start_url": reverse("batches:stove-list"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#f2f5f3",
        "theme_color": "#6d1f4f",
        "icons": [dict(zip(("src", "sizes", "type", "purpose"), icon, strict=True)) for icon in icons],
        "shortcuts": [
            {"name": name, "url": url, "icons": [{"src": png["192"], "sizes": "192x192", "type": "image/png"}]}
            for name, url in shortcuts
        ],
    }
    return JsonResponse(body, content_type="application/manifest+json", headers={"Cache-Control": "no-cache"})


# By the name in its address: pixels of a side, and whether a phone may cut it to a shape of its own.
ICONS = {"192": (192, False), "512": (512, False), "mask": (512, True)}


@require_safe
@login_not_required
def icon(request: HttpRequest, name: str) -> HttpResponse:
    """The picture of the installed site."""
    if name not in ICONS:
        raise Http404
    side, is_maskable = ICONS[name]
    kept = {"Cache-Control": "public, max-age=86400"}
    return HttpResponse(icon_png(side, is_maskable=is_maskable), content_type="image/png", headers=kept)
