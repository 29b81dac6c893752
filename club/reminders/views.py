"""The inbox, how one wants to be reached, a mail's own link, what could not be sent, the calendar feed."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.classes.models import ClassSession
from club.core.http import refusals_as_messages, refusals_on, signed_in
from club.members.choices import Role
from club.members.models import CalendarAddress, User
from club.members.services import calendar_address_close, calendar_address_renew
from club.reminders import outbox
from club.reminders.calendar import Entry, calendar_text, entries_for, session_entry
from club.reminders.forms import NotificationSettingsForm
from club.reminders.models import NightlyAudit, Reminder, notification_settings_of, people_bounced
from club.reminders.outbox import LATE_S, OLD_BACKUP_S, health_at, is_ticking, not_ready_because
from club.reminders.push import push_device_add, push_device_drop, push_keys
from club.reminders.rules import AnyRule, read_stop_token
from club.reminders.services import (
    RULES,
    inbox_of,
    inbox_read_all,
    kind_mute,
    kinds_for,
    mailbox_confirm,
    notification_settings_change,
    reminder_open,
    with_titles,
)

# A person's inbox on the site.

ROWS = 30


@require_safe
def inbox(request: HttpRequest) -> HttpResponse:
    page = Paginator(inbox_of(signed_in(request)), ROWS).get_page(request.GET.get("page"))
    return render(request, "reminders/inbox.html", {"page": page})


@require_POST
def open_one(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    path = reminder_open(by=user, reminder=get_object_or_404(inbox_of(user), pk=pk))
    return redirect(path or "reminders:inbox")


@require_POST
def read_all(request: HttpRequest) -> HttpResponse:
    inbox_read_all(by=signed_in(request))
    return redirect("reminders:inbox")


@login_not_required
@never_cache
@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """Public, for monitors: 503 only when the database is gone, for then no page can be shown."""
    found = health_at(timezone.now())
    return JsonResponse(found, status=200 if found["database"] == "ok" else 503)


@login_not_required
@never_cache
@require_safe
def live(request: HttpRequest) -> HttpResponse:
    """Whether this process answers, whatever it needs: only where it does not is it started again."""
    return JsonResponse({"alive": True})


@login_not_required
@never_cache
@require_safe
def ready(request: HttpRequest) -> HttpResponse:
    """Whether the site does all of its work: 503 with the reasons while it does not."""
    found = health_at(timezone.now())
    reasons = not_ready_because(found)
    return JsonResponse({"ready": not reasons, "reasons": reasons, **found}, status=503 if reasons else 200)


@require_safe
def dead(request: HttpRequest) -> HttpResponse:
    organiser(request)
    page = Paginator(Reminder.objects.dead(), ROWS).get_page(request.GET.get("page"))
    context = {"page": page, "rows": with_titles(page.object_list), "bounced": people_bounced()[:ROWS]}
    return render(request, "reminders/dead.html", context)


@require_POST
def resend(request: HttpRequest, pk: int) -> HttpResponse:
    by = organiser(request)
    reminder = get_object_or_404(Reminder, pk=pk)
    if outbox.reminder_resend(by=by, reminder=reminder, now=timezone.now()):
        messages.success(request, _("It will be tried again within a minute or so."))
    else:
        messages.info(request, _("It is being tried again already."))
    return redirect("reminders:dead")


def organiser(request: HttpRequest) -> User:
    user = request.user
    if not user.is_authenticated or not user.has_role(Role.ORGANISER):
        raise PermissionDenied
    return user


# A mail's own link. Public, as it must work for whoever reads the mail; it does one thing and signs nobody in.


@csrf_exempt  # RFC 8058: the POST comes from a mail program, which has no page of ours to take a token from
@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """A GET only asks: mail scanners open every link. The answer to a POST is no redirect, as RFC 8058 wants it."""
    found = _meant(token)
    if found is None:
        return render(request, "reminders/stop_unknown.html", status=404)
    person, rule = found
    if request.method == "POST":
        kind_mute(person=person, kind=rule.name)
    return render(request, "reminders/stop.html", {"kind": rule.title, "is_done": request.method == "POST"})


def _meant(token: str) -> tuple[User, AnyRule] | None:
    person_id, kind = read_stop_token(token) or (0, "")
    person, rule = User.objects.filter(pk=person_id).first(), RULES.get(kind)
    return (person, rule) if person is not None and rule is not None and rule.may_mute else None


# How a person wants to be reached.


@require_http_methods(["GET", "HEAD", "POST"])
def notification_settings(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    # No box ticked is a POST without a field, and still an answer: hence not `request.POST or None`.
    data = request.POST if request.method == "POST" else None
    form = NotificationSettingsForm(data, preferences=notification_settings_of(user), kinds=kinds_for(user))
    if form.is_valid():
        with refusals_on(form):
            notification_settings_change(by=user, **form.cleaned_data)
            messages.success(request, _("Saved."))
            return redirect("reminders:notification-settings")
    keys = push_keys()
    devices = user.push_devices.select_related("browser").order_by("pk")
    context = {"form": form, "public_key": keys.public if keys else "", "devices": devices}
    return render(request, "reminders/notification_settings.html", context)


@require_POST
def push_add(request: HttpRequest) -> HttpResponse:
    """What this browser's script sends once its person said yes."""
    told = {name: request.POST.get(name, "")[:600] for name in ("endpoint", "p256dh", "auth")}
    with refusals_as_messages(request):
        push_device_add(by=signed_in(request), session_key=request.session.session_key or "", **told)
        messages.success(request, _("This browser shows what cannot wait. Tick below which kinds."))
    return redirect("reminders:notification-settings")


@require_POST
def push_drop(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    push_device_drop(by=user, device=get_object_or_404(user.push_devices, pk=pk))
    messages.success(request, _("That browser shows nothing any more."))
    return redirect("reminders:notification-settings")


@require_POST
def mailbox_works(request: HttpRequest) -> HttpResponse:
    mailbox_confirm(by=signed_in(request))
    messages.success(request, _("Mails go to you again."))
    return redirect("reminders:notification-settings")


def _hours(seconds: int | None, *, each: int = 1) -> int | None:
    """Whole hours, or so many together; never below zero, though a clock was set back."""
    return None if seconds is None else max(0, seconds // (3600 * each))


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """For organisers, in words: what /healthz tells monitors."""
    organiser(request)
    found = health_at(timezone.now())
    late = found["oldest_due_reminder_late_s"] or 0
    context = {
        "found": found,
        "is_ticking": is_ticking(found),
        "late_min": late // 60,
        "is_late": late > LATE_S,
        "backup_h": _hours(found["last_backup_s_ago"]),
        "restore_test_d": _hours(found["last_restore_test_s_ago"], each=24),
        "is_backed_up": not settings.BACKUP_DIR or (found["last_backup_s_ago"] or 0) <= OLD_BACKUP_S,
    }
    return render(request, "reminders/health.html", context)


NIGHTS = 14


@require_safe
def audit(request: HttpRequest) -> HttpResponse:
    organiser(request)
    return render(request, "reminders/audit.html", {"audits": NightlyAudit.objects.all()[:NIGHTS]})


# One feed for each person under a private address, and a single class as a file.


@require_safe
def mine(request: HttpRequest) -> HttpResponse:
    address = CalendarAddress.objects.filter(person=signed_in(request)).first()
    url = settings.SITE_URL + reverse("calendar:feed", args=[address.token]) if address else ""
    at_once = f"webcal://{url.partition('://')[2]}" if url else ""  # opens the calendar program itself
    return render(request, "reminders/calendar.html", {"address": address, "url": url, "at_once": at_once})


@require_POST
def renew(request: HttpRequest) -> HttpResponse:
    calendar_address_renew(by=signed_in(request))
    messages.success(request, _("This is your address now. One that you had before shows nothing any more."))
    return redirect("calendar:mine")


@require_POST
def close(request: HttpRequest) -> HttpResponse:
    if calendar_address_close(by=signed_in(request)):
        messages.success(request, _("The address is closed."))
    return redirect("calendar:mine")


@login_not_required
@never_cache
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Public: a calendar program cannot sign in. Who knows the address reads it, so it is long, and can be changed."""
    address = CalendarAddress.objects.filter(token=token, person__is_active=True).select_related("person").first()
    if address is None:
        raise Http404
    return _answer(entries_for(address.person, timezone.now()), name=settings.CLUB_NAME)


@require_safe
def session(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(ClassSession.objects.visible_to(signed_in(request)).select_related("hall"), pk=pk)
    answer = _answer([session_entry(found)], name=found.title)
    answer["Content-Disposition"] = f'attachment; filename="class-{found.pk}.ics"'
    return answer


def _answer(entries: list[Entry], *, name: str) -> HttpResponse:
    answer = HttpResponse(calendar_text(entries, name=name), content_type="text/calendar; charset=utf-8")
    answer["X-Robots-Tag"] = "noindex"
    return answer
