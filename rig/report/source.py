"""What the parts of a report draw from: the job, read once, and how its numbers are said."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from rig.drawing.look import Look, quarter_turns, turned
from rig.errors import CannotAnswer
from rig.flatness.coverings import rule_of_covering
from rig.flatness.rule import Rule
from rig.flatness.rules import load_rule
from rig.language import moment, put
from rig.report.document import Letterhead, Photo
from rig.room import Outline
from rig.study.floor_answer import FloorAnswer, HighPoint, floor_answer, floor_by_plan
from rig.study.judged import Surfaces, kind_to_judge
from rig.study.lasers import shots_of
from rig.study.picture import Picture, picture_of
from rig.study.plan_answer import StoredPlan, stored_plan
from rig.study.proof_answer import Proof, proof
from rig.survey.heights import Heights, heights_of, lines_of
from rig.units import Units
from rig.words import say

if TYPE_CHECKING:
    from rig.job.rows import Marker, Shot
    from rig.job.store import Job
    from rig.survey.setups import Line

Audience = Literal["crew", "customer"]
Only = Literal["markers", "buy"]
DEFAULT_RULE = "click-lock"
FEW_CELLS, FEW_DRAWS = 900, 200
# Width and height of drawings; a sheet leaves 180 mm between its margins.
BESIDE_MM, ACROSS_MM, ALONE_MM = (90.0, 132.0), (180.0, 118.0), 118.0
WIDE_ROOM = 1.4


@dataclass(frozen=True)
class Options:
    """What was asked of a report.

    Attributes
    ----------
    rule, patch : str or None
        Keys of rules or paths of their files.
    confidence : float
    audience : {'crew', 'customer'}
    only : {'markers', 'buy'} or None
        The one part that is wanted.
    appendix : bool
        Whether the technical report follows the customer's page.
    """

    rule: str | None = None
    patch: str | None = None
    confidence: float = 0.95
    audience: Audience = "crew"
    only: Only | None = None
    appendix: bool = False


@dataclass(frozen=True)
class Handover:
    """What only the user knows of a customer's page; no job and no log keeps it.

    Attributes
    ----------
    whose : str
        Whose floor it is.
    letterhead : Letterhead or None
        The firm's.
    photos : tuple of Photo or None
        None is those of the site's log.
    """

    whose: str = ""
    letterhead: Letterhead | None = None
    photos: tuple[Photo, ...] | None = None


def look_of(outline: Outline, units: Units) -> Look:
    """Sheet of a room's plans: half as wide as the paper, or across it where the room is wide."""
    corners = turned(np.array(outline.walls, dtype=float), quarter_turns(outline))
    wide, high = np.ptp(corners, axis=0)
    return Look(units, *(ACROSS_MM if wide > WIDE_ROOM * high else BESIDE_MM))


class Source:
    """A job with what is worked out from it only once.

    Attributes
    ----------
    job : Job
    outline : Outline
    options : Options
    name : str
        Of the job, from its file.
    units, look
        How lengths are written and how large a drawing may be.
    """

    def __init__(self, job: "Job", outline: Outline, options: Options, name: str) -> None:
        self.job, self.outline, self.options, self.name = job, outline, options, name
        self.settings = job.settings
        self.units = job.units
        self.look = look_of(outline, self.units)

    def alone_look(self, height_mm: float) -> Look:
        """Return the sheet of a plan that stands between words, not beside them."""
        return Look(self.units, max(self.look.width_mm, ALONE_MM), height_mm)

    @cached_property
    def shots(self) -> "list[Shot]":
        """Current shots of all kinds."""
        return self.job.shots()

    @cached_property
    def surfaces(self) -> Surfaces:
        """What was fitted to judge the flatness."""
        return Surfaces(self.outline, self.job)

    @cached_property
    def plan(self) -> StoredPlan | None:
        """The last plan."""
        return stored_plan(self.job)

    @cached_property
    def changed(self) -> list[str]:
        """What makes the plan stale."""
        return [] if self.plan is None else self.job.changed_since(self.plan.row)

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
    def planned_high(self) -> HighPoint | None:
        """The high point of a plan that stands and was made at the confidence asked for."""
        if self.plan is None or self.changed:
            return None
        answer = self.plan.answer
        return answer.high if answer.confidence == self.options.confidence else None

    @cached_property
    def found(self) -> FloorAnswer | None:
        """What the floor is like, where that is known."""
        if self.picture is None:
            return None
        if self.planned_high is not None:
            return floor_by_plan(self.job, self.picture, self.planned_high)
        return floor_answer(self.job, self.picture)

    @cached_property
    def rule(self) -> tuple[Rule, str | None]:
        """The rule to prove by, and why that one where none was named."""
        given, covering = self.options.rule, self.settings.covering
        if given is not None:
            return load_rule(given), None
        of_covering = None if covering is None else rule_of_covering(covering)
        rule = load_rule(of_covering or DEFAULT_RULE)
        if of_covering is not None:
            return rule, say(
                "No rule was named for this report (--rule): the covering ({covering}) picks "
                "{rule}: {text}. The covering's maker rules.",
                covering=covering,
                rule=rule.key,
                text=self.units.own(rule.text),
            )
        return rule, say(
            "No rule was named for this report (--rule), so {rule} stands in: {text}. The "
            "covering's maker rules.",
            rule=rule.key,
            text=self.units.own(rule.text),
        )

    @cached_property
    def proof(self) -> Proof:
        """The finished surface, else the floor, held against the rule.

        Raises
        ------
        CannotAnswer
            Where no such shots are there, or they are too few or not tied.
        """
        (rule, _), kind = self.rule, kind_to_judge(self.job, None)
        return proof(self.job, self.outline, rule, self.options.confidence, kind, self.surfaces)

    # How numbers are said

    def length(self, mm: float) -> str:
        """A length in the job's units."""
        return self.units.length(mm)

    def off(self, mm: float) -> str:
        """How far off something is, never as nothing where it is some."""
        return self.units.off(mm)

    def doubt(self, mm: float) -> str:
        """How far off something may be, never less than it is."""
        return put("± {doubt}", doubt=self.units.doubt(mm))

    def place(self, mm: float) -> str:
        """A distance to find a place by."""
        return self.units.place(mm)

    def area(self, m2: float) -> str:
        """An area."""
        return self.units.area(m2)

    def volume(self, litres: float, liquid: bool = False) -> str:
        """A volume; water is mixed in other measures than compound is spread."""
        return self.units.volume(litres, liquid=liquid)

    def mass(self, kg: float) -> str:
        """A mass."""
        return self.units.mass(kg)

    def where(self, x_mm: float, y_mm: float) -> str:
        """A place by offsets from two walls, or by its coordinates where it is on none."""
        return place_words(self.outline, x_mm, y_mm, self.units)

    @staticmethod
    def day(utc_s: float) -> str:
        """Day, UTC."""
        return moment(utc_s, "day", utc=True)

    @staticmethod
    def time(utc_s: float) -> str:
        """Day and time of day, UTC."""
        return moment(utc_s, "minute", utc=True)


def place_words(outline: Outline, x_mm: float, y_mm: float, units: Units) -> str:
    """Say a place by offsets from two walls, or by its coordinates where it is on none."""
    from rig.errors import BadInput
    from rig.room import where

    try:
        return where(outline, x_mm, y_mm, units)
    except BadInput:
        return say("x {x}, y {y}", x=units.place(x_mm), y=units.place(y_mm))
