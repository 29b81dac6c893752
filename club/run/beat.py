"""The clock of an embedded site: Celery's own beat, in half the memory of `celery -A club beat`.

    python -m club.run.beat [--loglevel INFO] [--schedule FILE]

It sends the names of the periodic jobs and runs none of them, so it reads neither Django's rooms nor their tasks.
"""

from __future__ import annotations

import os
from argparse import ArgumentParser

from celery.apps.beat import Beat

from club.celery import app


class Clock(Beat):  # type: ignore[misc]
    def init_loader(self) -> None:
        self.app.finalize()


def main() -> None:
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--loglevel", "-l", default=os.environ.get("LOG_LEVEL", "WARNING"))
    parser.add_argument("--schedule", "-s", default=app.conf.beat_schedule_filename)
    told = parser.parse_args()
    Clock(app=app, loglevel=told.loglevel, schedule=told.schedule).run()


if __name__ == "__main__":
    main()
