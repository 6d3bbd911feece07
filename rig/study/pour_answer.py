"""What is asked of the plan of a pour, and what it answers, as its JSON tells it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from rig.pour.advice import Change
from rig.pour.estimate import yield_known
from rig.pour.forecast import RUNS
from rig.pour.sheet import Sheet
from rig.record import OMITTED, Record, key
from rig.study.site_log import Ask


def _asked(name: str) -> dict[str, str]:
    return {**OMITTED, **key(name)}


@dataclass(frozen=True, slots=True, kw_only=True)
class PourWish(Record):
    """Who pours, with what, and how long their steps take; None is what was not said.

    Attributes
    ----------
    mixers, crew : int
        Mixers that run at once; people, mixing hands included.
    mix_time_s, working_time_s, slake_time_s : float
        Of a batch; these go before what the sheet says.
    sheet_path : str
        Of a file that holds the product's data sheet.
    temperature : str
        Of the floor, with its unit.
    start_mm, exit_mm : (x, y)
        Else the place farthest from the exit, and the first door.
    bags_per_batch, buckets, bays : int
    strip_mm : float
        Depth of a strip along the front.
    mix_distance_mm : float
        From the mixers to the exit.
    water_time_s, powder_time_s, pour_time_s : float
        A bag, a bag, a batch.
    spread_time_s_m2, deair_time_s_m2 : float
        A square metre.
    crew_from : str
        Another job, whose last pour this crew poured.
    runs : int
        Simulated pours.
    lift : int
        Of the plan's lifts; None is all of it at once.
    room : int
        Number of the room, where the job has several.
    """

    mixers: int | None = field(default=None, metadata=OMITTED)
    crew: int | None = field(default=None, metadata=OMITTED)
    mix_time_s: float | None = field(default=None, metadata=_asked("mix_time"))
    working_time_s: float | None = field(default=None, metadata=_asked("working_time"))
    sheet_path: str | None = field(default=None, metadata=OMITTED)
    temperature: str | None = field(default=None, metadata=OMITTED)
    start_mm: tuple[float, float] | None = field(default=None, metadata=_asked("start"))
    exit_mm: tuple[float, float] | None = field(default=None, metadata=_asked("exit_"))
    slake_time_s: float | None = field(default=None, metadata=_asked("slake_time"))
    bags_per_batch: int = 1
    buckets: int | None = field(default=None, metadata=OMITTED)
    strip_mm: float | None = field(default=None, metadata=_asked("strip"))
    bays: int = 1
    mix_distance_mm: float = field(default=3000.0, metadata=key("mix_distance"))
    water_time_s: float | None = field(default=None, metadata=_asked("water_time"))
    powder_time_s: float | None = field(default=None, metadata=_asked("powder_time"))
    pour_time_s: float | None = field(default=None, metadata=_asked("pour_time"))
    spread_time_s_m2: float | None = field(default=None, metadata=_asked("spread_time"))
    deair_time_s_m2: float | None = field(default=None, metadata=_asked("deair_time"))
    crew_from: str | None = field(default=None, metadata=OMITTED)
    runs: int = RUNS
    lift: int | None = field(default=None, metadata=OMITTED)
    room: int | None = field(default=None, metadata=OMITTED)

    @property
    def timed(self) -> int:
        """How many of the five times of hands were told."""
        told = (
            self.water_time_s,
            self.powder_time_s,
            self.pour_time_s,
            self.spread_time_s_m2,
            self.deair_time_s_m2,
        )
        return sum(one is not None for one in told)

    @property
    def is_made(self) -> bool:
        """Whether something that a plan cannot do without was said."""
        return not (self.mixers is None and self.crew is None and self.sheet_path is None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place(Record):
    """A place on the plan."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PourBatch(Record):
    """A batch: when its water meets powder, when and where it is poured, whom it meets.

    Times count from the first water on powder. `strip` and `bay` count from 1; `reach_mm` is how
    far it has to spread; `deep` ones come first in their strip; `meets` are the later batches
    that meet it wet; `where` is for people.
    """

    n: int
    bags: float
    water_l: float
    volume_l: float
    mix_s: float
    pour_s: float
    x_mm: float
    y_mm: float
    strip: int
    bay: int
    area_m2: float
    reach_mm: float
    deep: bool
    edge_age_p95_s: float
    meets: tuple[int, ...]
    where: str
    way_mm: float | None = None  # from the mixers; plans of an older version did not keep it


@dataclass(frozen=True, slots=True, kw_only=True)
class PourPace(Record):
    """How a crew stands to the plan's figures, and how well that is known.

    `hands` and `mixing` are what both take against the figures; `hands_doubt` and `mixing_doubt`
    standard deviations of their logs; `pours` the logged pours that they were learnt from.
    """

    hands: float
    mixing: float
    hands_doubt: float
    mixing_doubt: float
    pours: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PourStrip(Record):
    """A strip: its first and last batch, its share of the volume and that behind its far edge."""

    strip: int
    bay: int
    batches: tuple[int, int]
    volume_l: float
    share: float
    share_end: float
    markers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeAge(Record):
    """Age of the oldest wet edge: of all simulated pours, and of 95 in 100."""

    max: float
    p95: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell(Record):
    """How long something takes, at even odds and 95 times in 100."""

    p50: float
    p95: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BucketAge(Record):
    """Age of the oldest bucket when it is poured, in 95 of 100 pours."""

    p95: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PourRoles(Record):
    """How many people do what."""

    mixing: int
    carrying: int
    spreading: int
    helpers: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PrepourStep(Record):
    """A step of the list before the pour, and whether it is ticked."""

    key: str
    text: str
    why: str
    ticked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepour(Record):
    """The list before the pour; `left` are the keys of steps that nobody has ticked.

    `asks` are the readings that the compound's sheet asks for, as the site's log has them.
    """

    prepour: tuple[PrepourStep, ...]
    left: tuple[str, ...]
    asks: tuple[Ask, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PourPlan(Record):
    """The plan of a pour, as `rig pour plan --json` prints it.

    Attributes
    ----------
    batches, strips
        In their order.
    margin_s : float
        Working time less the 95th percentile of the oldest edge's age.
    feasible : bool
        The margin is not negative, and neither sheet nor depth forbids it.
    binds : str
        What limits the pace.
    changes : tuple of Change
        Tried to make it feasible, the cheapest first.
    idle : mapping of str to float
        Share of the pour in which each role waits.
    bags : int
        The plan's at even odds, waste included.
    interval_s : float
        From batch to batch, in a middling pour.
    pace : PourPace
        None in plans of an older version.
    lead_s : float
        From water on powder until a batch is poured.
    yield_l, yield_doubt : float
        What a bag puts on the floor, and its standard deviation as a share.
    lift : int or None
        Of the plan's lifts, where it is of one.
    """

    batches: tuple[PourBatch, ...]
    strips: tuple[PourStrip, ...]
    wet_edge_age_s: EdgeAge
    margin_s: float
    feasible: bool
    allowed_by_sheet: bool = True  # plans of an older version say nothing of the temperature
    advice: str
    binds: str
    changes: tuple[Change, ...]
    chance_edge_dies: float
    rate_bags_per_h: float
    duration_s: Spell
    bucket_age_s: BucketAge
    idle: Mapping[str, float]
    roles: PourRoles
    mixers: int
    crew: int
    buckets: int
    bags: int
    bays: int
    strip_mm: float
    working_time_s: float
    mix_time_s: float
    exit: Place
    start: Place
    runs: int
    interval_s: float
    pace: PourPace | None = None
    lead_s: float
    yield_l: float
    yield_doubt: float
    sheet: Sheet
    prepour: tuple[PrepourStep, ...]
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    lift: int | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPour(Record):
    """A pour plan as the job keeps it."""

    plan_id: int
    inputs: PourWish
    result: PourPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class PourEnd(Record):
    """How a pour ended, as the job keeps it."""

    batches: int
    bags_used: float
    share: float
    yield_l: float
    yield_stderr_l: float = 0.0
    interval_s: float | None
    planned_interval_s: float
    unticked: tuple[str, ...]

    @property
    def known_yield_l(self) -> float | None:
        """What a bag put on the floor, None where that stayed unknown."""
        return self.yield_l if yield_known(self.yield_l, self.yield_stderr_l) else None
