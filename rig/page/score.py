"""How a practice round went, in the terms of the job: truth beside what was done, row by row."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rig.record import Record
from rig.session.scene import Scene
from rig.session.sections import PlanShown
from rig.units import Units

ON_THE_MARK_MM = 100.0
"""A shot farther than this from its point is of another place."""
STANDS_FOR = {"in": True, "out": False, "unsure": None}


@dataclass(frozen=True, slots=True)
class Row(Record):
    """One thing that was done, how well, what is aimed at; `good` is None where nobody can say."""

    what: str
    got: str
    aim: str
    good: bool | None


def wasted_shots(
    truth: Sequence[Mapping[str, Any]], points: Mapping[str, tuple[float, float]]
) -> int:
    """Count shots that were undone, taken again, or taken away from their point."""
    wasted = 0
    standing: set[str] = set()
    for shot in reversed(truth):
        label = shot["label"]
        x, y = points.get(label, (shot["x_mm"], shot["y_mm"]))
        off = math.hypot(shot["x_mm"] - x, shot["y_mm"] - y) > ON_THE_MARK_MM
        if shot["undone"] or label in standing or off:
            wasted += 1
        else:
            standing.add(label)
    return wasted


def score_rows(round_: Mapping[str, Any], units: Units) -> list[Row]:
    """Judge a round, in words with the job's units.

    Parameters
    ----------
    round_ : mapping
        `seconds`, `shots`, `wasted`, `markers`, `markers_of`, `markers_worst_mm`, `tolerance_mm`,
        `bags_site`, `bags_used`, `bags_needed`, `edge_age_s`, `working_s`, `cover_mm`,
        `min_cover_mm`, `verdict`, `gap_mm`.
    units : Units
    """
    off = units.off

    minutes, seconds = divmod(round(round_["seconds"]), 60)
    worst, left = round_["markers_worst_mm"], round_["bags_site"] - round_["bags_used"]
    short = round_["bags_needed"] - round_["bags_used"]
    edge, working = round_["edge_age_s"], round_["working_s"]
    every = round_["markers"] == round_["markers_of"]
    verdict = round_["verdict"]
    return [
        Row("time", f"{minutes} min {seconds} s", "no hurry", None),
        Row(
            "shots",
            f"{round_['shots']} taken, {round_['wasted']} wasted",
            "none wasted",
            round_["wasted"] == 0,
        ),
        Row(
            "markers",
            f"{round_['markers']} of {round_['markers_of']} set, worst {off(worst)} off",
            f"all, within {off(round_['tolerance_mm'])}",
            every and worst <= round_["tolerance_mm"],
        ),
        Row(
            "bags",
            f"{round_['bags_used']:g} tipped, {left:g} left",
            f"{round_['bags_needed']:.1f} truly needed",
            -0.5 <= -short <= max(2.0, 0.1 * round_["bags_needed"]),
        ),
        Row(
            "wet edge",
            f"oldest {edge / 60:.0f} min",
            f"under {working / 60:.0f} min",
            edge <= working,
        ),
        Row(
            "least cover",
            units.length(round_["cover_mm"]),
            units.length(round_["min_cover_mm"]),
            round_["cover_mm"] >= round_["min_cover_mm"] - 0.5,
        ),
        Row(
            "flatness",
            {"in": "in", "out": "out", "unsure": "too close to tell"}[verdict]
            + f", worst gap {off(round_['gap_mm'])}",
            "in",
            STANDS_FOR[verdict],
        ),
    ]


def score_scene(rows: Sequence[Row], units: Units, plan: PlanShown, acts: tuple[str, ...]) -> Scene:
    """Show the rows."""
    scene = Scene("score", "Practice", units, plan, acts=acts)
    good = sum(row.good is True for row in rows)
    judged = sum(row.good is not None for row in rows)
    text = f"{good} of {judged} good"
    scene.show("idle", text)
    scene.sections.score = tuple(rows)
    return scene
