"""Web push: what cannot wait is shown on a phone beside its mail, by the outbox's promises.

What is due to a browser is a row, found again each round and written once. A row is claimed under a lease, its rule is
asked again before it leaves, and a push server that is away is tried again as a mail server is. A browser that gave its
address up, or in which the person is signed in no more, is forgotten.

The text is sealed for the browser alone (RFC 8291, aes128gcm of RFC 8188), and signed by the club (RFC 8292).
"""

from __future__ import annotations

import json
import logging
import os
import random
import re
import time
import urllib.error
import urllib.request
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections import Counter, defaultdict
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from club.core.sealing import Unreadable, can_seal
from club.members.models import BrowserSession, User
from club.reminders.models import (
    PUSHED,
    PushDevice,
    PushKeys,
    PushNote,
    Reminder,
    ReminderState,
    notification_settings_of,
)
from club.reminders.outbox import MOST_ATTEMPTS, lease_time, route_for, wait_after
from club.reminders.services import RULES

log = logging.getLogger(__name__)

# Our own choices, no source: news of longer ago is in the inbox; a round ends before the next begins.
NEWS_FOR = timedelta(days=1)
RUN_FOR = timedelta(seconds=40)
PATIENCE_S = 10
LIVES_S = 6 * 3600  # a phone that is off for longer finds it in the mail
GONE = (404, 410)  # RFC 8030, 7.3: this address takes nothing any more
MOST_DEVICES = 8  # of one person
RECORD_BYTES = 4096


class Refused(Exception):
    """The push server answered with another status than success."""

    def __init__(self, status: int) -> None:
        super().__init__(f"the push server answered {status}")
        self.status = status


# Text sealed for a browser, and signed as the club's.


def written(data: bytes) -> str:
    return urlsafe_b64encode(data).rstrip(b"=").decode()


def read(text: str) -> bytes:
    """ValueError for what is no URL-safe base64."""
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))


def private_key(text: str) -> ec.EllipticCurvePrivateKey:
    return ec.derive_private_key(int.from_bytes(read(text), "big"), ec.SECP256R1())


def point_of(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.public_key().public_bytes(serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint)


def sealed_for(
    text: bytes, *, p256dh: str, auth: str, key: ec.EllipticCurvePrivateKey | None = None, salt: bytes | None = None
) -> bytes:
    """One record that only the browser with this key opens. Each text has a key and a salt of its own; tests name them.

    ValueError for keys that are none.
    """
    theirs, ours = read(p256dh), key or ec.generate_private_key(ec.SECP256R1())
    salt = salt or os.urandom(16)
    shared = ours.exchange(ec.ECDH(), ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), theirs))
    point = point_of(ours)
    secret = _derived(shared, read(auth), b"WebPush: info\0" + theirs + point, 32)
    content_key = _derived(secret, salt, b"Content-Encoding: aes128gcm\0", 16)
    nonce = _derived(secret, salt, b"Content-Encoding: nonce\0", 12)
    record = AESGCM(content_key).encrypt(nonce, text + b"\2", None)  # 2: the last record
    return salt + RECORD_BYTES.to_bytes(4, "big") + bytes([len(point)]) + point + record


def _derived(secret: bytes, salt: bytes, info: bytes, length: int) -> bytes:
    return HKDF(algorithm=hashes.SHA256(), length=length, salt=salt, info=info).derive(secret)


def signed_as_ours(endpoint: str, keys: PushKeys, now: datetime) -> str:
    """The Authorization header for the push server of this address; good for half a day."""
    parts = urlsplit(endpoint)
    claims = {
        "aud": f"{parts.scheme}://{parts.netloc}",
        "exp": int(now.timestamp()) + 12 * 3600,
        "sub": settings.SITE_URL,
    }
    head = {"typ": "JWT", "alg": "ES256"}
    said = ".".join(written(json.dumps(one, separators=(",", ":")).encode()) for one in (head, claims))
    r, s = decode_dss_signature(private_key(keys.private).sign(said.encode(), ec.ECDSA(hashes.SHA256())))
    return f"vapid t={said}.{written(r.to_bytes(32, 'big') + s.to_bytes(32, 'big'))}, k={keys.public}"


def push_keys() -> PushKeys | None:
    """The club's own, made when they are first asked for; None where there is no key to seal them with."""
    found = PushKeys.objects.first()
    if found is None and can_seal():
        key = ec.generate_private_key(ec.SECP256R1())
        private = written(key.private_numbers().private_value.to_bytes(32, "big"))
        found = PushKeys.objects.get_or_create(
            only=True, defaults={"private": private, "public": written(point_of(key))}
        )[0]
    return None if found is None or isinstance(found.private, Unreadable) else found


# Which browsers take it.


WELL_FORMED = re.compile(r"(https?)://([a-z0-9.-]+)(?::([0-9]{1,5}))?/[A-Za-z0-9._~!$&'()*+,;=:@%/?-]*")


def is_push_server(endpoint: str) -> bool:
    """Whether an address is one of a push service that the settings name: we write nowhere else.

    It is read by a pattern of its own. `urlsplit` passes over line breaks, and takes what stands before an @ or after a
    backslash otherwise than others do; and a port that is not 443 is no push service's.
    """
    found = WELL_FORMED.fullmatch(endpoint)
    if not found or len(endpoint) > 500:
        return False
    scheme, host, port = found.groups()
    if host == "127.0.0.1":
        return host in settings.PUSH_HOSTS
    named = any(host == one or host.endswith(f".{one}") for one in settings.PUSH_HOSTS)
    return named and scheme == "https" and port in (None, "443")


@transaction.atomic
def push_device_add(*, by: User, session_key: str, endpoint: str, p256dh: str, auth: str) -> PushDevice:
    """This browser shows what cannot wait, from now on, for who is signed in there. ValidationError for no such thing.

    An address that was somebody else's on the same device is theirs no more.
    """
    if not is_push_server(endpoint):
        raise ValidationError(_("This browser's push service is none that the site writes to."))
    try:
        sealed_for(b"", p256dh=p256dh, auth=auth)
    except ValueError:
        raise ValidationError(_("This browser sent no key that the site can use.")) from None
    browser = BrowserSession.objects.alive(by).filter(session_key=session_key).first()
    if browser is None or by.push_devices.count() >= MOST_DEVICES:
        raise ValidationError(_("Turn it off on another device first."))
    PushDevice.objects.filter(endpoint=endpoint).delete()
    try:
        with transaction.atomic():
            told = {"person": by, "endpoint": endpoint, "p256dh": p256dh, "auth": auth}
            return PushDevice.objects.update_or_create(browser=browser, defaults=told)[0]
    except IntegrityError:  # the same press twice at once
        return PushDevice.objects.get(endpoint=endpoint)


@transaction.atomic
def push_device_drop(*, by: User, device: PushDevice) -> None:
    """One's own; dropping twice is the same as once."""
    PushDevice.objects.filter(pk=device.pk, person=by).delete()


# What is due to them, and sending it.


def push_gather(now: datetime) -> int:
    """Write a row for each reminder of these kinds and each browser of its person; how many. Twice writes once.

    Only what is not read yet, and came since the browser began to take it.
    """
    theirs: defaultdict[int, list[PushDevice]] = defaultdict(list)
    wanted: dict[int, frozenset[str]] = {}
    for device in PushDevice.objects.select_related("person__notification_settings"):
        theirs[device.person_id].append(device)
        wanted[device.person_id] = notification_settings_of(device.person).pushed_kinds
    rows = Reminder.objects.filter(person__in=PushDevice.objects.values("person"), read_at=None, rule__in=PUSHED)
    rows = rows.filter(created_at__gt=now - NEWS_FOR).exclude(state=ReminderState.SETTLED).order_by("pk")
    there = set(PushNote.objects.filter(reminder__in=rows.order_by()).values_list("reminder_id", "device_id"))
    new = [
        PushNote(reminder_id=row.pk, device=device, next_try_at=now)
        for row in rows.only("rule", "person_id", "created_at")
        for device in theirs[row.person_id]
        if row.rule in wanted[row.person_id] and row.created_at >= device.made_at and (row.pk, device.pk) not in there
    ]
    PushNote.objects.bulk_create(new, ignore_conflicts=True)
    return len(new)


def push_send(now: datetime, run_for: timedelta = RUN_FOR) -> Counter[str]:
    """Send what waits, one row after the other; how many ended in each state. Any number may run at once."""
    began, outcomes = time.monotonic(), Counter[str]()
    keys = push_keys()
    while keys is not None and (ran := timedelta(seconds=time.monotonic() - began)) < run_for:
        note = _claimed(now + ran)
        if note is None:
            break
        outcomes[_send_one(note, keys, now + ran)] += 1
    return outcomes


def _claimed(now: datetime) -> PushNote | None:
    """The longest wait, ours from now on under a lease; None when nothing waits, or others were faster."""
    for note in PushNote.objects.waiting(now).select_related("device__browser", "reminder__person")[:MOST_DEVICES]:
        lease = uuid4()
        theirs = PushNote.objects.waiting(now).filter(pk=note.pk, attempts=note.attempts).order_by()
        claim = {"state": ReminderState.SENDING, "lease": lease, "leased_until": now + lease_time()}
        if theirs.update(attempts=F("attempts") + 1, **claim) == 1:
            note.attempts, note.lease = note.attempts + 1, lease
            return note
    return None


def _note(note: PushNote, state: ReminderState, **changes: Any) -> str:
    """What became of it. Only while it is ours: another may have claimed it since."""
    ours = PushNote.objects.filter(pk=note.pk, lease=note.lease, state=ReminderState.SENDING)
    ours.update(state=state, lease=None, leased_until=None, **changes)
    return state.value


def _send_one(note: PushNote, keys: PushKeys, now: datetime) -> str:
    reminder, device = note.reminder, note.device
    rule = RULES.get(reminder.rule)
    is_in = BrowserSession.objects.alive(reminder.person).filter(pk=device.browser_id).exists()
    if rule is None or not is_in:
        state = _note(note, ReminderState.SETTLED)
        if not is_in:
            device.delete()
        return state
    try:
        if not rule.still_due(reminder, now):
            return _note(note, ReminderState.SETTLED)
        later = route_for(reminder, rule, now).not_before
        if later is not None and later > now:
            return _note(note, ReminderState.DUE, next_try_at=later, attempts=note.attempts - 1)
        message = rule.message(reminder, now)
        said = {"title": settings.CLUB_NAME, "body": message.subject, "url": message.link, "tag": f"r{reminder.pk}"}
        post(device, json.dumps(said).encode(), keys, now)
    except Refused as refused:
        if refused.status in GONE:
            state = _note(note, ReminderState.DEAD, last_error=str(refused))
            device.delete()
            return state
        return _failed(note, refused, now, is_away=refused.status >= 500 or refused.status == 429)
    except Exception as error:
        return _failed(note, error, now, is_away=isinstance(error, OSError))
    return _note(note, ReminderState.SENT, sent_at=now, last_error="")


def _failed(note: PushNote, error: Exception, now: datetime, *, is_away: bool) -> str:
    """As the outbox does: one that breaks has so many tries, one that waits for its server goes on until it is moot."""
    reason = f"{type(error).__name__}: {error}"[:300]
    log.warning("Push %s failed: %s", note.pk, reason)
    if not is_away and note.attempts >= MOST_ATTEMPTS:
        return _note(note, ReminderState.DEAD, last_error=reason)
    wait = wait_after(note.attempts, jitter=random.random())
    return _note(note, ReminderState.DUE, next_try_at=now + wait, last_error=reason)


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *args: Any, **named: Any) -> None:
        """A push server that leads elsewhere is refused: we write to those alone that the settings name."""
        return


def post(device: PushDevice, text: bytes, keys: PushKeys, now: datetime) -> None:
    """Hand one text to the push server. Refused, or OSError where there is no answer."""
    if not is_push_server(device.endpoint):
        raise Refused(GONE[0])
    headers = {
        "Authorization": signed_as_ours(device.endpoint, keys, now),
        "Content-Encoding": "aes128gcm",
        "Content-Type": "application/octet-stream",
        "TTL": str(LIVES_S),
        "Urgency": "high",
    }
    body = sealed_for(text, p256dh=device.p256dh, auth=device.auth)
    request = urllib.request.Request(device.endpoint, data=body, headers=headers, method="POST")
    opener = urllib.request.build_opener(_NoRedirect, urllib.request.ProxyHandler({}))
    try:
        with opener.open(request, timeout=PATIENCE_S):
            return
    except urllib.error.HTTPError as answer:
        answer.close()
        raise Refused(answer.code) from None


def push_round(now: datetime) -> None:
    """Run each minute."""
    push_gather(now)
    push_send(now)
