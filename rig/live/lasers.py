"""What a job knows of its laser: where it stood at each set-up, and what the job asks of it."""

import math
from typing import TYPE_CHECKING

from rig.errors import BadInput
from rig.survey.laser.verdict import NEED_MM, USUAL_LIMIT_MM_PER_M

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.plan_geometry import Outline
    from rig.survey.setups import Ties

SETTING = "laser_places"
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
