"""Which way a job's readings run, as far as what it knows beside them tells."""

from typing import TYPE_CHECKING

from rig.survey.mirrored import FixedPoint, Known, SenseWatch, tells_sense

if TYPE_CHECKING:
    from rig.job.store import Job


def sense_of(job: "Job", setup: str) -> SenseWatch:
    """Return what watches the shots under the line of a set-up."""
    floor = [shot for shot in job.shots(kinds=["floor"]) if shot.setup == setup]
    points, others = _fixed(job, setup)
    return SenseWatch(
        [
            (shot.point, shot.x_mm, shot.y_mm, shot.reading_mm)
            for shot in floor
            if shot.x_mm is not None and shot.y_mm is not None
        ],
        points,
        others,
        job.units,
    )


def sense_warnings(job: "Job") -> list[str]:
    """Say where the readings of a set-up seem to run the wrong way."""
    return [text for setup in job.setups() for text in sense_of(job, setup).doubts()]


def is_sense_known(job: "Job", setup: str) -> bool:
    """Say whether a survey of a set-up that runs the wrong way will be seen to."""
    points, others = _fixed(job, setup)
    thresholds = [point for name in job.setups() for point in _fixed(job, name)[0]]
    return tells_sense([*points, *thresholds], others.values())


def _fixed(job: "Job", setup: str) -> tuple[list[FixedPoint], dict[str, dict[str, Known]]]:
    """Return the fixed points under a set-up's line, and what they read under those before it."""
    here: list[FixedPoint] = []
    others: dict[str, dict[str, Known]] = {}
    order = job.setups()
    earlier = order[: order.index(setup)] if setup in order else order
    for shot in job.shots(kinds=["benchmark", "threshold"]):
        if shot.setup == setup:
            is_threshold = shot.kind == "threshold"
            known = shot.x_mm, shot.y_mm, shot.reading_mm, shot.stderr_mm
            here.append(FixedPoint(shot.point, is_threshold, *known))
        elif shot.setup in earlier:
            others.setdefault(shot.setup, {})[shot.point] = (shot.reading_mm, shot.stderr_mm)
    return here, others
