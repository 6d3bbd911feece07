"""The records of a plan, as `rig plan --json` prints them and the job keeps them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rig.quantities.expected import Jobs
from rig.quantities.materials import Material
from rig.quantities.safety import Purchase
from rig.quantities.volume import ONE_SIDED_95
from rig.record import OMITTED, Record
from rig.study.floor_answer import HighPoint
from rig.study.hidden import ChanceIf
from rig.study.laser_budget import Budget
from rig.study.looks import WorthLook
from rig.study.plane import PlanWish
from rig.study.unknown import Unknown
from rig.target.level import Plane
from rig.target.programme import Hold

if TYPE_CHECKING:
    from rig.job.rows import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverAnswer(Record):
    """Thickness of compound over the floor by best estimate, in mm."""

    min: float
    mean: float
    max: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope(Record):
    """How steep a plane is, and which way it falls.

    Attributes
    ----------
    ratio : float
    falls_to_deg : float or None
        0 along x, 90 along y; None where it is level.
    """

    ratio: float
    falls_to_deg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeAnswer(Record):
    """Compound in place, in litres, without waste.

    Attributes
    ----------
    mean, p95 : float
    low, high : float
        The central 95 %.
    triangulated : float or None
        By flat triangles between the shots; None where the floor is to be ground.
    per_bag : float
        What a bag makes.
    """

    mean: float
    p95: float
    low: float
    high: float
    triangulated: float | None = None
    per_bag: float

    @property
    def sd_l(self) -> float:
        """Standard deviation of the mean, whatever confidence was planned at."""
        return (self.p95 - self.mean) / ONE_SIDED_95


@dataclass(frozen=True, slots=True, kw_only=True)
class BagsAnswer(Record):
    """Whole bags, waste included.

    Attributes
    ----------
    p50, p95 : int
        The need that is reckoned at even odds, and at 95 %.
    waste : int
        Of the `p95` bags.
    waste_share : float
    buy : int
        At the plan's confidence, or the cheapest at the prices given.
    """

    p50: int
    p95: int
    waste: int
    waste_share: float
    buy: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SafetyAnswer(Record):
    """What is bought over the mean need, and what for.

    Attributes
    ----------
    confidence : float
    stock_l, bags : float
    shares : mapping of str to float
        Of each part of the doubt in the stock.
    """

    confidence: float
    stock_l: float
    bags: float
    shares: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryAnswer(Record):
    """What the past of this crew and this product does to the bags.

    Attributes
    ----------
    factor : float
        On the bags that the floor alone would take.
    crew, product : str or None
    jobs : Jobs
        Of each.
    crew_bags, product_bags : float
        What is still not known of each, as a standard uncertainty.
    """

    factor: float
    crew: str | None
    product: str | None
    jobs: Jobs
    crew_bags: float
    product_bags: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadAnswer(Record):
    """Weight of the compound on the floor in kPa."""

    mean: float
    max: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GrindSpot(Record):
    """A high spot to grind first.

    Attributes
    ----------
    x_mm, y_mm, depth_mm : float
        Its highest place, and what is to come off there.
    area_m2, volume_l : float
    until_reading_mm : float
        What a rod must read there, under the line of set-up 1, once it is ground.
    """

    x_mm: float
    y_mm: float
    depth_mm: float
    area_m2: float
    volume_l: float
    until_reading_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GrindAnswer(Record):
    """What to grind before the pour, and what that saves."""

    spots: tuple[GrindSpot, ...]
    volume_l: float
    saves_bags: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftAnswer(Record):
    """A layer of the pour; the last one's top is the finished plane.

    Attributes
    ----------
    lift : int
        The first is poured first.
    a, b, c : float
        Its top z = a + b·x + c·y, in mm.
    volume_l : float
        In place; those of all lifts add up to the plan's mean.
    bags : int
        Those of all lifts add up to the plan's at even odds.
    min_mm, max_mm : float
        Its thickness where it is poured.
    area_m2 : float
        On which it is poured: less than the floor where only deep spots are filled.
    """

    lift: int
    a: float
    b: float
    c: float
    volume_l: float
    bags: int
    min_mm: float
    max_mm: float
    area_m2: float

    @property
    def top(self) -> Plane:
        """Its top."""
        return Plane(self.a, self.b, self.c)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomPlan(Record):
    """What a plan is in one room; its bags are those that this room would take alone."""

    name: str
    plane: Plane
    area_m2: float
    cover_mm: CoverAnswer
    volume_l: VolumeAnswer
    bags: BagsAnswer
    lifts: int
    lifts_plan: tuple[LiftAnswer, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanAnswer(Record):
    """The finished plane and what it takes, as `rig plan --json` prints it and the job keeps it.

    Attributes
    ----------
    plane : Plane
        z = a + b·x + c·y in mm, relative to the line of set-up 1.
    confidence : float
    high : HighPoint or None
        None in plans of old.
    min_cover_mm : float
        Asked for.
    cover_mm : CoverAnswer
    chance_min_cover : float or None
        Share of the model's draws that keep the minimum cover everywhere, with all that the bags
        hold; None where the shots do not tell it.
    chance_unknown : Unknown or None
        Why they do not, and what would settle it.
    chance_if : ChanceIf or None
        The same chance on a floor that has what its shots can't show; None where it is not known,
        and in plans of old.
    slope : Slope
    holds : tuple of Hold
    volume_l : VolumeAnswer
    bags : BagsAnswer
    safety : SafetyAnswer
    lifts : int
    lifts_plan : tuple of LiftAnswer
        Empty in plans of old.
    dead_load_kpa : LoadAnswer
    roughness_mm : float
        Standard deviation of the floor between shots.
    purchase : Purchase or None
        Where prices of a bag were given.
    grind : GrindAnswer or None
        Where prices of a litre were given.
    materials : tuple of Material
        The compound first.
    assumptions : tuple of str
    budget : Budget or None
        None in plans of old.
    look_between : tuple of WorthLook
        Empty in plans of old.
    warnings, cautions : tuple of str
    rooms : tuple of RoomPlan
        The one room, as the plan of several tells each; empty in plans of old.
    """

    plane: Plane
    confidence: float
    high: HighPoint | None = None
    min_cover_mm: float
    cover_mm: CoverAnswer
    chance_min_cover: float | None
    chance_unknown: Unknown | None = None
    chance_if: ChanceIf | None = None
    slope: Slope
    holds: tuple[Hold, ...]
    volume_l: VolumeAnswer
    bags: BagsAnswer
    safety: SafetyAnswer
    lifts: int
    lifts_plan: tuple[LiftAnswer, ...] = ()
    dead_load_kpa: LoadAnswer
    roughness_mm: float
    history: HistoryAnswer | None = field(default=None, metadata=OMITTED)
    purchase: Purchase | None = field(default=None, metadata=OMITTED)
    grind: GrindAnswer | None = field(default=None, metadata=OMITTED)
    materials: tuple[Material, ...]
    assumptions: tuple[str, ...]
    budget: Budget | None = None
    look_between: tuple[WorthLook, ...] = ()
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    rooms: tuple[RoomPlan, ...] = ()

    @property
    def water_per_bag_l(self) -> float:
        """Water that a bag takes, by its own sheet or as assumed."""
        (compound,) = (one for one in self.materials if one.item == "compound")
        assert compound.water_per_bag_l is not None
        return compound.water_per_bag_l

    @property
    def spots(self) -> tuple[GrindSpot, ...]:
        """High spots to grind before this plan holds."""
        return () if self.grind is None else self.grind.spots


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredPlan:
    """A plan as the job keeps it.

    Attributes
    ----------
    row : Plan
        Of the job file, for what it stands on.
    wish : PlanWish
    answer : PlanAnswer
    """

    row: "Plan"
    wish: PlanWish
    answer: PlanAnswer
