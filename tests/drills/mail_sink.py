"""A mail server of our own on a real socket: keeps what it gets, and can refuse, or hold a sender in mid-air."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import threading
from collections.abc import Iterator
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any

from aiosmtpd.controller import Controller


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return trial.getsockname()[1]


class MailSink:
    """`answer_to_recipient` is what the server says to RCPT TO; while `hold` is set, no mail is acknowledged."""

    def __init__(self, answer_to_recipient: str | None = None) -> None:
        self.got: list[EmailMessage] = []
        self.hold = threading.Event()
        self.port = free_port()
        self.answer_to_recipient = answer_to_recipient

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        if self.answer_to_recipient is None:
            envelope.rcpt_tos.append(address)
        return self.answer_to_recipient or "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        self.got.append(message_from_bytes(envelope.content, policy=default))
        while self.hold.is_set():
            await asyncio.sleep(0.05)
        return "250 OK"

    @property
    def message_ids(self) -> list[str]:
        return [message["Message-ID"] for message in self.got]


@contextlib.contextmanager
def mail_sink(answer_to_recipient: str | None = None) -> Iterator[MailSink]:
    sink = MailSink(answer_to_recipient)
    controller = Controller(sink, hostname="127.0.0.1", port=sink.port)
    controller.start()
    try:
        yield sink
    finally:
        sink.hold.clear()
        controller.stop()
