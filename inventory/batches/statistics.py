"""How surely a count of failed lids speaks. Pure: whole numbers in, plain values out, standard library only.

Wilson's interval: E. B. Wilson, "Probable inference, the law of succession, and statistical inference", Journal of
the American Statistical Association 22 (1927). Fisher's exact test: R. A. Fisher, Statistical Methods for Research
Workers (1934), section 21.02. Both from memory; the tests check them against an independent library.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import ceil, comb, sqrt
from statistics import NormalDist

import drawsvg
from django.utils.translation import gettext as _

from recipes.charts import FONT, Description

CONFIDENCE = 0.95
# Our own choices, no source: fewer lids than this say little, and one chance in twenty is the usual line.
FEW = 20
LINE = Fraction(1, 20)


@dataclass(frozen=True)
class Rate:
    """`failed` of `looked_at` lids, and between which shares of one the lot's true rate may well lie."""

    failed: int
    looked_at: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.failed / self.looked_at

    @property
    def is_few(self) -> bool:
        return self.looked_at < FEW


class Verdict(StrEnum):
    NOTHING = "nothing"  # a lot without a single lid looked at
    TOO_FEW = "too-few"  # so few lids that even the plainest difference could be chance
    MAY_BE_CHANCE = "may-be-chance"
    HARDLY_CHANCE = "hardly-chance"


@dataclass(frozen=True)
class Comparison:
    """`p`: how often chance alone gives two lots of one quality a difference at least as unlikely as this one."""

    verdict: Verdict
    p: Fraction


def rate(failed: int, looked_at: int, *, confidence: float = CONFIDENCE) -> Rate | None:
    """The failure rate with Wilson's interval; None where nothing was looked at. ValueError for counts that lie."""
    _check(failed, looked_at)
    if looked_at == 0:
        return None
    low, high = wilson(failed, looked_at, confidence=confidence)
    return Rate(failed, looked_at, low, high)


def wilson(failed: int, looked_at: int, *, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Wilson's score interval without continuity correction, as shares of one; `looked_at` above zero."""
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    n, share = looked_at, failed / looked_at
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    # At the ends the formula gives the end itself; rounding must not put a figure beside it.
    low = 0.0 if failed == 0 else max(0.0, middle - half)
    high = 1.0 if failed == looked_at else min(1.0, middle + half)
    return low, high


def fisher_exact(failed_a: int, looked_a: int, failed_b: int, looked_b: int) -> Fraction:
    """Fisher's exact test, two-sided, as an exact fraction of one.

    Given how many lids were looked at in each lot and how many failed in all, every way to share the failures out
    has a chance of its own; those no likelier than what was seen are added up. Whole numbers throughout, so that
    "no likelier" needs no tolerance.
    """
    _check(failed_a, looked_a)
    _check(failed_b, looked_b)
    failed = failed_a + failed_b
    weights = _weights(looked_a, looked_b, failed)
    seen = weights[failed_a - max(0, failed - looked_b)]
    return Fraction(sum(weight for weight in weights if weight <= seen), sum(weights))


def compare(failed_a: int, looked_a: int, failed_b: int, looked_b: int) -> Comparison:
    """Whether two lots differ by more than chance; few data says so instead of a verdict."""
    p = fisher_exact(failed_a, looked_a, failed_b, looked_b)
    if looked_a == 0 or looked_b == 0:
        return Comparison(Verdict.NOTHING, p)
    if p < LINE:
        return Comparison(Verdict.HARDLY_CHANCE, p)
    if min(looked_a, looked_b) < FEW or not can_tell(looked_a, looked_b, failed_a + failed_b):
        return Comparison(Verdict.TOO_FEW, p)
    return Comparison(Verdict.MAY_BE_CHANCE, p)


def can_tell(looked_a: int, looked_b: int, failed: int) -> bool:
    """Whether any way to share so many failures out would have been called more than chance."""
    weights = _weights(looked_a, looked_b, failed)
    total = sum(weights)
    return any(Fraction(sum(w for w in weights if w <= end), total) < LINE for end in (weights[0], weights[-1]))


def _weights(looked_a: int, looked_b: int, failed: int) -> list[int]:
    """In how many ways `failed` failures fall on the lots, for each number that lot a can have of them.

    The first by binomials, each next one from the one before: C(a, k) C(b, f-k).
    """
    first, last = max(0, failed - looked_b), min(looked_a, failed)
    weight = comb(looked_a, first) * comb(looked_b, failed - first)
    weights = [weight]
    for k in range(first, last):
        weight = weight * (looked_a - k) * (failed - k) // ((k + 1) * (looked_b - failed + k + 1))
        weights.append(weight)
    return weights


def _check(failed: int, looked_at: int) -> None:
    if not 0 <= failed <= looked_at:
        raise ValueError(f"{failed} of {looked_at} lids cannot have failed")


# Failure rates with their intervals as an SVG picture, to stand inline in a page.
#
# Drawn with presentation attributes only, as recipes/charts.py: no style and no script, so that the site's content
# policy lets it through, and in `currentColor`, so that it follows a dark page. The table beside it says the same.

WIDTH = 340  # a phone's, so that its letters stay readable there; on a desk it stands in a narrow column
MARGIN = 18
LANE = 46
TOP = 40
LETTERS = 40  # of a lot's name that the picture has room for


@dataclass(frozen=True)
class RateBar:
    label: str
    rate: Rate


def rates_svg(bars: Sequence[RateBar], *, title: str, prefix: str = "rates") -> str:
    """A line for each lot: a dot at the rate, whiskers over its interval. Few data is drawn as an open dot."""
    most, height = scale_top(bars), TOP + LANE * len(bars) + 8
    drawing = drawsvg.Drawing(
        WIDTH,
        height,
        id_prefix=prefix,
        **{"role": "img", "class": "kh-rates", "aria-labelledby": f"{prefix}-title {prefix}-desc"},
    )
    drawing.append(drawsvg.Title(title, id=f"{prefix}-title"))
    drawing.append(Description(rates_sentence(bars), id=f"{prefix}-desc"))
    _draw_scale(drawing, most, TOP + LANE * len(bars))
    for row, bar in enumerate(bars):
        _draw_bar(drawing, bar, TOP + LANE * row + LANE // 2 + 6, most)
    svg: str = drawing.as_svg(header="")
    # Without a height of its own the picture keeps its shape at any width.
    return svg.replace(f'width="{WIDTH}" height="{height}"', 'width="100%"', 1)


def scale_top(bars: Sequence[RateBar]) -> int:
    """The right end of the scale in percent: the highest whisker, up to the next ten."""
    highest = max((bar.rate.high for bar in bars), default=0.1)
    return min(100, max(10, ceil(highest * 10) * 10))


def rates_sentence(bars: Sequence[RateBar]) -> str:
    """The whole picture in words."""
    text = _("%(lot)s: %(failed)s of %(of)s failed, likely %(low)s to %(high)s %%.")
    return " ".join(
        text
        % {
            "lot": bar.label,
            "failed": bar.rate.failed,
            "of": bar.rate.looked_at,
            "low": round(100 * bar.rate.low),
            "high": round(100 * bar.rate.high),
        }
        for bar in bars
    )


def _draw_scale(drawing: drawsvg.Drawing, most: int, bottom: int) -> None:
    for percent in range(0, most + 1, 10 if most <= 50 else 20):
        x = _x(percent / 100, most)
        drawing.append(drawsvg.Line(x, TOP - 8, x, bottom, stroke="currentColor", stroke_opacity=0.2))
        drawing.append(_text(f"{percent} %", x, TOP - 16, anchor="middle"))


def _draw_bar(drawing: drawsvg.Drawing, bar: RateBar, y: int, most: int) -> None:
    low, high = _x(bar.rate.low, most), _x(bar.rate.high, most)
    label = bar.label if len(bar.label) <= LETTERS else f"{bar.label[: LETTERS - 1]}…"
    drawing.append(_text(label, 0, y - 13))
    drawing.append(drawsvg.Line(low, y, high, y, stroke="currentColor", stroke_width=3, stroke_opacity=0.5))
    for end in (low, high):
        drawing.append(drawsvg.Line(end, y - 6, end, y + 6, stroke="currentColor", stroke_width=2))
    dot = drawsvg.Circle(
        _x(bar.rate.share, most),
        y,
        6,
        fill="none" if bar.rate.is_few else "currentColor",
        stroke="currentColor",
        stroke_width=2,
    )
    dot.append_title(rates_sentence([bar]))
    drawing.append(dot)


def _x(share: float, most: int) -> float:
    return round(MARGIN + (WIDTH - 2 * MARGIN) * share * 100 / most, 1)


def _text(words: str, x: float, y: float, anchor: str = "start") -> drawsvg.Text:
    return drawsvg.Text(words, 13, x, y, fill="currentColor", font_family=FONT, text_anchor=anchor)
