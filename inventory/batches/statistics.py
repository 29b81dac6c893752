"""How surely a count of failed lids speaks. Pure: whole numbers in, plain values out, standard library only.

Wilson's interval: E. B. Wilson, "Probable inference, the law of succession, and statistical inference", Journal of
the American Statistical Association 22 (1927). Fisher's exact test: R. A. Fisher, Statistical Methods for Research
Workers (1934), section 21.02. Both from memory; the tests check them against an independent library.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import comb, sqrt
from statistics import NormalDist

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
