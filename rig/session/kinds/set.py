"""The setting of markers: raise, lower, hold, set, one after the other."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rig.errors import BadInput, CannotAnswer
from rig.guidance.setting import CheckSight, MarkerTarget, Setting
from rig.guidance.shared_setting import SharedSetting
from rig.language import say
from rig.record import Record
from rig.room import ON_WALL_MM, Outline, where
from rig.session.beam import DARK_S
from rig.session.kind import Beginning, Kind, check_numbers, guard_of
from rig.session.recorder import Recorder
from rig.survey.heights import outside_mm
from rig.survey.plausibility import Guard
from rig.survey.reading import reading_mm, z_mm
from rig.units import System

if TYPE_CHECKING:
    from rig.job.rows import Plan, Shot
    from rig.job.store import Job
    from rig.session.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSettings(Record):
    """What a setting goes by; `marker` is the one to begin with, `units` those of what is typed.

    A `shared` one is that of one of several rods, which is sent from marker to marker.
    """

    dwell_s: float
    walk_s: float
    still_mm: float
    tolerance_mm: float
    marker: str | None = None
    skip_check: bool = False
    units: System | None = None
    clamp_mm: float | None = None
    shared: bool = False

    def __post_init__(self) -> None:
        check_numbers(
            dwell_s=self.dwell_s,
            walk_s=self.walk_s,
            still_mm=self.still_mm,
            tolerance_mm=self.tolerance_mm,
        )


class SetMarkers(Kind[SetSettings]):
    """Markers of the job's layout, set to its plan."""

    name = "set"
    settings = SetSettings

    def machine(self, begun: Beginning[SetSettings]) -> Setting:
        """Return the setting for a set-up, new or known.

        A known set-up's line must still be where it was; a new one is tied by the check sight.

        Raises
        ------
        CannotAnswer
            Where there is no plan, or nothing to check the line against.
        """
        from rig.study.checks import foot_of
        from rig.study.lasers import climb_of
        from rig.study.line_before import line_of

        job, settings, outline, setup = begun.job, begun.settings, begun.outline, begun.setup
        plan = job.current_plan()
        if plan is None:
            raise CannotAnswer(say("The job has no plan."))
        shots, lines = _lines(job)
        retie = setup not in lines
        if retie and settings.skip_check:
            raise BadInput(
                say(
                    "Set-up {setup} has no line yet: without the check sight its height is "
                    "unknown. Leave out --skip-check, or name a set-up of the survey.",
                    setup=setup,
                )
            )
        known = (line_of(job, setup, "floor", 0.0) or {}).get("known", {})
        line_mm = 0.0 if retie else lines[setup] + known.get("offset_mm", 0.0)
        climb_mm = climb_of(job, setup)
        markers = _targets(begun, line_mm, climb_mm)
        check = None
        if not settings.skip_check:
            check = check_sight(shots, lines, line_mm, plan, outline, begun.units.system)
            climb = climb_mm(check.x_mm, check.y_mm)
            check = replace(check, expected_mm=check.expected_mm + climb)
        setting = SharedSetting if settings.shared else Setting
        return setting(
            markers,
            already_set=[marker.label for marker in job.markers() if marker.is_set],
            check=check,
            retie=retie,
            tolerance_mm=settings.tolerance_mm,
            dwell_s=settings.dwell_s,
            walk_s=settings.walk_s,
            still_mm=settings.still_mm,
            resolution_mm=begun.resolution_mm,
            foot_mm=foot_of(job, begun.foot_mm),
            units=begun.units,
            start_marker=settings.marker,
            skip_check=settings.skip_check,
            by_tape=begun.by_tape,
        )

    def guard(self, begun: Beginning[SetSettings]) -> Guard:
        """Doubt readings that neither floor nor markers give."""
        targets_mm = [marker.target_reading_mm for marker in begun.job.markers()]
        return guard_of(begun.job, begun.setup, begun.rod, targets_mm)

    def log(
        self,
        begun: Beginning[SetSettings],
        session: int | Callable[[], int],
        most_bytes: int | None = None,
    ) -> Recorder:
        """Keep the markers; a new set-up's check sight ties its line."""
        from rig.study.rooms import everywhere

        with everywhere(begun.job):
            known = {shot.setup for shot in begun.job.shots()}
        return Recorder(
            begun.job, session, ties_line=begun.setup not in known, most_bytes=most_bytes
        )

    def scene(
        self, begun: Beginning[SetSettings], acts: tuple[str, ...] = (), quiet_s: float = DARK_S
    ) -> "Scene":
        """Show the word and the amount first."""
        from rig.session.scene import Scene, measures_of
        from rig.session.sections import places_of, plan_of

        markers = begun.job.markers()
        return Scene(
            "set",
            say("Markers"),
            begun.units,
            plan_of(begun.outline),
            places_of(
                [(marker.label, marker.x_mm, marker.y_mm) for marker in markers],
                [marker.label for marker in markers if marker.is_set],
            ),
            measures=measures_of(begun.outline, begun.units),
            acts=acts,
            quiet_s=quiet_s,
            by_tape=begun.by_tape,
        )


def has_line(job: "Job", setup: str) -> bool:
    """Whether the survey has a line of this set-up, by which markers can be set."""
    return setup in _lines(job)[1]


def _lines(job: "Job") -> "tuple[list[Shot], Mapping[str, float]]":
    """Return the shots that tie, and the line of each of their set-ups."""
    from rig.study.lasers import shots_of
    from rig.study.rooms import everywhere
    from rig.survey.heights import lines_of

    with everywhere(job):  # a line is the whole job's
        every = shots_of(job)
    shots = [shot for shot in every if shot.kind in ("floor", "benchmark", "threshold")]
    lines = {line.setup: line.line_mm for line in lines_of(shots, "floor", job.setups())}
    return [shot for shot in shots if shot.setup in lines], lines


def check_sight(
    shots: "Sequence[Shot]",
    lines: Mapping[str, float],
    line_mm: float,
    plan: "Plan",
    outline: Outline,
    units: System,
) -> CheckSight:
    """Choose the sight that ties today's line: the last benchmark, else a floor shot by the door.

    A floor shot is found again only as well as the floor is smooth there, so it allows more.
    """
    from rig.study.plan_answer import read_plan

    benchmarks = [shot for shot in shots if shot.kind == "benchmark"]
    floor = [shot for shot in shots if shot.kind == "floor"]
    floor = [
        shot
        for shot, off_mm in zip(floor, outside_mm(outline, floor), strict=True)
        if off_mm <= ON_WALL_MM
    ]
    if benchmarks:
        shot = benchmarks[-1]
        noise_mm = shot.stderr_mm
    elif floor:
        near = outline.doors[0].middle if outline.doors else outline.walls[0]
        shot = min(floor, key=lambda s: math.dist((s.x_mm or 0.0, s.y_mm or 0.0), near))
        noise_mm = math.hypot(shot.stderr_mm, read_plan(plan).answer.roughness_mm)
    else:
        raise CannotAnswer(
            say("There is no shot to check the line against. Survey first: rig survey")
        )
    place = ""
    if shot.x_mm is not None and shot.y_mm is not None:
        place = where(outline, shot.x_mm, shot.y_mm, units)
    expected_mm = reading_mm(z_mm(shot.reading_mm, lines[shot.setup]), line_mm)
    return CheckSight(shot.point, shot.x_mm, shot.y_mm, expected_mm, noise_mm, place)


def _targets(
    begun: Beginning[SetSettings],
    line_mm: float,
    climb_mm: Callable[[float | None, float | None], float],
) -> list[MarkerTarget]:
    """Return what the rod is to read at each marker under the line."""
    return [
        MarkerTarget(
            marker.label,
            marker.x_mm,
            marker.y_mm,
            # Where the line climbs with distance, the rod must read that much more.
            reading_mm(z_mm(marker.target_reading_mm), line_mm)
            + climb_mm(marker.x_mm, marker.y_mm),
            where(begun.outline, marker.x_mm, marker.y_mm, begun.units.system),
        )
        for marker in begun.job.markers()
    ]


KIND = SetMarkers()
