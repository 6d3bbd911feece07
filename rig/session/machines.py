"""Make the machines of live work from a job: the survey's and the marker setting's."""

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from rig.errors import BadInput, CannotAnswer
from rig.events import ShotTaken
from rig.guidance.setting import CheckSight, MarkerTarget, Setting
from rig.room import ON_WALL_MM, Outline, contains, where
from rig.survey.capture import Capture, Stand
from rig.survey.heights import outside_mm
from rig.survey.laser.line_watch import Known
from rig.survey.plausibility import LONGEST_TYPED_MM, SHORTEST_TYPED_MM, Guard
from rig.survey.reading import reading_mm, z_mm
from rig.units import format_length

if TYPE_CHECKING:
    from rig.devices.profile import Profile
    from rig.job.rows import Plan, Shot
    from rig.job.store import Job


def survey_machine(
    job: "Job", outline: Outline, capture: dict[str, Any], resolution_mm: float, foot_mm: float
) -> Capture:
    """Make the survey of a session from its capture settings, as the job keeps them.

    Parameters
    ----------
    job : Job
        For its units.
    outline : Outline
        For where each point is.
    capture : dict
        `kind`, `points` (label, x_mm, y_mm), `dwell_s`, `walk_s`, `still_mm`, `rock`,
        `resumes_from` (label, reading_mm) or None, `line` as `rig.study.lasers.line_of` tells it
        (or None), `checks` whether the walk goes back to the benchmark.
    resolution_mm, foot_mm : float
        Of the rod.
    """
    settings = job.settings
    units, denominator = settings.units, settings.denominator
    stands = [
        Stand(label, x_mm, y_mm, where(outline, x_mm, y_mm, units) if x_mm is not None else "")
        for label, x_mm, y_mm in capture["points"]
    ]
    label, reading_mm = capture["resumes_from"] or (None, None)
    line, earlier = None, []
    if capture.get("line"):
        known = capture["line"]["known"]
        place = "" if known["x_mm"] is None else where(outline, known["x_mm"], known["y_mm"], units)
        line = Known(**known, where=place)
        earlier = [ShotTaken(**shot) for shot in capture["line"]["earlier"]]
        asked = {stand.label for stand in stands}
        earlier = [shot for shot in earlier if shot.label not in asked and _inside(outline, shot)]
        stands += [
            Stand(shot.label, shot.x_mm, shot.y_mm, where(outline, shot.x_mm, shot.y_mm, units))
            for shot in earlier
            if shot.x_mm is not None and shot.y_mm is not None
        ]
    return Capture(
        stands,
        kind=capture["kind"],
        dwell_s=capture["dwell_s"],
        walk_s=capture["walk_s"],
        still_mm=capture["still_mm"],
        rock=capture["rock"],
        resolution_mm=resolution_mm,
        foot_mm=foot_mm,
        last_shot_mm=reading_mm,
        last_label=label,
        done=[shot.label for shot in earlier],
        line=line,
        checks=capture.get("checks", False),
        earlier=earlier,
        show=lambda mm: format_length(mm, units, denominator),
    )


def _inside(outline: Outline, shot: ShotTaken) -> bool:
    """Whether a shot still lies on the floor, whose walls may have been mended since."""
    if shot.x_mm is None or shot.y_mm is None:
        return True
    return bool(contains(outline, shot.x_mm, shot.y_mm).all())


def setting_machine(
    job: "Job",
    plan: "Plan",
    outline: Outline,
    *,
    setup: str,
    tolerance_mm: float,
    dwell_s: float,
    walk_s: float,
    still_mm: float,
    resolution_mm: float,
    foot_mm: float,
    start_marker: str | None,
    skip_check: bool,
) -> Setting:
    """Make the marker setting of a plan for a set-up, new or known.

    A known set-up's line must still be where it was; a new one is tied by the check sight.

    Raises
    ------
    CannotAnswer
        Where nothing is there to check the line against.
    """
    from rig.study.lasers import climb_of, line_of, shots_of
    from rig.survey.heights import lines_of

    settings = job.settings
    units, denominator = settings.units, settings.denominator
    shots = [shot for shot in shots_of(job) if shot.kind in ("floor", "benchmark", "threshold")]
    lines = {line.setup: line.line_mm for line in lines_of(shots, "floor", job.setups())}
    shots = [shot for shot in shots if shot.setup in lines]
    retie = setup not in lines
    if retie and skip_check:
        raise BadInput(
            f"Set-up {setup} has no line yet: without the check sight its height is unknown. "
            "Leave out --skip-check, or name a set-up of the survey."
        )
    known = (line_of(job, setup, "floor", 0.0) or {}).get("known", {})
    line_mm = 0.0 if retie else lines[setup] + known.get("offset_mm", 0.0)
    climb_mm = climb_of(job, setup)
    markers = [
        MarkerTarget(
            marker.label,
            marker.x_mm,
            marker.y_mm,
            # Where the line climbs with distance, the rod must read that much more.
            marker.target_reading_mm + line_mm + climb_mm(marker.x_mm, marker.y_mm),
            where(outline, marker.x_mm, marker.y_mm, units),
        )
        for marker in job.markers()
    ]
    check = None
    if not skip_check:
        check = check_sight(shots, lines, line_mm, plan, outline, units)
        climb = climb_mm(check.x_mm, check.y_mm)
        check = replace(check, expected_mm=check.expected_mm + climb)
    return Setting(
        markers,
        already_set=[marker.label for marker in job.markers() if marker.is_set],
        check=check,
        retie=retie,
        tolerance_mm=tolerance_mm,
        dwell_s=dwell_s,
        walk_s=walk_s,
        still_mm=still_mm,
        resolution_mm=resolution_mm,
        foot_mm=foot_mm,
        units=units,
        denominator=denominator,
        start_marker=start_marker,
        skip_check=skip_check,
    )


def guard_of(
    job: "Job", setup: str, profile: "Profile | None", targets_mm: Iterable[float] = ()
) -> Guard:
    """Make the guard of a session: what its rod can read, and what was read under the same line.

    Parameters
    ----------
    job : Job
    setup : str
        Of the session; the readings of another line say nothing.
    profile : Profile or None
        Of the rod; None where readings are typed.
    targets_mm : iterable of float
        What markers are to read.
    """
    settings = job.settings
    shots = [shot for shot in job.shots(kinds=["floor", "finished"]) if shot.setup == setup]
    return Guard(
        resolution_mm=profile.resolution_mm if profile else 0.0,
        shortest_mm=profile.shortest_mm if profile else SHORTEST_TYPED_MM,
        longest_mm=profile.longest_mm if profile else LONGEST_TYPED_MM,
        shots=[
            (shot.point, shot.x_mm, shot.y_mm, shot.reading_mm)
            for shot in shots
            if shot.x_mm is not None and shot.y_mm is not None
        ],
        benchmarks={
            shot.point: (shot.reading_mm, shot.stderr_mm)
            for shot in job.shots(kinds=["benchmark", "threshold"])
            if shot.setup == setup
        },
        heights_mm=targets_mm if shots else (),
        show=lambda mm: format_length(mm, settings.units, settings.denominator),
    )


def check_sight(
    shots: "list[Shot]",
    lines: dict[str, float],
    line_mm: float,
    plan: "Plan",
    outline: Outline,
    units: str,
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
        raise CannotAnswer("There is no shot to check the line against. Survey first: rig survey")
    place = ""
    if shot.x_mm is not None and shot.y_mm is not None:
        place = where(outline, shot.x_mm, shot.y_mm, units)
    expected_mm = reading_mm(z_mm(shot.reading_mm, lines[shot.setup]), line_mm)
    return CheckSight(shot.point, shot.x_mm, shot.y_mm, expected_mm, noise_mm, place)
