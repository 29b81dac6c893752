"""How long a burner takes to heat a pot or a canner: m c dT over its power and efficiency.

These minutes pace a day's work. They are no process times, and every one is rounded up.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import NamedTuple

from recipes.engine.rules import FROM_MEMORY, NO_SOURCE

WATER_J_PER_KG_K = 4190  # mean of liquid water between 15 and 100 C; food has less, so its minutes come out longer
BOIL_OFF_J_PER_KG = 2_257_000  # heat of vaporisation at 100 C


class Figure(NamedTuple):
    """A figure for pacing the work, and where it comes from."""

    value: float
    source: str


# The share of a burner's power that reaches the pot.
EFFICIENCY: dict[str, Figure] = {
    "gas": Figure(0.32, "ENERGY STAR, as carried by CalMTA, Fact Sheet: Induction Cooking"),
    "electric": Figure(0.74, f"US Department of Energy, {FROM_MEMORY}"),
    "induction": Figure(0.85, "ENERGY STAR, as carried by CalMTA, Fact Sheet: Induction Cooking"),
}
USUAL_WATTS = Figure(2400, NO_SOURCE)  # a large electric ring


@dataclass(frozen=True)
class Burner:
    """One burner: its power in watts and the share of it that reaches the pot."""

    watts: float
    efficiency: float

    def __post_init__(self) -> None:
        if not 0 < self.watts <= 50_000:
            raise ValueError("a burner has between 0 and 50,000 watts")
        if not 0 < self.efficiency <= 1:
            raise ValueError("the efficiency of a burner is a share between 0 and 1")

    @classmethod
    def of_kind(cls, kind: str, watts: float = USUAL_WATTS.value) -> Burner:
        """A "gas", "electric" or "induction" burner."""
        return cls(watts, EFFICIENCY[kind].value)

    @property
    def usable_watts(self) -> float:
        return self.watts * self.efficiency


def minutes_to_heat(kg: float, from_c: float, to_c: float, burner: Burner) -> int:
    """Whole minutes, rounded up, to bring so much water (or food, taken as water) to a temperature."""
    return _minutes(kg * WATER_J_PER_KG_K * max(0.0, to_c - from_c), burner)


def minutes_to_boil_off(kg: float, burner: Burner) -> int:
    """Whole minutes, rounded up, to boil away so much water."""
    return _minutes(kg * BOIL_OFF_J_PER_KG, burner)


def _minutes(joules: float, burner: Burner) -> int:
    return ceil(joules / burner.usable_watts / 60)
