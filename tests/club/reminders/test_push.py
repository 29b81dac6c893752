"""Web push beside the mail: opt-in by kind, once whoever asks twice, tried again while its server is away."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Thread

import pytest
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from club.members.models import BrowserSession
from club.reminders import outbox, push
from club.reminders.models import PushDevice, PushKeys, PushNote, Reminder, ReminderState
from club.reminders.push import point_of, private_key, push_gather, push_send, read, sealed_for, written
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch
from tests.factories.members import make_person
from tests.factories.reminders import make_notification_settings, make_waiting_batch

pytestmark = pytest.mark.django_db

AUTH = written(b"sixteen bytes...")


class Sink(HTTPServer):
    """Stands for a push server: keeps what it is sent, and answers as it is told."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Taker)
        self.taken: list[tuple[dict[str, str], bytes]] = []
        self.status, self.leads_to = 201, ""

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/box"


class Taker(BaseHTTPRequestHandler):
    server: Sink

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.taken.append((dict(self.headers), body))
        self.send_response(self.server.status)
        if self.server.leads_to:
            self.send_header("Location", self.server.leads_to)
        self.end_headers()

    def log_message(self, *told) -> None:
        """Silent."""


@pytest.fixture
def sink(settings) -> Iterator[Sink]:
    settings.PUSH_HOSTS = ["127.0.0.1"]
    with Sink() as server:
        Thread(target=server.serve_forever, daemon=True).start()
        yield server
        server.shutdown()


@pytest.fixture
def key():
    return ec.generate_private_key(ec.SECP256R1())


@pytest.fixture
def person():
    return make_person()


@pytest.fixture
def device(person, sign_in, sink, key) -> PushDevice:
    """Turned on as its browser's script does."""
    client = sign_in(person)
    client.get("/")
    told = {"endpoint": sink.address, "p256dh": written(point_of(key)), "auth": AUTH}
    client.post(reverse("reminders:push-add"), told)
    return PushDevice.objects.get(person=person)


@pytest.fixture
def due(person, device) -> datetime:
    """The moment at which the seals of a batch of theirs are due, gathered and mailed."""
    now = timezone.now()
    make_waiting_batch(now - timedelta(hours=12, minutes=1), by=person)
    make_notification_settings(person, pushed="|seal-check|", quiet_from="00:00", quiet_until="00:00")
    outbox.gather(now)
    outbox.send_due(now)
    return now


def opened(body: bytes, key) -> dict:
    """What the browser reads of it: RFC 8291, the other way round."""
    salt, length, point = body[:16], body[20], body[21 : 21 + body[20]]
    theirs = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), point)
    shared = key.exchange(ec.ECDH(), theirs)
    secret = push._derived(shared, read(AUTH), b"WebPush: info\0" + point_of(key) + point, 32)
    content = push._derived(secret, salt, b"Content-Encoding: aes128gcm\0", 16)
    nonce = push._derived(secret, salt, b"Content-Encoding: nonce\0", 12)
    text = AESGCM(content).decrypt(nonce, body[21 + length :], None)
    return json.loads(text.rstrip(b"\2"))


def test_a_text_is_sealed_as_in_the_example_of_the_standard():
    """RFC 8291, section 5, all values of which are printed there."""
    sealed = sealed_for(
        b"When I grow up, I want to be a watermelon",
        p256dh="BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4",
        auth="BTBZMqHH6r4Tts7J_aSIgg",
        key=private_key("yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw"),
        salt=read("DGv6ra1nlYgDCS1FRnbzlw"),
    )
    assert written(sealed) == (
        "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6P"
        "Bru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
    )


def test_what_is_due_comes_to_the_phone_once_beside_its_mail(due, sink, key, device):
    assert (push_gather(due), push_gather(due)) == (1, 0)
    assert push_send(due) == {ReminderState.SENT: 1}
    assert push_send(due) == {}
    [(headers, body)] = sink.taken
    said = opened(body, key)
    reminder = Reminder.objects.get(rule="seal-check")
    assert (said["body"], reminder.state) == (reminder.headline, ReminderState.SENT)
    assert said["url"].endswith(reminder.path)
    assert signature_of(headers["Authorization"], sink.address)


def test_a_push_server_that_leads_elsewhere_is_not_followed(due, sink):
    sink.status, sink.leads_to = 307, f"http://127.0.0.1:{sink.server_port}/elsewhere"
    push_gather(due)
    assert ReminderState.SENT not in push_send(due)
    assert len(sink.taken) == 1


def signature_of(header: str, address: str) -> bool:
    """Whether the club's own key signed it, for this push server and for less than a day (RFC 8292)."""
    token, public = header.removeprefix("vapid t=").split(", k=")
    said, _dot, signature = token.rpartition(".")
    claims = json.loads(read(said.partition(".")[2]))
    left = datetime.fromtimestamp(claims["exp"], UTC) - timezone.now()
    raw = read(signature)
    pair = encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    ours = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), read(public))
    ours.verify(pair, said.encode(), ec.ECDSA(hashes.SHA256()))
    is_the_clubs = PushKeys.objects.get().public == public
    return is_the_clubs and address.startswith(claims["aud"]) and timedelta(0) < left < timedelta(hours=24)


def test_only_the_kinds_that_somebody_ticked_come(due, person, sink):
    person.notification_settings.pushed = "|recall|"
    person.notification_settings.save()
    assert push_gather(due) == 0


def test_a_push_server_that_is_away_is_tried_again_and_nothing_is_lost(due, sink):
    push_gather(due)
    sink.status = 503
    assert push_send(due) == {ReminderState.DUE: 1}
    assert push_send(due) == {}  # it waits
    sink.status = 201
    assert push_send(due + timedelta(minutes=5)) == {ReminderState.SENT: 1}


def test_a_sender_that_died_leaves_its_row_to_the_next(due, sink):
    push_gather(due)
    assert push._claimed(due) is not None
    assert push_send(due) == {}
    assert push_send(due + outbox.lease_time() + timedelta(seconds=1)) == {ReminderState.SENT: 1}


def test_what_was_settled_meanwhile_is_not_pushed(due, sink):
    push_gather(due)
    Batch.objects.update(state=BatchState.CHECKED, checked_at=due)
    assert push_send(due) == {ReminderState.SETTLED: 1}
    assert not sink.taken


@pytest.mark.parametrize("status", [404, 410])
def test_an_address_that_was_given_up_is_forgotten(status, due, sink):
    push_gather(due)
    sink.status = status
    push_send(due)
    assert not PushDevice.objects.exists()
    assert not PushNote.objects.exists()


def test_who_signed_out_gets_nothing_there_any_more(due, person, sink):
    push_gather(due)
    BrowserSession.objects.filter(person=person).update(auth_hash="of an earlier password")
    assert push_send(due) == {ReminderState.SETTLED: 1}
    assert not sink.taken
    assert not PushDevice.objects.exists()


@pytest.mark.parametrize(
    "endpoint",
    [
        "https://example.test/x",
        "http://push.apple.com/x",
        "https://push.apple.com.example.test/x",
        "https://push.apple.com/x\r\nHost: example.test",
        "https://example.test\\@push.apple.com/x",
        "https://somebody@push.apple.com/x",
        "https://push.apple.com:22/x",
        "file:///etc/x",
        "",
    ],
)
def test_the_site_writes_to_push_services_that_it_knows_alone(endpoint, person):
    with pytest.raises(ValidationError, match="none that the site writes to"):
        push.push_device_add(by=person, session_key="x", endpoint=endpoint, p256dh="x", auth="x")


def test_the_keys_are_made_once_and_kept_sealed(db):
    first = push.push_keys()
    assert push.push_keys() == first
    assert PushKeys.objects.count() == 1
    assert point_of(private_key(PushKeys.objects.get().private)) == read(first.public)


def test_a_browser_is_turned_off_on_its_page(device, person, sign_in):
    client = sign_in(person)
    assert device.browser.device in client.get(reverse("reminders:notification-settings")).text
    other = sign_in(make_person())
    assert other.post(reverse("reminders:push-drop", args=[device.pk])).status_code == 404
    client.post(reverse("reminders:push-drop", args=[device.pk]))
    assert not PushDevice.objects.exists()
