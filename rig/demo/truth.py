"""What the simulators know to be true, and how far from it the job's numbers are."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from rig.errors import DeviceUnavailable
from rig.language import join, numeral, say, say_many
from rig.record import OMITTED, Record, from_json
from rig.study.plan_answer import BagsAnswer, VolumeAnswer, read_plan
from rig.units import format_chance

if TYPE_CHECKING:
    from rig.room import Raster

Floats = NDArray[np.float64]
R = TypeVar("R", bound=Record)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueFloor(Record):
    """Heights of the floor on a raster, mm; rows along y."""

    x0_mm: float
    y0_mm: float
    step_mm: float
    z_mm: tuple[tuple[float, ...], ...]

    def under(self, cells: "Raster") -> Floats:
        """Return the true height under each cell's middle, between the raster's by bilinear."""
        heights = np.array(self.z_mm)
        rows, columns = heights.shape
        column = np.clip((cells.x_mm - self.x0_mm) / self.step_mm, 0, columns - 1.001)
        row = np.clip((cells.y_mm - self.y0_mm) / self.step_mm, 0, rows - 1.001)
        i, j = row.astype(int), column.astype(int)
        v, u = row - i, column - j
        z: Floats = (
            heights[i, j] * (1 - u) * (1 - v)
            + heights[i, j + 1] * u * (1 - v)
            + heights[i + 1, j] * (1 - u) * v
            + heights[i + 1, j + 1] * u * v
        )
        return z


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueShot(Record):
    """Where the rod stood when a shot was taken, and what it should have read."""

    label: str
    x_mm: float
    y_mm: float
    true_reading_mm: float
    time_s: float
    undone: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueMarker(Record):
    """How high a marker's top stood when it was set, and the laser's line there and then."""

    label: str
    top_mm: float
    line_mm: float
    unset: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Kick(Record):
    """A knock that moved the laser's line."""

    time_s: float
    up_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueLine(Record):
    """What befell the laser's line."""

    jolts: tuple[Kick, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth(Record):
    """A simulated rod's truth file, as far as it is asked."""

    floor: TrueFloor
    line: TrueLine
    shots: tuple[TrueShot, ...]
    markers: tuple[TrueMarker, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewTruth(Record):
    """What a simulated crew really did."""

    bags: int
    yield_l: float
    mixer_fails_after_batch: int


def read(kind: type[R], path: Path) -> R:
    """Read what a simulator has written of itself.

    Raises
    ------
    DeviceUnavailable
        Where it is not what a simulator writes.
    """
    import json

    try:
        return from_json(kind, json.loads(path.read_text()))
    except (OSError, ValueError) as error:
        raise DeviceUnavailable(
            say("The simulator's {name} cannot be read: {error}.", name=path.name, error=error)
        ) from None


# --- held against the job -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseTold(Record):
    """Lifts of each room, and bags to buy for all: in one order, and room by room."""

    lifts: Mapping[str, int]
    bags: int
    bags_apart: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondRoom(Record):
    """Bags that each way with a second room takes, the chance that patches do, and its house."""

    bags: Mapping[str, int]
    chance_patched: float
    house: HouseTold


@dataclass(frozen=True, slots=True, kw_only=True)
class PourTold(Record):
    """What the plan and the log told of a pour."""

    feasible: bool
    margin_s: float
    bags: float
    yield_l: float
    need_bags_after_10: float | None
    edge_warnings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueNumbers(Record):
    """The job's numbers as they truly are."""

    high_mm: float
    min_cover_mm: float
    volume_l: float
    bags: float
    pour: CrewTruth | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldNumbers(Record):
    """The same numbers as the job tells them."""

    high_mm: float
    high_upper_mm: float
    min_cover_mm: float
    volume_l: VolumeAnswer
    bags: BagsAnswer
    bags_before_more_shots: BagsAnswer
    more_shots: int
    markers_set: int
    second_room: SecondRoom | None = field(default=None, metadata=OMITTED)
    pour: PourTold | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart(Record):
    """How far apart they are: shots from the true reading, markers from the true line."""

    high_mm: float
    volume_l: float
    volume_in_range: bool
    shots_worst_mm: float
    markers_worst_mm: float
    laser_worst_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison(Record):
    """What is true, what was told, and how far apart the two are."""

    truth: TrueNumbers
    result: ToldNumbers
    apart: Apart
    files: tuple[str, ...] | None = field(default=None, metadata=OMITTED)


def compare(truth: Truth, job_path: Path) -> Comparison:
    """Hold the job's numbers against the simulator's truth."""
    from rig.job.store import Job
    from rig.room import raster
    from rig.study.room import outline_of

    with Job.open(job_path) as job:
        outline = outline_of(job)
        plan = job.current_plan()
        first = job.first_plan()
        targets_mm = {marker.label: marker.target_reading_mm for marker in job.markers()}
        readings_mm = {shot.point: shot.reading_mm for shot in job.shots(kinds=["floor"])}
    assert plan is not None
    assert first is not None

    cells = raster(outline, 50.0)
    z = truth.floor.under(cells)
    covers = plan.a + plan.b * cells.x_mm + plan.c * cells.y_mm - z
    true_volume_l = float(np.sum(covers * cells.share) * cells.step_mm**2 / 1e6)
    told, before = read_plan(plan).answer, read_plan(first).answer
    high, volume, bags = told.high, told.volume_l, told.bags
    assert high is not None
    standing = [marker for marker in truth.markers if not marker.unset]
    # Against the line as it truly was there and then; the line's own error stands apart.
    set_off = [one.top_mm - (one.line_mm - targets_mm[one.label]) for one in standing]
    shot_off = [
        readings_mm[shot.label] - shot.true_reading_mm
        for shot in truth.shots
        if shot.label in readings_mm and not shot.undone
    ]
    return Comparison(
        truth=TrueNumbers(
            high_mm=float(z.max()),
            min_cover_mm=float(covers.min()),
            volume_l=true_volume_l,
            bags=true_volume_l * (1.0 + bags.waste_share) / volume.per_bag,
        ),
        result=ToldNumbers(
            high_mm=high.z_mm,
            high_upper_mm=high.upper_mm,
            min_cover_mm=told.cover_mm.min,
            volume_l=volume,
            bags=bags,
            bags_before_more_shots=before.bags,
            more_shots=sum(label.startswith("N") for label in readings_mm),
            markers_set=len(standing),
        ),
        apart=Apart(
            high_mm=high.z_mm - float(z.max()),
            volume_l=volume.mean - true_volume_l,
            volume_in_range=bool(volume.low <= true_volume_l <= volume.high),
            shots_worst_mm=max(map(abs, shot_off), default=0.0),
            markers_worst_mm=max(map(abs, set_off), default=0.0),
            laser_worst_mm=max((abs(one.line_mm) for one in standing), default=0.0),
        ),
    )


def apart_text(told: Comparison, rule: str) -> str:
    """Say for people how far the job was from the truth; the second room was patched to a rule."""
    truth, result, apart = told.truth, told.result, told.apart
    bags, volume, before = result.bags, result.volume_l, result.bags_before_more_shots
    told_volume = (
        say(
            "  volume          {mean} l told ({low} to {high}), {volume} l true: inside the 95 % "
            "range"
        )
        if apart.volume_in_range
        else say(
            "  volume          {mean} l told ({low} to {high}), {volume} l true: OUTSIDE the 95 % "
            "range"
        )
    )
    lines = [
        say("\nAgainst the simulated truth:"),
        say(
            "  high point      {high} mm told, {high_2} mm true ({high_3} mm); with 95 % under "
            "{high_upper} mm",
            high=numeral(result.high_mm, ".1f"),
            high_2=numeral(truth.high_mm, ".1f"),
            high_3=numeral(apart.high_mm, "+.1f"),
            high_upper=numeral(result.high_upper_mm, ".1f"),
        ),
        say("  least cover     {min_cover} mm true", min_cover=numeral(truth.min_cover_mm, ".1f")),
        say(
            told_volume,
            mean=numeral(volume.mean, ".0f"),
            low=numeral(volume.low, ".0f"),
            high=numeral(volume.high, ".0f"),
            volume=numeral(truth.volume_l, ".0f"),
        ),
        say(
            "  bags            {p50} at even odds, {p95} at 95 %; {bags} truly needed, waste "
            "included",
            p50=bags.p50,
            p95=bags.p95,
            bags=numeral(truth.bags, ".1f"),
        ),
        say(
            "  more shots      {more_shots} where they help most: {p95} bags at 95 % before, "
            "{p95_2} after",
            more_shots=result.more_shots,
            p95=before.p95,
            p95_2=bags.p95,
        ),
        say(
            "  shots           worst {shots_worst} mm from the true reading",
            shots_worst=numeral(apart.shots_worst_mm, ".2f"),
        ),
        say(
            "  markers         {markers_set} set, worst {markers_worst} mm from the target "
            "against the true line",
            markers_set=result.markers_set,
            markers_worst=numeral(apart.markers_worst_mm, ".2f"),
        ),
    ]
    pour, true_pour = result.pour, truth.pour
    if pour is not None and true_pour is not None:
        after = pour.need_bags_after_10
        lines.append(
            say(
                "  pour            {bags}",
                bags=say_many("{count} bag", "{count} bags", true_pour.bags),
            )
            if after is None
            else say(
                "  pour            {after} bags foreseen after ten batches, {bags} truly went "
                "in; {yield_} l a bag told, {yield__2} l true",
                after=numeral(after, ".1f"),
                bags=true_pour.bags,
                yield_=numeral(pour.yield_l, ".1f"),
                yield__2=numeral(true_pour.yield_l, ".1f"),
            )
        )
    lines.append(
        say(
            "  the laser's own error (no rod can see it) was up to {laser_worst} mm at a marker",
            laser_worst=numeral(apart.laser_worst_mm, ".2f"),
        )
    )
    if result.second_room is not None:
        lines += _rooms_text(result.second_room, rule)
    files = [f"  {path}" for path in told.files or ()]
    last = say("  Every number of the floor and the rod is simulated and invented.")
    return join("\n", [*lines, say("\nFiles:"), *files, last])


def _rooms_text(second: SecondRoom, rule: str) -> list[str]:
    house = second.house
    return [
        say(
            "  second room     {bags} of patches keep the rule {rule} with "
            "{chance_patched} probability; a whole pour takes {pour}",
            bags=say_many("{count} bag", "{count} bags", second.bags["patch"]),
            rule=rule,
            chance_patched=format_chance(second.chance_patched),
            pour=second.bags["pour"],
        ),
        say(
            "  with its hall   {bags} in one order, {apart} ordered room by room; the deepest "
            "room takes {lifts}",
            bags=say_many("{count} bag", "{count} bags", house.bags),
            apart=house.bags_apart,
            lifts=say_many("{count} lift", "{count} lifts", max(house.lifts.values())),
        ),
    ]
