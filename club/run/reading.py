"""A gunicorn worker in which no thread waits for a client.

gunicorn's own threaded worker gives each new connection to a thread, which waits there for the request: as many silent
or half-sent requests as there are threads stop the site. Here the worker's loop reads, for all connections at once, and
a thread gets a request when it is whole. Only a long body (a photograph, a workbook) is read in a thread, by half of
the threads at most, and cut off when it takes too long; further ones wait in a line.
"""

from __future__ import annotations

import re
import selectors
import socket
import struct
import time
from collections import deque
from concurrent.futures import Future
from functools import partial
from typing import Any

from gunicorn.workers.gthread import TConn, ThreadWorker

READ_PATIENCE_S = 15.0  # from the first byte, or from connecting, until a request is whole
BODY_PATIENCE_S = 60.0  # for the rest of a long body, which a thread reads; and for its turn in the line
SEND_PATIENCE_S = 30  # for a client that takes no more of its answer
MOST_HEAD = 64 * 1024  # of lines before the body; what is longer gunicorn refuses by its own limits
SHORT_BODY = 64 * 1024  # of a form without files; waited for before a thread is given
AT_ONCE = 64 * 1024

CONTENT_LENGTH = re.compile(rb"\r\ncontent-length:[ \t]*0*([0-9]{1,18})[ \t]*(?:\r\n|$)")


def is_whole(received: bytes | bytearray) -> bool:
    """Whether a thread can take this request: all of its head, and of its body if that is short."""
    end = received.find(b"\r\n\r\n")
    if end < 0:
        return len(received) > MOST_HEAD
    head = bytes(received[:end]).lower()
    if b"\r\nexpect:" in head:  # the client waits for our word before it sends the body
        return True
    length = CONTENT_LENGTH.search(head)
    body = int(length[1]) if length else 0
    return body > SHORT_BODY or len(received) >= end + 4 + body


def has_more_to_come(received: bytes | bytearray) -> bool:
    """Whether the thread that gets this request has to wait for the rest of its body."""
    head, blank, body = bytes(received).partition(b"\r\n\r\n")
    length = CONTENT_LENGTH.search(head.lower())
    return bool(blank) and length is not None and len(body) < int(length[1])


class Connection(TConn):  # type: ignore[misc]
    """One client. `received` is what came of a request that is not whole yet."""

    is_long = False  # whether a thread reads the rest of its body

    def __init__(self, *args: Any) -> None:
        super().__init__(*args)
        self.received = bytearray()
        # Raises in the thread that sends, and so ends the connection.
        self.sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("ll", SEND_PATIENCE_S, 0))


class ReadingWorker(ThreadWorker):  # type: ignore[misc]
    """Built on the hooks of gunicorn 27 (pinned in pyproject.toml): accept, readable, enqueue, finish, murder."""

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self.in_hand: dict[Connection, float] = {}  # with a thread, and until when that may still read
        self.long_in_hand: set[Connection] = set()
        self.line: deque[Connection] = deque()  # of those with a long body, while others of them have their threads

    def accept(self, listener: socket.socket) -> None:
        try:
            client, address = listener.accept()
        except OSError:  # gone again, or another worker was first
            return
        self.nr_conns += 1
        self.read_on(Connection(self.cfg, client, address, listener.getsockname()))

    def read_on(self, conn: Connection) -> None:
        """From now on the loop reads this connection, until the request is whole or READ_PATIENCE_S is over."""
        conn.sock.setblocking(False)
        conn.received.clear()
        conn.timeout = time.monotonic() + READ_PATIENCE_S
        self.pending_conns.append(conn)  # murder_pending closes it when its time is over
        self.poller.register(conn.sock, selectors.EVENT_READ, partial(self.on_bytes, conn))

    def on_bytes(self, conn: Connection, sock: socket.socket) -> None:
        try:
            more = sock.recv(AT_ONCE)
        except BlockingIOError:
            return
        except OSError:
            more = b""
        conn.received += more
        if more and not is_whole(conn.received):
            return
        self.poller.unregister(sock)
        self.pending_conns.remove(conn)
        if not more:
            self.nr_conns -= 1
            conn.close()
            return
        conn.data_ready = True
        conn.is_long = has_more_to_come(conn.received)
        conn.init()
        conn.parser.unreader.unread(bytes(conn.received))
        conn.received.clear()
        self.enqueue_req(conn)

    def on_client_socket_readable(self, conn: Connection, client: socket.socket) -> None:
        """The next request on a connection that was kept."""
        self.poller.unregister(client)
        self.keepalived_conns.remove(conn)
        self.read_on(conn)

    def enqueue_req(self, conn: Connection) -> None:
        """Whoever sends a long body slowly keeps at most half of the threads from others."""
        if conn.is_long and len(self.long_in_hand) >= self.cfg.threads // 2:
            conn.timeout = time.monotonic() + BODY_PATIENCE_S
            self.line.append(conn)
            return
        if conn.is_long:
            self.long_in_hand.add(conn)
        self.in_hand[conn] = time.monotonic() + BODY_PATIENCE_S
        super().enqueue_req(conn)

    def handle(self, conn: Connection) -> Any:
        """In a thread. Saying goodbye may take two seconds, and so is not left to the loop."""
        kept = super().handle(conn)
        if kept is False:
            conn.close(graceful=True)
        return kept

    def finish_request(self, conn: Connection, future: Future[Any]) -> None:
        self.in_hand.pop(conn, None)
        super().finish_request(conn, future)
        if conn in self.long_in_hand:
            self.long_in_hand.remove(conn)
            if self.line:
                self.enqueue_req(self.line.popleft())

    def murder_pending(self) -> None:
        """Each second. A thread that still reads past its time is told that no more will come; an answer goes out."""
        now = time.monotonic()
        if not self.alive:  # a browser keeps connections ready that it may never use: no end waits for them
            for conn in self.pending_conns:
                conn.timeout = conn.timeout if conn.received else now
        super().murder_pending()
        while self.line and self.line[0].timeout < now:
            self.nr_conns -= 1
            self.line.popleft().close()
        for conn in [conn for conn, until in self.in_hand.items() if until < now]:
            del self.in_hand[conn]
            try:
                conn.sock.shutdown(socket.SHUT_RD)
            except OSError:  # closed meanwhile
                continue
