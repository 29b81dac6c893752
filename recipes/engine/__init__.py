"""The preserving mathematics: pure Python, standard library only, no input or output but its own `data`.

Nothing in this package imports Django or another room of the house; a test imports it in a process
where Django cannot be found.

From outside, only these doors are used (the import contract "The engine's face" says so):

- this module: a plan and what it is made of, a process looked up, an altitude, the rules;
- `terms`, the values of the trade, and `quantities`, amounts and jars;
- `acidity`, `changes`, `document`, `keeping`, `mass_balance`, `stations` and `yields`, each a subject by itself.
"""

from recipes.engine.alternatives import Choice, choices_of
from recipes.engine.jars import FOUR_QUART, SEVEN_QUART, Capacity, JarMix, capacity
from recipes.engine.mass_balance import Span
from recipes.engine.messages import words_of
from recipes.engine.physics import EFFICIENCY, AltitudeError, Burner, altitude_from_text, boiling_point_c, jelly_point_c
from recipes.engine.plan import MASS_BALANCE, USUAL_STOVE, Plan, PlanRequest, clock, plan_as_dict, plan_batch
from recipes.engine.process import (
    Process,
    ProcessFound,
    band_text,
    find_band,
    gauge_refusal,
    gauge_setting,
    process_choices,
    process_for,
    sterilise_minutes,
)
from recipes.engine.quantities import round_for_kitchen
from recipes.engine.rules import NO_SOURCE, RULES
from recipes.engine.scaling import MOST_POTS, Line, fruit_lines
from recipes.engine.schedule import MOST_BURNERS, MOST_COOKS, Step, StepKind, Timeline
from recipes.engine.table_alone import recipe_of_table, table_refusal, table_slug

__all__ = [
    "Choice",
    "choices_of",
    "recipe_of_table",
    "table_refusal",
    "table_slug",
    "JarMix",
    "FOUR_QUART",
    "SEVEN_QUART",
    "Capacity",
    "Process",
    "capacity",
    "Span",
    "words_of",
    "EFFICIENCY",
    "AltitudeError",
    "Burner",
    "altitude_from_text",
    "boiling_point_c",
    "jelly_point_c",
    "plan_batch",
    "MASS_BALANCE",
    "USUAL_STOVE",
    "Plan",
    "PlanRequest",
    "clock",
    "plan_as_dict",
    "ProcessFound",
    "band_text",
    "find_band",
    "gauge_refusal",
    "gauge_setting",
    "process_choices",
    "process_for",
    "sterilise_minutes",
    "NO_SOURCE",
    "RULES",
    "MOST_POTS",
    "Line",
    "fruit_lines",
    "round_for_kitchen",
    "Step",
    "StepKind",
    "Timeline",
    "MOST_BURNERS",
    "MOST_COOKS",
]
