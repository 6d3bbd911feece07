"""From a job's shots to the surfaces that are held against rules: which shots, and their model."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from rig.errors import CannotAnswer
from rig.flatness import f_numbers as fn
from rig.flatness.field import Field
from rig.flatness.level_lines import LevelLine
from rig.flatness.model import (
    MOST_DRAWN_NODES,
    Model,
    Shared,
    fine_field,
    fit_surface,
    model_of,
)
from rig.flatness.rule import Rule
from rig.flatness.scan import scan_model
from rig.flatness.verdict import Verdict
from rig.language import say
from rig.room import Outline
from rig.study.dragged import bells_of, drags_of, every_look, with_found
from rig.study.lasers import shots_of
from rig.study.picture import beliefs_of, none_inside
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.looked import Looked
from rig.survey.heights import Heights, heights_of

if TYPE_CHECKING:
    from rig.job.store import Job

SEED = 1155
# More shots than this are a scan: taken as they are, not smoothed.
MOST_SHOTS = 20_000
# Readings of a line stand this near to their equal spacing.
_OFF_LINE_MM = 60.0
_LINE_LABEL = re.compile(r"(F\d+)-(\d+)")


class Surfaces:
    """Surfaces fitted to shots over a room, each only once however often it is asked for.

    Known by the shots' numbers, so that other shots are never taken for them. What a job knows of
    how its floor is built, and what straightedges and slides of the rod showed of it, is believed
    of the shots of that floor (`built`), never of those of a pour.
    """

    def __init__(self, outline: Outline, job: Job | None = None) -> None:
        self.outline = outline
        self.looks: tuple[Looked, ...] = () if job is None else every_look(job)
        self._drags = () if job is None else drags_of(job)
        self._built = None if job is None else beliefs_of(job, outline)
        self._fitted: dict[tuple[object, ...], GaussianProcess] = {}
        self._fine: dict[tuple[object, ...], Field] = {}

    def of(self, heights: Heights, *, built: bool = False) -> GaussianProcess:
        """Model fitted to heights."""
        key = _key(heights, built)
        if key not in self._fitted:
            drags = self._drags if built else ()
            heights = with_found(heights, drags)
            self._fitted[key] = fit_surface(
                heights.x_mm,
                heights.y_mm,
                heights.z_mm,
                heights.stderr_mm,
                self._built if built else None,
                bells_of(heights, drags),
            )
        return self._fitted[key]

    def fine(self, heights: Heights, *, built: bool = False) -> Field:
        """Best estimate of that model, as finely as a floor is judged."""
        key = _key(heights, built)
        if key not in self._fine:
            self._fine[key] = fine_field(self.of(heights, built=built), self.outline)
        return self._fine[key]


def _key(heights: Heights, built: bool) -> tuple[object, ...]:
    columns = (heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
    return (built, *(column.tobytes() for column in columns))


def kind_to_judge(job: Job, kind: str | None) -> str:
    """Which shots are judged: those asked for, else the finished ones where there are any."""
    kinds = {shot.kind for shot in job.shots(kinds=["floor", "finished"])}
    if kind is None:
        kind = "finished" if "finished" in kinds else "floor"
    if kind not in kinds:
        raise CannotAnswer(
            say(
                "The job has no shots of the finished floor yet. Shoot them first: rig survey "
                "--kind finished"
                if kind == "finished"
                else "The job has no shots of the floor yet. Shoot them first: rig survey"
            )
        )
    return kind


def own_heights(job: Job, outline: Outline, kind: str) -> Heights:
    """Heights of a kind in a room; one set-up alone needs no tie, for flatness has no datum."""
    shots = shots_of(job)
    mine = [shot for shot in shots if shot.kind == kind]
    if len({shot.setup for shot in mine}) == 1:
        return heights_of(mine, kind, outline=outline)
    return heights_of(shots, kind, job.setups(), outline)


def surface_model(
    outline: Outline,
    heights: Heights,
    most_drawn_nodes: int = MOST_DRAWN_NODES,
    surfaces: Surfaces | None = None,
    *,
    built: bool = False,
    unseen: bool = False,
) -> Model:
    """Model of the surface that shots show, or of a scan's points where they are many.

    With `unseen` what neither shots nor looks would have shown is in its draws; `built` as in
    `Surfaces`.
    """
    rng = np.random.default_rng(SEED)
    if len(heights.labels) > MOST_SHOTS:
        return scan_model(outline, heights.x_mm, heights.y_mm, heights.z_mm, rng)
    surfaces = surfaces or Surfaces(outline)
    looks = surfaces.looks if built else ()
    return model_of(
        surfaces.of(heights, built=built),
        outline,
        heights.x_mm,
        heights.y_mm,
        float(np.median(heights.stderr_mm)),
        rng,
        most_drawn_nodes=most_drawn_nodes,
        mean=surfaces.fine(heights, built=built),
        looks=looks if unseen else None,
        built=built and unseen,
    )


def judge_shots(
    job: Job,
    surfaces: Surfaces,
    heights: Heights,
    rule: Rule,
    confidence: float,
    kind: str | None = None,
    *,
    built: bool = False,
) -> Verdict:
    """Judge heights; with their kind, rules that hold the laser's own error do so."""
    from rig.study.laser_budget import errors_over

    if len(heights.labels) == 0:
        raise CannotAnswer(none_inside(job, kind or "floor"))
    outline, units, shared = surfaces.outline, job.units, None
    if kind is not None and rule.holds_shared:
        shared = errors_over(job, kind, heights)
    if rule.by_lines:
        lines = shot_lines(heights, shared)
        if lines:
            return rule.judge_lines(lines, confidence, outline.area_m2, units)
    model = surface_model(outline, heights, surfaces=surfaces, built=built, unseen=True)
    return rule.judge(outline, model, confidence, shared, units)


def shot_lines(heights: Heights, shared: Shared | None = None) -> list[LevelLine]:
    """Lines of `rig grid --lines` that were shot without a gap, long enough for F-numbers."""
    found: dict[str, list[tuple[int, int]]] = {}
    for n, label in enumerate(heights.labels):
        parts = _LINE_LABEL.fullmatch(label)
        if parts:
            found.setdefault(parts[1], []).append((int(parts[2]), n))
    lines = []
    for name, members in found.items():
        numbers, rows = zip(*sorted(members), strict=True)
        if len(rows) < fn.LEAST_READINGS or numbers != tuple(range(1, len(rows) + 1)):
            continue
        index = list(rows)
        steps = np.hypot(np.diff(heights.x_mm[index]), np.diff(heights.y_mm[index]))
        step = float(np.median(steps))
        if np.all(np.abs(steps - step) < _OFF_LINE_MM):
            noise = float(np.median(heights.stderr_mm[index]))
            x, y = heights.x_mm[index], heights.y_mm[index]
            columns = None if shared is None else shared(x, y)
            lines.append(LevelLine(name, heights.z_mm[index], step, noise, columns))
    return lines
