"""The pantry over the year as an SVG picture, to stand inline in a page; the table beneath it says the same.

Drawn with presentation attributes only, as recipes/charts.py: the site's content policy lets it through, and in
`currentColor` it follows a dark page. Months ahead are open bars, so that colour alone tells nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import drawsvg
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.desk.season import MonthShelf
from recipes.charts import FONT, Description

WIDTH, HEIGHT = 360, 190  # a phone's, so that its letters stay readable there
LEFT, RIGHT, TOP, FOOT = 30, 4, 16, 34
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1_000)  # jars between two lines of the scale, of which there are few
EVERY = 3  # months between two names


def pantry_svg(months: Sequence[MonthShelf], *, title: str, prefix: str = "pantry") -> str:
    """A bar a month: past months filled, months ahead open, and a line between them for today."""
    drawing = drawsvg.Drawing(
        WIDTH,
        HEIGHT,
        id_prefix=prefix,
        **{"role": "img", "class": "kh-pantry", "aria-labelledby": f"{prefix}-title {prefix}-desc"},
    )
    drawing.append(drawsvg.Title(title, id=f"{prefix}-title"))
    drawing.append(Description(pantry_sentence(months), id=f"{prefix}-desc"))
    most = scale_top(months)
    _draw_scale(drawing, most, _step(months))
    for number, month in enumerate(months):
        _draw_month(drawing, month, number, len(months), most)
    svg: str = drawing.as_svg(header="")
    # Without a height of its own the picture keeps its shape at any width.
    return svg.replace(f'width="{WIDTH}" height="{HEIGHT}"', 'width="100%"', 1)


def scale_top(months: Sequence[MonthShelf]) -> int:
    """The upper end of the scale: the fullest month, up to the next whole step."""
    step = _step(months)
    return max(1, -(-max((month.jars for month in months), default=0) // step)) * step


def _step(months: Sequence[MonthShelf]) -> int:
    most = max((month.jars for month in months), default=0)
    return next((step for step in STEPS if most <= step * 5), STEPS[-1])


def pantry_sentence(months: Sequence[MonthShelf]) -> str:
    """The whole picture in words."""
    past = [month for month in months if not month.is_ahead]
    ahead = [month for month in months if month.is_ahead]
    if not past:
        return _("Nothing is known of the pantry.")
    fullest = max(past, key=lambda month: (month.jars, month.first))
    now = ngettext("Now %(n)s full jar.", "Now %(n)s full jars.", past[-1].jars) % {"n": past[-1].jars}
    told = {"n": fullest.jars, "month": month_words(fullest)}
    best = ngettext("Fullest in %(month)s: %(n)s jar.", "Fullest in %(month)s: %(n)s jars.", fullest.jars) % told
    parts = [now, best]
    if ahead:
        left = ngettext(
            "If nothing is put up, %(n)s jar is left in %(month)s.",
            "If nothing is put up, %(n)s jars are left in %(month)s.",
            ahead[-1].jars,
        )
        parts.append(left % {"n": ahead[-1].jars, "month": month_words(ahead[-1])})
    return " ".join(parts)


def month_words(month: MonthShelf) -> str:
    """ "Nov 2026" """
    return date_format(month.first, "M Y")


def _draw_scale(drawing: drawsvg.Drawing, most: int, step: int) -> None:
    for jars in range(0, most + 1, step):
        y = _y(jars, most)
        drawing.append(drawsvg.Line(LEFT, y, WIDTH - RIGHT, y, stroke="currentColor", stroke_opacity=0.2))
        drawing.append(_text(str(jars), LEFT - 5, y + 4, anchor="end"))


def _draw_month(drawing: drawsvg.Drawing, month: MonthShelf, number: int, count: int, most: int) -> None:
    room = (WIDTH - LEFT - RIGHT) / count
    x, y = LEFT + number * room, _y(month.jars, most)
    bar = drawsvg.Rectangle(
        round(x + 1, 1),
        y,
        round(room - 2, 1),
        round(HEIGHT - FOOT - y, 1),
        fill="none" if month.is_ahead else "currentColor",
        fill_opacity=0.6,
        stroke="currentColor",
        class_="kh-pantry-ahead" if month.is_ahead else "kh-pantry-past",
    )
    bar.append_title(f"{month_words(month)}: {month.jars}")
    drawing.append(bar)
    if number % EVERY == 0 and number + EVERY <= count:  # a name needs the room of three bars
        drawing.append(_text(date_format(month.first, "M"), x, HEIGHT - FOOT + 14))
    if month.first.month == 1:
        drawing.append(_text(str(month.first.year), x, HEIGHT - 5))


def _y(jars: int, most: int) -> float:
    return round(HEIGHT - FOOT - (HEIGHT - FOOT - TOP) * jars / most, 1)


def _text(words: str, x: float, y: float, anchor: str = "start") -> drawsvg.Text:
    return drawsvg.Text(words, 11, round(x, 1), y, fill="currentColor", font_family=FONT, text_anchor=anchor)
