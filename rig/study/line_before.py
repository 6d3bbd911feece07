"""What a job knows of a set-up's line as a session begins: how it read, and what is open of it."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from rig.study.acts import standing
from rig.survey.heights import ties_of
from rig.survey.laser.line_watch import BREAK_S
from rig.survey.reading import REFOUND_MM

if TYPE_CHECKING:
    from rig.job.rows import Shot, StoredEvent
    from rig.job.store import Job

LOOKED_FOR = ("floor", "finished", "threshold")
"""Kinds of shots that are nothing worth where the line has moved."""
_GOOD = ("held", "drift", "jolt", "stood")
"""After a sight that found one of these, the shots that are in use are good."""


class _Line(NamedTuple):
    """A set-up's line: the shot that it is known by, and where it was last seen to be good."""

    mark: "Shot"
    is_fixed: bool
    stderr_mm: float
    offset_mm: float
    offset_stderr_mm: float
    good_s: float
    good_shot: int


def line_of(job: "Job", setup: str, kind: str, utc_s: float) -> dict[str, Any] | None:
    """What is known of a set-up's line, for a session that begins now, as JSON keeps it.

    Returns
    -------
    dict or None
        `known` has what `Known` takes, `earlier` the shots of a kind since the line was last seen
        to be good, `doubt` what is open of a set-up before. None where the set-up has no
        benchmark, unless its last shot is so old that the laser may have been set up again: then
        that shot stands in.
    """
    checks = standing(job, ["checked"])
    line = _line_of(job, setup, checks)
    if line is None or not (line.is_fixed or utc_s - line.mark.utc_s >= BREAK_S):
        return None
    mark, doubt = line.mark, _doubt_of(job, setup, kind, line.mark, checks, utc_s)
    shot_from = any(shot.setup == setup for shot in job.shots(kinds=LOOKED_FOR))
    return {
        "known": {
            "label": mark.point,
            "reading_mm": mark.reading_mm,
            "stderr_mm": line.stderr_mm,
            "offset_mm": line.offset_mm,
            "offset_stderr_mm": line.offset_stderr_mm,
            "checked_s": min(line.good_s - utc_s, 0.0),
            "x_mm": mark.x_mm,
            "y_mm": mark.y_mm,
            "setup": setup,
            "is_fixed": line.is_fixed,
        },
        "earlier": _since(job, setup, kind, line, utc_s),
        "opens": shot_from or doubt is not None,
        "anew": _free_name(job.setups()),
        "line_mm": _over_first_mm(job, setup),
        "doubt": doubt,
    }


def offset_of(job: "Job", setup: str) -> float:
    """Return what a set-up's line reads more than when it was new."""
    line = _line_of(job, setup, standing(job, ["checked"]))
    return 0.0 if line is None else line.offset_mm


def _line_of(job: "Job", setup: str, checks: "list[StoredEvent]") -> _Line | None:
    spots = {point.label for point in job.points()}
    fixed = _fixed_points(job, setup, spots)
    shots = fixed or _shots_from(job, setup, ("floor", "finished"))
    if not shots:
        return None
    mark, stderr_mm = shots[-1], shots[-1].stderr_mm
    if mark.kind != "benchmark" or mark.point in spots:
        stderr_mm = math.hypot(stderr_mm, REFOUND_MM)  # a spot of the floor, not a fixed point
    offset_mm = offset_stderr_mm = 0.0
    good_s, good_shot = (mark.utc_s, mark.id) if fixed else (mark.utc_s, 0)
    for event in checks:
        told = event.data
        if told.get("setup") != setup or "offset_mm" not in told:
            continue
        offset_mm, offset_stderr_mm = told["offset_mm"], told["offset_stderr_mm"]
        if told.get("found") in _GOOD and told["after_shot"] >= good_shot:
            good_s, good_shot = event.utc_s, told["after_shot"]
    return _Line(mark, bool(fixed), stderr_mm, offset_mm, offset_stderr_mm, good_s, good_shot)


def _fixed_points(job: "Job", setup: str, spots: set[str]) -> "list[Shot]":
    """Return a set-up's benchmarks: those that are no spot of the floor, where there are such."""
    marks = _shots_from(job, setup, ("benchmark",))
    return [shot for shot in marks if shot.point not in spots] or marks


def _shots_from(job: "Job", setup: str, kinds: Sequence[str]) -> "list[Shot]":
    return [shot for shot in job.shots(kinds=kinds) if shot.setup == setup]


def _since(job: "Job", setup: str, kind: str, line: _Line, utc_s: float) -> list[dict[str, Any]]:
    """Return a set-up's shots of a kind since its line was last seen to be good."""
    return [
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
        if shot.setup == setup and shot.id > line.good_shot
    ]


def _doubt_of(
    job: "Job",
    setup: str,
    kind: str,
    mark: "Shot",
    checks: "list[StoredEvent]",
    utc_s: float,
) -> dict[str, Any] | None:
    """Return the shots of a set-up before this one that no sight vouches for."""
    before = {event.data["name"]: event.data["before"] for event in standing(job, ["setup"])}
    while (setup := before.pop(setup, "")) != "":
        line = _line_of(job, setup, checks)
        if line is None:
            continue
        shots = _since(job, setup, kind, line, utc_s)
        old = next((shot for shot in (line.mark,) if shot.point == mark.point), None)
        if not line.is_fixed:  # known by its last shot, at which the next set-up was tied
            old = next((s for s in job.shots(("floor", "finished")) if s.point == mark.point), None)
            shots = [shot for shot in reversed(shots) if shot["label"] != mark.point]
        if shots and old is not None and old.setup == setup:
            return {
                "setup": setup,
                "shots": shots,
                "change_mm": mark.reading_mm - old.reading_mm,
                "stderr_mm": math.hypot(mark.stderr_mm, line.stderr_mm),
            }
    return None


def _over_first_mm(job: "Job", setup: str) -> float | None:
    """Return how high a set-up's line is over that of set-up 1, None where nothing ties them."""
    shots = job.shots()
    if len({shot.setup for shot in shots}) < 2:
        return 0.0
    lines = ties_of(shots, "", job.setups()).lines
    return next((line.line_mm for line in lines if line.setup == setup), None)


def _free_name(setups: list[str]) -> str:
    """Return a name for the next set-up, which counts on."""
    return str(max([len(setups), *(int(name) for name in setups if name.isdecimal())]) + 1)
