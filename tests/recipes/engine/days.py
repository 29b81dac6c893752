"""Days to plan, for the tests of the timeline."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from recipes.engine.jars import capacity
from recipes.engine.physics import Burner
from recipes.engine.process import Process
from recipes.engine.schedule import Gear, PotWork, Timeline, day_timeline
from recipes.engine.terms import Altitude, Canner, JarCount, Method, Pack, Refusal

HOME = Altitude(Fraction(1040))
STOVE = (Burner.of_kind("electric"),) * 4
SMALL, LARGE = Burner(1200, 0.74), Burner(2400, 0.74)
TEN = Process(Method.BOILING_WATER, 10)
BEANS = Process(Method.PRESSURE, 25, 12)
ONE_PROCESS = dict.fromkeys(("half-pint", "pint", "quart"), TEN)
CANNER = capacity("a test", "test", half_pint=6, pint=4, quart=2)


def jam(name: str = "jam", size: str = "half-pint", count: int = 8, **changes) -> PotWork:
    fields = {"kg": 2.4, "boil_minutes": 1, "stir": True, **changes}
    return PotWork(name, (JarCount(size, count),), **fields)


def day(pots, gear=None, processes=None, altitude=HOME, **options) -> Timeline:
    found = plan(pots, gear, processes, altitude, **options)
    assert isinstance(found, Timeline), found
    return found


def plan(pots, gear=None, processes=None, altitude=HOME, **options) -> Timeline | Refusal:
    usual = ONE_PROCESS if processes is None else processes
    return day_timeline(pots, usual, gear or Gear(STOVE), altitude, **options)


@st.composite
def gears(draw) -> Gear:
    """Enough to begin with: two burners, a canner, a cook."""
    return Gear(
        burners=tuple(draw(st.lists(st.sampled_from([SMALL, LARGE]), min_size=2, max_size=4))),
        canners=draw(st.integers(1, 3)),
        capacity=CANNER,
        cooks=draw(st.integers(1, 3)),
    )


@st.composite
def works(draw) -> PotWork:
    """A pot that may wait, or one that fits one canner load."""
    size, most = draw(st.sampled_from([("half-pint", 6), ("pint", 4), ("quart", 2)]))
    may_wait = draw(st.booleans())
    return PotWork(
        name="pot",
        jars=(JarCount(size, draw(st.integers(1, most * (3 if may_wait else 1)))),),
        kg=draw(st.sampled_from([0.0, 1.5, 3.0])),
        boil_minutes=draw(st.integers(0, 20)),
        boil_off_kg=draw(st.sampled_from([0.0, 0.4])),
        pack=draw(st.sampled_from([Pack.HOT, Pack.RAW])),
        stir=draw(st.booleans()),
        may_wait=may_wait,
        prepare=draw(st.sampled_from([0, 0, 7, 40, 95])),
    )


pots = st.lists(works(), min_size=1, max_size=4)
processes = st.fixed_dictionaries(
    {size: st.sampled_from([TEN, Process(Method.BOILING_WATER, 35)]) for size in ("half-pint", "pint", "quart")}
)
sterile = st.sampled_from([0, 13])
PRESSURE = Gear(STOVE, kind=Canner.DIAL_GAUGE)


def raw(size: str, count: int, kg: float, boil_minutes: int, **changes) -> PotWork:
    return jam("raw", size, count, kg=kg, boil_minutes=boil_minutes, pack=Pack.RAW, **changes)


# Days on which taking every cook, burner or canner there is, pot by pot, ends later than leaving one out.
BETTER_WITHOUT_A_COOK = (
    [raw("half-pint", 6, 3, 16, stir=False), raw("quart", 4, 3, 6, stir=False, may_wait=True)],
    Gear((LARGE, SMALL, SMALL, SMALL), canners=2, capacity=CANNER, cooks=2),
)
BETTER_WITHOUT_A_BURNER = (
    [raw("quart", 2, 1.5, 5, stir=False), *(raw("quart", n, 1.5, m, may_wait=True) for n, m in ((6, 18), (3, 16)))],
    Gear((SMALL, SMALL, LARGE, LARGE), canners=2, capacity=CANNER, cooks=2),
)
BETTER_WITHOUT_A_CANNER = (
    [jam(count=2, kg=3, boil_minutes=4), raw("pint", 2, 3, 16, stir=False)],
    Gear((LARGE, SMALL, LARGE, SMALL), canners=1, capacity=CANNER),
)
