"""The drills' mail sink in a process of its own, counting only: first mail, last mail, and how many."""

from __future__ import annotations

import asyncio
import multiprocessing
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from tests.drills.mail_sink import MailSink

_spawn = multiprocessing.get_context("spawn")


class _Counting(MailSink):
    def __init__(self, port: int, pause_s: float, told: Any) -> None:
        super().__init__()
        self.port, self.pause_s, self.told = port, pause_s, told

    def keep(self, content: bytes) -> None:
        now = time.monotonic()
        with self.told.get_lock():
            if not self.told[0]:
                self.told[1] = now
            self.told[0] += 1
            self.told[2] = now


def _serve(port: int, pause_s: float, told: Any) -> None:
    async def serve() -> None:
        async with await asyncio.start_server(_Counting(port, pause_s, told).talk, "127.0.0.1", port, limit=2**20) as s:
            await s.serve_forever()

    asyncio.run(serve())


class CountingSink:
    def __init__(self, port: int, pause_s: float) -> None:
        self.told = _spawn.Array("d", [0.0, 0.0, 0.0])
        self.process = _spawn.Process(target=_serve, args=(port, pause_s, self.told), daemon=True)

    @property
    def count(self) -> int:
        return int(self.told[0])

    @property
    def per_second(self) -> float:
        """From the first mail to the last: starting a worker is not sending."""
        return (self.told[0] - 1) / (self.told[2] - self.told[1])

    def forget(self) -> None:
        with self.told.get_lock():
            self.told[:] = [0.0, 0.0, 0.0]


@contextmanager
def counting_sink(port: int, pause_s: float) -> Iterator[CountingSink]:
    sink = CountingSink(port, pause_s)
    sink.process.start()
    try:
        yield sink
    finally:
        sink.process.terminate()
        sink.process.join()
