"""How a practice round went, in the terms of the job: truth beside what was done, row by row."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from rig.demo.truth import TrueShot
from rig.language import numeral, say
from rig.record import Record
from rig.session.scene import Scene
from rig.session.sections import PlanShown
from rig.units import Units

ON_THE_MARK_MM = 100.0
"""A shot farther than this from its point is of another place."""
STANDS_FOR = {"in": True, "out": False, "unsure": None}
IN_WORDS = {"in": "in", "out": "out", "unsure": say("too close to tell")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Round(Record):
    """What a trainee did, and what would have been right.

    Attributes
    ----------
    seconds : float
        From the first shot to the end of the pour.
    shots, wasted : int
    markers, markers_of : int
        Set, of how many.
    markers_worst_mm, tolerance_mm : float
    bags_site, bags_used, bags_needed : float
        On site, tipped, truly needed.
    edge_age_s, working_s : float
        Oldest wet edge, and how old one may get.
    cover_mm, min_cover_mm : float
        Least cover as it truly is, and as it must be.
    verdict : {"in", "out", "unsure"}
    gap_mm : float
    """

    seconds: float
    shots: int
    wasted: int
    markers: int
    markers_of: int
    markers_worst_mm: float
    tolerance_mm: float
    bags_site: float
    bags_used: float
    bags_needed: float
    edge_age_s: float
    working_s: float
    cover_mm: float
    min_cover_mm: float
    verdict: Literal["in", "out", "unsure"]
    gap_mm: float


@dataclass(frozen=True, slots=True)
class Row(Record):
    """One thing that was done, how well, what is aimed at; `good` is None where nobody can say."""

    what: str
    got: str
    aim: str
    good: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Score(Record):
    """A round and how it is judged, and the job that it was worked in."""

    score: Round
    rows: tuple[Row, ...]
    job: str


def wasted_shots(truth: Sequence[TrueShot], points: Mapping[str, tuple[float, float]]) -> int:
    """Count shots that were undone, taken again, or taken away from their point."""
    wasted = 0
    standing: set[str] = set()
    for shot in reversed(truth):
        x, y = points.get(shot.label, (shot.x_mm, shot.y_mm))
        off = math.hypot(shot.x_mm - x, shot.y_mm - y) > ON_THE_MARK_MM
        if shot.undone or shot.label in standing or off:
            wasted += 1
        else:
            standing.add(shot.label)
    return wasted


def score_rows(done: Round, units: Units) -> tuple[Row, ...]:
    """Judge a round, in words with the job's units."""
    off = units.off
    minutes, seconds = divmod(round(done.seconds), 60)
    worst, left = done.markers_worst_mm, done.bags_site - done.bags_used
    over = done.bags_used - done.bags_needed
    return (
        Row(
            "time",
            say("{minutes} min {seconds} s", minutes=minutes, seconds=seconds),
            say("no hurry"),
            None,
        ),
        Row(
            "shots",
            say("{shots} taken, {wasted} wasted", shots=done.shots, wasted=done.wasted),
            say("none wasted"),
            done.wasted == 0,
        ),
        Row(
            "markers",
            say(
                "{markers} of {markers_of} set, worst {worst} off",
                markers=done.markers,
                markers_of=done.markers_of,
                worst=off(worst),
            ),
            say("all, within {tolerance}", tolerance=off(done.tolerance_mm)),
            done.markers == done.markers_of and worst <= done.tolerance_mm,
        ),
        Row(
            "bags",
            say(
                "{bags_used} tipped, {left} left",
                bags_used=numeral(done.bags_used, "g"),
                left=numeral(left, "g"),
            ),
            say("{bags_needed} truly needed", bags_needed=numeral(done.bags_needed, ".1f")),
            -0.5 <= over <= max(2.0, 0.1 * done.bags_needed),
        ),
        Row(
            say("wet edge"),
            say("oldest {edge_age} min", edge_age=numeral(done.edge_age_s / 60, ".0f")),
            say("under {working} min", working=numeral(done.working_s / 60, ".0f")),
            done.edge_age_s <= done.working_s,
        ),
        Row(
            say("least cover"),
            units.length(done.cover_mm),
            units.length(done.min_cover_mm),
            done.cover_mm >= done.min_cover_mm - 0.5,
        ),
        Row(
            "flatness",
            say(
                "{in_words}, worst gap {gap}", in_words=IN_WORDS[done.verdict], gap=off(done.gap_mm)
            ),
            "in",
            STANDS_FOR[done.verdict],
        ),
    )


def score_scene(rows: Sequence[Row], units: Units, plan: PlanShown, acts: tuple[str, ...]) -> Scene:
    """Show the rows."""
    scene = Scene("score", "Practice", units, plan, acts=acts)
    good = sum(row.good is True for row in rows)
    judged = sum(row.good is not None for row in rows)
    scene.show("idle", say("{good} of {judged} good", good=good, judged=judged))
    scene.sections.score = tuple(rows)
    return scene
