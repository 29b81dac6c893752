"""What a student takes home: the recipe as her station cooked it, and what her own kitchen's altitude asks for.

A process time is looked up by the engine for each kitchen, or there is none and the reason stands in its place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from club.classes.models import SignUp
from club.members.models import Kitchen
from inventory.batches import rules
from inventory.batches.models import Batch
from recipes.engine.plan import Plan
from recipes.engine.terms import Canner, Pack, Rule
from recipes.measures import KitchenPoints, altitude_text, headspace_text, kitchen_points, pressure_text
from recipes.models import RevisionState
from recipes.planning import plan_for
from recipes.words import CANNERS, JARS, PACKS


@dataclass(frozen=True)
class KitchenTime:
    """One kitchen's process in words, or `refusals` in its place; `also` is what else its altitude asks for."""

    name: str
    altitude: str
    process: str = ""
    also: tuple[str, ...] = ()
    refusals: tuple[str, ...] = ()


@dataclass(frozen=True)
class Handout:
    """`hall` is the process as planned for the station; `own` the student's own kitchens, which may be none."""

    signup: SignUp
    batch: Batch
    hall: KitchenTime
    own: tuple[KitchenTime, ...]
    withdrawn: str

    @property
    def lines(self) -> list[dict[str, Any]]:
        """The amounts as scaled for the station: item, prep, text, text_per_pot, grams."""
        return list(self.batch.plan["lines"])

    @property
    def steps(self) -> tuple[str, ...]:
        return self.batch.revision.tested.steps

    @property
    def cautions(self) -> list[dict[str, str]]:
        return list(self.batch.plan["cautions"])

    @property
    def headspace(self) -> str:
        return headspace_text(self.batch.revision.tested.headspace_in)

    @property
    def source(self) -> str:
        told = self.batch.plan["source"]
        return ", ".join(filter(None, [told["title"], told["edition"], told["place"]]))

    @property
    def at_home(self) -> tuple[Rule, ...]:
        """What to do with the jars at home, in the order in which it comes up."""
        if self.batch.is_frozen_kind or self.given_up:
            return ()
        again = rules.REPROCESS if self.batch.is_reprocessable else rules.REPROCESS_HOT
        return (rules.SEAL_LOOK, again, rules.REFRIGERATE, rules.FREEZE, rules.BEST_WITHIN)

    @property
    def given_up(self) -> str:
        """Why there are no jars; empty where there are."""
        return self.batch.abandoned_reason

    @property
    def is_hers(self) -> bool:
        """Whether the jars went home with the student herself."""
        return self.batch.made_by_id == self.signup.person_id


def handout_of(signup: SignUp) -> Handout | None:
    """None where the sign-up sat at no station, or nothing was cooked there."""
    cooking = getattr(signup.station, "cooking", None)
    if cooking is None:
        return None
    batch: Batch = cooking.batch
    homes = Kitchen.objects.filter(people=signup.person, is_hall=False)
    withdrawn = batch.revision.withdrawn_reason if batch.revision.state == RevisionState.WITHDRAWN else ""
    return Handout(
        signup=signup,
        batch=batch,
        hall=_no_time(batch, withdrawn) if withdrawn else _at_the_hall(batch),
        own=tuple(_at_home(batch, home) for home in homes),
        withdrawn=withdrawn,
    )


def _no_time(batch: Batch, withdrawn: str) -> KitchenTime:
    """Not even the time that the hall went by: a handout is what one cooks from at home."""
    why = _("This revision was withdrawn since, so there is no process to go by: %(why)s") % {"why": withdrawn}
    return KitchenTime(batch.kitchen.name, altitude_text(batch.altitude), refusals=(why,))


def _at_the_hall(batch: Batch) -> KitchenTime:
    process = batch.plan["process"]
    words = _process(batch, process["minutes"], process["pressure_psi"], process["vent_minutes"]) if process else None
    points = kitchen_points(batch.altitude, batch.revision.tested)
    return KitchenTime(
        name=batch.kitchen.name,
        altitude=altitude_text(batch.altitude),
        process=words or _frozen(),
        also=_also(batch, points, sterile=bool(batch.plan["sterilise_jars"])),
    )


def _at_home(batch: Batch, home: Kitchen) -> KitchenTime:
    """The same pots, jars, pack and kind of canner, at the altitude of her own kitchen."""
    plan = plan_for(
        revision=batch.revision,
        altitude=home.altitude,
        pots=batch.pots,
        jar=batch.jar_size,
        pack=Pack(batch.pack) if batch.pack else None,
        canner=Canner(batch.canner) if batch.canner else None,
    )
    altitude = altitude_text(home.altitude) if home.altitude else _("altitude not known")
    if not plan.ok or home.altitude is None:
        why = tuple(refusal.message for refusal in plan.refusals)
        return KitchenTime(home.name, altitude, refusals=why or (_("Give this kitchen its altitude first."),))
    points = kitchen_points(home.altitude, batch.revision.tested)
    also = _also(batch, points, sterile=bool(plan.sterilise_jars))
    return KitchenTime(home.name, altitude, process=_planned(batch, plan), also=also)


def _planned(batch: Batch, plan: Plan) -> str:
    found = plan.process
    return _process(batch, found.minutes, found.pressure_psi, found.vent_minutes) if found else _frozen()


def _process(batch: Batch, minutes: int, psi: int | None, vent: int) -> str:
    """ "10 minutes, boiling-water canner, hot pack, jars up to half-pint (237 ml)" """
    told = [_("%(n)s minutes") % {"n": minutes}]
    if psi is not None:
        told = [_("%(n)s minutes at %(pressure)s") % {"n": minutes, "pressure": pressure_text(psi)}]
        told.append(_("after venting for %(n)s minutes") % {"n": vent})
    told += [str(CANNERS[Canner(batch.canner)]), str(PACKS[Pack(batch.pack)])]
    return ", ".join([*told, _("jars up to %(jar)s") % {"jar": JARS[batch.jar_size]}])


def _frozen() -> str:
    return _("Kept in the freezer: there is no process, and it never stands on a shelf.")


def _also(batch: Batch, points: KitchenPoints | None, *, sterile: bool) -> tuple[str, ...]:
    also = [_("Sterilise the empty jars first: the process is shorter than 10 minutes.")] if sterile else []
    if points is not None:
        also.append(_("Water boils at %(at)s.") % {"at": points.boiling})
        if batch.revision.tested.endpoint_f_above_boiling:
            also.append(_("Done, by the thermometer, at %(at)s.") % {"at": points.jelly})
    return tuple(also)
