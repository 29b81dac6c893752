"""A mail server of our own on a real socket: keeps what it gets; can be slow, refuse, hold a sender in mid-air, drop.

Plain enough to take thousands of mails a second, so that a drill measures the site and not its sink.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import threading
from collections import Counter
from collections.abc import Iterator
from email import message_from_bytes
from email.message import EmailMessage
from email.parser import BytesHeaderParser
from email.policy import compat32, default

_HEADERS = BytesHeaderParser(policy=compat32)
GREETING = "220 sink.example.test ESMTP"
PLAIN_ANSWERS = {"EHLO": "250 sink.example.test", "HELO": "250 sink.example.test", "MAIL": "250 OK", "RSET": "250 OK"}


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return trial.getsockname()[1]


class MailSink:
    """While `hold` is set, no mail is acknowledged; one that arrived counts as got all the same.

    `answer_to_recipient`: what everybody is answered to RCPT TO. `refused`: the answer by address. `pause_s`: how long
    each mail takes. `drop`: hang up on each mail instead of taking it. `hang_up_after`: mails a connection.
    """

    def __init__(self, answer_to_recipient: str | None = None) -> None:
        self.raw: list[bytes] = []
        self.hold = threading.Event()
        self.port = free_port()
        self.answer_to_recipient = answer_to_recipient
        self.refused: dict[str, str] = {}
        self.pause_s = 0.0
        self.drop = False
        self.hang_up_after = 0
        self.connections = 0
        self.refusals: Counter[str] = Counter()

    async def talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.connections += 1
        taken = 0
        with contextlib.suppress(ConnectionError, asyncio.IncompleteReadError, asyncio.CancelledError):
            self._say(writer, GREETING)
            while line := (await reader.readline()).decode(errors="replace").strip():
                verb = line[:4].upper()
                if verb == "DATA":
                    if not await self._take(reader, writer):
                        break
                    taken += 1
                    if taken == self.hang_up_after:
                        break
                elif verb == "QUIT":
                    self._say(writer, "221 Bye")
                    break
                else:
                    self._say(writer, self._answer(verb, line))
            await writer.drain()
        writer.close()

    def keep(self, content: bytes) -> None:
        self.raw.append(content)

    def _answer(self, verb: str, line: str) -> str:
        if verb != "RCPT":
            return PLAIN_ANSWERS.get(verb, "250 OK" if verb == "NOOP" else "502 Not known here")
        address = line.partition("<")[2].partition(">")[0]
        answer = self.refused.get(address) or self.answer_to_recipient or "250 OK"
        if answer[0] != "2":
            self.refusals[answer[:3]] += 1
        return answer

    async def _take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bool:
        if self.drop:
            return False
        self._say(writer, "354 Go on")
        content = (await reader.readuntil(b"\r\n.\r\n"))[:-5]
        if self.pause_s:
            await asyncio.sleep(self.pause_s)
        self.keep(content.replace(b"\r\n..", b"\r\n."))
        while self.hold.is_set():
            await asyncio.sleep(0.05)
        self._say(writer, "250 OK")
        return True

    @staticmethod
    def _say(writer: asyncio.StreamWriter, line: str) -> None:
        writer.write(line.encode() + b"\r\n")

    @property
    def got(self) -> list[EmailMessage]:
        return [message_from_bytes(content, policy=default) for content in list(self.raw)]

    @property
    def message_ids(self) -> list[str]:
        return self._headers("Message-ID")

    @property
    def addressees(self) -> list[str]:
        return self._headers("To")

    def _headers(self, name: str) -> list[str]:
        return [_HEADERS.parsebytes(content)[name] for content in list(self.raw)]


class _Server(threading.Thread):
    def __init__(self, sink: MailSink) -> None:
        super().__init__(daemon=True)
        self.sink = sink
        self.ready = threading.Event()

    def run(self) -> None:
        asyncio.run(self._serve())

    async def _serve(self) -> None:
        self.loop, self.over = asyncio.get_running_loop(), asyncio.Event()
        async with await asyncio.start_server(self.sink.talk, "127.0.0.1", self.sink.port, limit=2**20):
            self.ready.set()
            await self.over.wait()
            for talk in asyncio.all_tasks() - {asyncio.current_task()}:
                talk.cancel()

    def stop(self) -> None:
        self.loop.call_soon_threadsafe(self.over.set)
        self.join(10)


@contextlib.contextmanager
def listening(sink: MailSink) -> Iterator[None]:
    """For as long as the block lasts; outside it nobody listens on the sink's port, and what it got is kept."""
    server = _Server(sink)
    server.start()
    assert server.ready.wait(10)
    try:
        yield
    finally:
        sink.hold.clear()
        server.stop()


@contextlib.contextmanager
def mail_sink(answer_to_recipient: str | None = None) -> Iterator[MailSink]:
    sink = MailSink(answer_to_recipient)
    with listening(sink):
        yield sink
