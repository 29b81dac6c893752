"""Sheets and rolls of labels by rows, columns and margins, and how words are laid out on one label.

Pure: millimetres in, millimetres out, from the upper left corner. How wide a word is, is asked of whoever draws.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

LETTER, A4 = (2159, 2794), (2100, 2970)  # tenths of a millimetre
LEAST_LABEL, MOST_PAPER = 170, 4500  # as well: what holds a square, what goes into a printer
SMALLEST_PT, LARGEST_PT, STEP_PT = 5.0, 11.0, 0.5
MM_OF_PT = 25.4 / 72
LEADING = 1.18  # from line to line, by the size of the letters
PAD = 2.0
KEPT_TOGETHER = "\u00a0"  # a space at which no line ends
BETWEEN = 1.0  # from the words to the square
SQUARE_LEAST, SQUARE_MOST = 13.0, 22.0  # a phone reads the dots of a smaller one badly, and needs no larger one


@dataclass(frozen=True)
class Sheet:
    """Lengths in tenths of a millimetre. The margins left and right are alike, and so are those above and below.

    A roll is a sheet of one label. On a round sheet each label is the largest circle that its place holds.
    """

    page_width: int
    page_height: int
    columns: int = 1
    rows: int = 1
    side: int = 0
    top: int = 0
    gap_across: int = 0
    gap_down: int = 0
    is_round: bool = False

    @property
    def count(self) -> int:
        return self.columns * self.rows

    @property
    def is_roll(self) -> bool:
        return self.count == 1

    @property
    def width(self) -> float:
        """Of one label, in millimetres."""
        return (self.page_width - 2 * self.side - (self.columns - 1) * self.gap_across) / self.columns / 10

    @property
    def height(self) -> float:
        return (self.page_height - 2 * self.top - (self.rows - 1) * self.gap_down) / self.rows / 10

    @property
    def label(self) -> tuple[float, float]:
        """Width and height of what is printed on: of a round label its diameter twice."""
        across = min(self.width, self.height)
        return (across, across) if self.is_round else (self.width, self.height)

    def place(self, number: int) -> tuple[int, float, float]:
        """The page (from 0), and the left and upper edge in millimetres, of the label of this number (from 0)."""
        page, on_page = divmod(number, self.count)
        row, column = divmod(on_page, self.columns)
        wide, tall = self.label
        left = self.side / 10 + column * (self.width + self.gap_across / 10) + (self.width - wide) / 2
        top = self.top / 10 + row * (self.height + self.gap_down / 10) + (self.height - tall) / 2
        return page, left, top


# Own choice, and starting points only: whoever has a sheet in hand measures it, and a test page shows whether it fits.
SHEETS: dict[str, tuple[Promise, Sheet]] = {
    "letter-3x8-plain": (
        _("Letter, 3 x 8, plain paper to cut"),
        Sheet(*LETTER, columns=3, rows=8, side=100, top=100),
    ),
    "letter-3x10": (_("Letter, 3 x 10"), Sheet(*LETTER, columns=3, rows=10, side=60, top=120, gap_across=30)),
    "letter-2x5": (_("Letter, 2 x 5"), Sheet(*LETTER, columns=2, rows=5, side=60, top=120, gap_across=40)),
    "letter-round": (
        _("Letter, round for lids, 3 x 4"),
        Sheet(*LETTER, columns=3, rows=4, side=90, top=120, gap_across=30, gap_down=30, is_round=True),
    ),
    "a4-3x8-plain": (_("A4, 3 x 8, plain paper to cut"), Sheet(*A4, columns=3, rows=8, side=100, top=100)),
    "a4-3x8": (_("A4, 3 x 8"), Sheet(*A4, columns=3, rows=8, side=60, top=120, gap_across=30)),
    "a4-2x7": (_("A4, 2 x 7"), Sheet(*A4, columns=2, rows=7, side=60, top=140, gap_across=30)),
    "a4-round": (
        _("A4, round for lids, 3 x 4"),
        Sheet(*A4, columns=3, rows=4, side=90, top=120, gap_across=30, gap_down=30, is_round=True),
    ),
    "roll": (_("Roll, 60 x 40 mm"), Sheet(600, 400)),
    "roll-round": (_("Roll, round, 60 mm"), Sheet(600, 600, is_round=True)),
}
PLAIN = {"letter": SHEETS["letter-3x8-plain"][1], "a4": SHEETS["a4-3x8-plain"][1]}


# One label.


@dataclass(frozen=True)
class Line:
    """A sentence of a label. `scale` is its size beside the smallest line's."""

    text: str
    scale: float = 1.0
    is_bold: bool = False


@dataclass(frozen=True)
class Label:
    """Its sentences from the top, and what the square says. A marked one has a broken edge."""

    lines: tuple[Line, ...]
    url: str
    is_marked: bool = False


@dataclass(frozen=True)
class Words:
    """One line as it is drawn: its left end and its foot in millimetres, its size in points."""

    text: str
    x: float
    y: float
    width: float
    size: float
    is_bold: bool


@dataclass(frozen=True)
class Laid:
    words: tuple[Words, ...]
    square_x: float
    square_y: float
    square_side: float


# How wide a text is in millimetres, set in letters of one point.
Measure = Callable[[str, bool], float]
# The left and right end of what is free between two heights; None where nothing is.
Room = Callable[[float, float], tuple[float, float] | None]


def lay(label: Label, sheet: Sheet, measure: Measure) -> Laid | None:
    """Everything on the label in the largest letters that fit; with the smallest square, and then all lines in letters
    of one size, only where that helps. None where the smallest letters are still too large.

    Nothing is cut off and nothing is left out: what does not fit wants a larger label.
    """
    wide, tall = sheet.label
    even = tuple(replace(line, scale=1.0) for line in label.lines)
    for lines, wanted in ((label.lines, wide * 0.3), (label.lines, SQUARE_LEAST), (even, SQUARE_LEAST)):
        side = min(max(wanted, SQUARE_LEAST), SQUARE_MOST, tall - 2 * PAD)
        if side < SQUARE_LEAST:
            return None
        room, first, last, square = _round(wide, side) if sheet.is_round else _oblong(wide, tall, side)
        size = LARGEST_PT
        while size >= SMALLEST_PT:
            words = _flow(lines, size, room, first, last, measure, is_centred=sheet.is_round)
            if words is not None:
                return Laid(tuple(words), *square)
            size -= STEP_PT
    return None


def _oblong(wide: float, tall: float, side: float) -> tuple[Room, float, float, tuple[float, float, float]]:
    """The square in the upper right corner, the words beside it and, as there is room, beneath it."""
    left_of_square = wide - PAD - side - BETWEEN

    def room(upper: float, _lower: float) -> tuple[float, float] | None:
        return PAD, (wide - PAD if upper >= PAD + side else left_of_square)

    return room, PAD, tall - PAD, (wide - PAD - side, PAD, side)


def _round(across: float, side: float) -> tuple[Room, float, float, tuple[float, float, float]]:
    """The square at the foot, the words above it, as wide as the circle is there."""
    half, radius = across / 2, across / 2 - PAD
    foot = math.sqrt(radius**2 - (side / 2) ** 2)

    def room(upper: float, lower: float) -> tuple[float, float] | None:
        furthest = max(abs(upper - half), abs(lower - half))
        if furthest >= radius:
            return None
        chord = math.sqrt(radius**2 - furthest**2)
        return half - chord, half + chord

    first = half - math.sqrt(radius**2 - (across * 0.2) ** 2)
    return room, first, half + foot - side - BETWEEN, (half - side / 2, half + foot - side, side)


def _flow(
    lines: tuple[Line, ...], size: float, room: Room, first: float, last: float, measure: Measure, *, is_centred: bool
) -> list[Words] | None:
    """The lines from `first` downwards, none beneath `last`; None where they do not fit."""
    found: list[Words] = []
    upper = first
    for line in lines:
        points = line.scale * size
        height = points * LEADING * MM_OF_PT
        left = [word for word in line.text.split(" ") if word]
        while left:
            ends = room(upper, upper + height)
            if ends is None or upper + height > last:
                return None
            text = _one_line(left, (ends[1] - ends[0]) / points, line.is_bold, measure, may_break=size == SMALLEST_PT)
            if not text:
                return None
            width = measure(text, line.is_bold) * points
            x = (ends[0] + ends[1] - width) / 2 if is_centred else ends[0]
            foot = upper + points * MM_OF_PT * 0.95
            found.append(Words(text.replace(KEPT_TOGETHER, " "), x, foot, width, points, line.is_bold))
            upper += height
    return found


def _one_line(left: list[str], room: float, is_bold: bool, measure: Measure, *, may_break: bool) -> str:
    """As many of the words as fit, taken out of the list; "" where not even the first does.

    A word is broken between its letters only where it fits no line in the smallest size.
    """
    text = left[0]
    if measure(text, is_bold) > room:
        if not may_break:
            return ""
        letters = max((n for n in range(1, len(text)) if measure(text[:n], is_bold) <= room), default=0)
        text, left[0] = text[:letters], text[letters:]
        return text
    left.pop(0)
    while left and measure(longer := f"{text} {left[0]}", is_bold) <= room:
        text = longer
        left.pop(0)
    return text
