"""What the parts of a report draw from: the job, read once, and how its numbers are said."""

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from rig.drawing.look import Look
from rig.errors import CannotAnswer
from rig.room import Outline
from rig.study.judged import Surfaces
from rig.study.lasers import shots_of
from rig.study.picture import Picture, cells_of, floor_result, high_of, picture_of
from rig.survey.heights import Heights, heights_of, lines_of
from rig.units import (
    format_area,
    format_doubt,
    format_length,
    format_mass,
    format_off,
    format_place,
    format_volume,
)

if TYPE_CHECKING:
    from rig.job.rows import Marker, Plan, Shot
    from rig.job.store import Job
    from rig.survey.setups import Line

FEW_CELLS, FEW_DRAWS = 2_000, 300


@dataclass(frozen=True)
class Options:
    """What was asked of a report; `rule` and `patch` are keys of rules or paths of their files."""

    rule: str | None = None
    patch: str | None = None
    confidence: float = 0.95


class Source:
    """A job with what is worked out from it only once.

    Attributes
    ----------
    job : Job
    outline : Outline
    options : Options
    name : str
        Of the job, from its file.
    units, denominator, look
        How lengths are written and how large a drawing may be.
    """

    def __init__(self, job: "Job", outline: Outline, options: Options, name: str) -> None:
        self.job, self.outline, self.options, self.name = job, outline, options, name
        self.settings = job.settings
        self.units: str = self.settings.units
        self.denominator: int = self.settings.denominator
        # A4 leaves 180 mm between margins; letter is wider and shorter.
        height = 200.0 if self.units == "mm" else 185.0
        self.look = Look(job.units, 180.0, height)

    @cached_property
    def shots(self) -> "list[Shot]":
        """Current shots of all kinds."""
        return self.job.shots()

    @cached_property
    def surfaces(self) -> Surfaces:
        """What was fitted to judge the flatness."""
        return Surfaces(self.outline)

    @cached_property
    def plan(self) -> "Plan | None":
        """The last plan."""
        return self.job.current_plan()

    @cached_property
    def changed(self) -> list[str]:
        """What makes the plan stale."""
        return [] if self.plan is None else self.job.changed_since(self.plan)

    @cached_property
    def markers(self) -> "list[Marker]":
        """Markers of the plan that stands."""
        markers = self.job.markers()
        return markers

    @cached_property
    def lines(self) -> "list[Line]":
        """Set-ups that are tied together."""
        try:
            return lines_of(shots_of(self.job), "", self.job.setups())
        except CannotAnswer:
            return []

    @cached_property
    def floor(self) -> Heights | None:
        """Heights of the floor's shots, where there are any that can be compared."""
        if not any(shot.kind == "floor" for shot in self.shots):
            return None
        try:
            return heights_of(shots_of(self.job), "floor", self.job.setups(), self.outline)
        except CannotAnswer:
            return None

    @cached_property
    def picture(self) -> Picture | None:
        """The running picture of the floor; None where shots are too few or not tied.

        Where a plan stands on these shots its high point is theirs, found with all the draws that
        `rig floor` makes; then fewer do for what is only drawn.
        """
        if self.floor is None:
            return None
        try:
            if self.planned_high is None:
                return picture_of(self.job, self.outline, self.options.confidence)
            return picture_of(self.job, self.outline, self.options.confidence, FEW_CELLS, FEW_DRAWS)
        except CannotAnswer:
            return None

    @cached_property
    def planned_high(self) -> dict[str, float] | None:
        """The high point of a plan that stands and was made at the confidence asked for."""
        plan = self.plan
        if plan is None or self.changed:
            return None
        high: dict[str, float] | None = plan.result.get("high")
        return high if plan.result.get("confidence") == self.options.confidence else None

    @property
    def high(self) -> dict[str, float]:
        """The high point, as `rig floor --json` has it."""
        assert self.picture is not None
        return self.planned_high or high_of(self.picture.extremes)

    @cached_property
    def low(self) -> dict[str, float]:
        """The low point: x_mm, y_mm and z_mm of the best estimate, to the same fineness."""
        assert self.picture is not None
        cells = self.picture.cells if self.planned_high is None else cells_of(self.outline)
        z, _ = self.picture.surface.predict(cells.x_mm, cells.y_mm, quick=True)
        n = int(np.argmin(z))
        places = {"x_mm": cells.x_mm[n], "y_mm": cells.y_mm[n], "z_mm": z[n]}
        return {key: float(value) for key, value in places.items()}

    @property
    def range_mm(self) -> float:
        """How far the high point stands over the low point."""
        return self.high["z_mm"] - self.low["z_mm"]

    @cached_property
    def budget(self) -> dict[str, Any] | None:
        """Where the doubt comes from: of the plan that stands, else of the floor as found."""
        if self.plan is not None and not self.changed and "budget" in self.plan.result:
            budget: dict[str, Any] = self.plan.result["budget"]
            return budget
        if self.picture is None or self.planned_high is not None:
            return None
        return dict(floor_result(self.job, self.picture)["budget"])

    # How numbers are said

    def length(self, mm: float) -> str:
        """A length in the job's units."""
        return format_length(mm, self.units, self.denominator)

    def off(self, mm: float) -> str:
        """How far off something is, never as nothing where it is some."""
        return format_off(mm, self.units, self.denominator)

    def doubt(self, mm: float) -> str:
        """How far off something may be, never less than it is."""
        return f"± {format_doubt(mm, self.units, self.denominator)}"

    def place(self, mm: float) -> str:
        """A distance to find a place by."""
        return format_place(mm, self.units)

    def area(self, m2: float) -> str:
        """An area."""
        return format_area(m2, self.units)

    def volume(self, litres: float, liquid: bool = False) -> str:
        """A volume; water is mixed in other measures than compound is spread."""
        return format_volume(litres, self.units, liquid=liquid)

    def mass(self, kg: float) -> str:
        """A mass."""
        return format_mass(kg, self.units)

    def where(self, x_mm: float, y_mm: float) -> str:
        """A place by offsets from two walls, or by its coordinates where it is on none."""
        from rig.errors import BadInput
        from rig.room import where

        try:
            return where(self.outline, x_mm, y_mm, self.units)
        except BadInput:
            return f"x {self.place(x_mm)}, y {self.place(y_mm)}"

    @staticmethod
    def time(utc_s: float) -> str:
        """Day and time of day, UTC."""
        return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M")
