"""What a job knows of its laser: where it stood at each set-up, and what the job asks of it."""

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from rig.errors import BadInput
from rig.survey.heights import REFOUND_MM
from rig.survey.laser.verdict import NEED_MM, USUAL_LIMIT_MM_PER_M

if TYPE_CHECKING:
    from rig.job.rows import Shot
    from rig.job.store import Job
    from rig.plan_geometry import Outline
    from rig.survey.laser.share import Trust
    from rig.survey.setups import Ties

SETTING = "laser_places"
CORRECTION = "laser_correction"
FARTHEST_MM = 200_000.0

Place = tuple[float, float]


def places_of(job: "Job") -> dict[str, Place]:
    """Where the laser stood at each set-up that says so, in mm on the plan."""
    stored = job.settings.get(SETTING) or {}
    return {setup: (float(x), float(y)) for setup, (x, y) in stored.items()}


def set_place(job: "Job", setup: str, place: Place) -> None:
    """Keep where the laser stands; the change is an event like any edit."""
    if max(map(abs, place)) > FARTHEST_MM:
        raise BadInput("The laser's place is more than 200 m off the room's corner; check --laser.")
    places = places_of(job)
    if places.get(setup) != place:
        job.update_settings({SETTING: {**places, setup: place}})


def correction_of(job: "Job") -> dict[str, float] | None:
    """Return the radial error that is taken off every shot, and its doubt, where that is asked."""
    found: dict[str, float] | None = job.settings.get(CORRECTION)
    return found


def climb_of(job: "Job", setup: str) -> Callable[[float | None, float | None], float]:
    """Return what a shot of a set-up reads too much at x, y, by the correction that was asked for.

    All in mm; it knows the job as it is now and asks it no more.
    """
    correction, place = correction_of(job), places_of(job).get(setup)

    def climb_mm(x_mm: float | None, y_mm: float | None) -> float:
        if correction is None or place is None or x_mm is None or y_mm is None:
            return 0.0
        return correction["error_mm_per_m"] * math.dist((x_mm, y_mm), place) / 1000.0

    return climb_mm


def shots_of(job: "Job") -> "list[Shot]":
    """Current shots, less the laser's radial error where that is corrected."""
    shots, correction, places = job.shots(), correction_of(job), places_of(job)
    if correction is None:
        return shots
    error = correction["error_mm_per_m"] / 1000.0
    return [
        replace(
            shot,
            reading_mm=shot.reading_mm
            - error * math.dist((shot.x_mm, shot.y_mm), places[shot.setup]),
        )
        if shot.setup in places and shot.x_mm is not None and shot.y_mm is not None
        else shot
        for shot in shots
    ]


def correction_warnings(job: "Job", setups: Iterable[str]) -> list[str]:
    """Say which set-ups a correction leaves as they are, for want of the laser's place."""
    if correction_of(job) is None:
        return []
    known = places_of(job)
    return [
        f"The shots of set-up {name} are not corrected: say where its laser stood (--laser)."
        for name in setups
        if name not in known
    ]


def trust_of(job: "Job") -> "Trust":
    """How far a job's laser is to be trusted, by its last checks."""
    from rig.survey.laser.share import Trust, unchecked

    last = {check.kind: check.result for check in job.checks()}
    usual, usual_text = unchecked()
    correction = correction_of(job)
    if correction is not None:
        radial = correction["stderr_mm_per_m"]
        told = [f"Climb with distance: corrected, ± {radial:.3f} mm/m left by the two-peg test."]
    elif "two-peg" in last:
        found = last["two-peg"]
        # Not corrected, so all of it counts (JCGM 100:2008, F.2.4.5 on why one should).
        radial = math.hypot(found["error_mm_per_m"], found["stderr_mm_per_m"])
        told = [f"Climb with distance: {radial:.3f} mm/m, by the two-peg test."]
    else:
        radial, told = usual, [f"Climb with distance: not checked, {usual_text}."]
    if "cross" in last:
        found = last["cross"]
        x, y = found["tilt_mm_per_m"]
        tilt = math.sqrt((x * x + y * y) / 2.0 + found["stderr_mm_per_m"] ** 2)
        told.append(f"Slope: {tilt:.3f} mm/m along either axis, by the cross check.")
    else:
        tilt = usual
        told.append(f"Slope: not checked, {usual_text}.")
    return Trust(radial, tilt, tuple(told))


def line_of(job: "Job", setup: str, kind: str, utc_s: float) -> dict[str, Any] | None:
    """What is known of a set-up's line, for a session that begins now, as JSON keeps it.

    Returns
    -------
    dict or None
        `known` has what `Known` takes, `earlier` the shots of a kind since the line was last seen
        to be good; None where the set-up has no benchmark.
    """
    benchmarks = [shot for shot in job.shots(kinds=["benchmark"]) if shot.setup == setup]
    if not benchmarks:
        return None
    mark, stderr_mm = benchmarks[-1], benchmarks[-1].stderr_mm
    if mark.point in {point.label for point in job.points()}:
        stderr_mm = math.hypot(stderr_mm, REFOUND_MM)  # a spot of the floor, not a fixed point
    offset_mm = offset_stderr_mm = 0.0
    good_s, good_shot = mark.utc_s, mark.id
    for event in job.events(["checked"]):
        told = event.data
        if told.get("setup") != setup or "offset_mm" not in told:
            continue
        offset_mm, offset_stderr_mm = told["offset_mm"], told["offset_stderr_mm"]
        if told["after_shot"] >= mark.id:
            good_s, good_shot = event.utc_s, told["after_shot"]
    earlier = [
        {
            "label": shot.point,
            "x_mm": shot.x_mm,
            "y_mm": shot.y_mm,
            "reading_mm": shot.reading_mm,
            "stderr_mm": shot.stderr_mm,
            "n": shot.n,
            "kind": shot.kind,
            "time_s": min(shot.utc_s - utc_s, 0.0),
        }
        for shot in job.shots(kinds=[kind])
        if shot.setup == setup and shot.id > good_shot
    ]
    known = {
        "label": mark.point,
        "reading_mm": mark.reading_mm,
        "stderr_mm": stderr_mm,
        "offset_mm": offset_mm,
        "offset_stderr_mm": offset_stderr_mm,
        "checked_s": min(good_s - utc_s, 0.0),
        "x_mm": mark.x_mm,
        "y_mm": mark.y_mm,
    }
    return {"known": known, "earlier": earlier}


def limit_of(job: "Job | None", outline: "Outline | None", setup: str) -> tuple[float, str]:
    """Return the steepest error that is good enough, in mm per m, and whose need that is.

    A job needs its farthest place right within a marker's tolerance; without a job a usual
    maker's figure stands in.
    """
    if job is None or outline is None:
        return USUAL_LIMIT_MM_PER_M, (
            "a usual maker's figure (common practice, no source; your laser's data sheet rules: "
            "--limit)"
        )
    x0, y0, x1, y1 = outline.polygon.bounds
    place = places_of(job).get(setup)
    x, y = place or ((x0 + x1) / 2.0, (y0 + y1) / 2.0)
    far_m = max(math.dist((x, y), corner) for corner in outline.walls) / 1000.0
    stands = "where the laser stands" if place else "the room's middle"
    return NEED_MM / far_m, (
        f"what this job needs: {NEED_MM:g} mm at its farthest place, {far_m:.1f} m from {stands}"
    )


def tie_warnings(job: "Job", ties: "Ties | None" = None) -> list[str]:
    """Say where the benchmarks of a job contradict each other, whatever else is still untied.

    Fewer than four sights from two set-ups cannot.
    """
    from rig.survey.heights import ties_of
    from rig.survey.setups import contradictions
    from rig.units import format_length

    if ties is None:
        sights = job.shots(kinds=["benchmark"])
        if len(sights) < 4 or len({sight.setup for sight in sights}) < 2:
            return []
        ties = ties_of(job.shots(), "", job.setups())
    units, denominator = job.settings["units"], job.settings["denominator"]
    return contradictions(ties, lambda mm: format_length(mm, units, denominator))
