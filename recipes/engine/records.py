"""`dataclass` for the engine's values: the same decorator, its methods written when the first of a class is made.

Writing the methods of all of them takes longer than all the rest of loading the engine, and a page that asks for a
boiling point makes no plan.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(**options: bool) -> Callable[[type], type]:
        """A data class of these options; until the first of it is made its fields cannot be listed."""

        def wait(cls: type) -> type:
            def first(made: object, *args: object, **values: object) -> None:
                for waiting in reversed(cls.__mro__):  # a class needs the fields of those it rests on
                    if finish := _WAITING.pop(waiting, None):
                        finish()
                made.__init__(*args, **values)

            def finish() -> None:
                del cls.__init__
                dataclasses.dataclass(**options)(cls)

            cls.__init__ = first
            _WAITING[cls] = finish
            return cls

        return wait

    _WAITING: dict[type, Callable[[], None]] = {}
