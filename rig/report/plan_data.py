"""What a job has that other programs can draw: places with heights, surfaces, contours, markers."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from rig.drawing.contours import Contours, contours_of, lattice_of
from rig.drawing.vector import Floats
from rig.errors import CannotAnswer
from rig.language import say
from rig.room import Outline
from rig.study.findings import outside_warnings
from rig.study.judged import own_heights
from rig.study.lasers import shots_of
from rig.surface.floor_model import floor_model
from rig.survey.heights import Heights, heights_of
from rig.units import Units

if TYPE_CHECKING:
    from rig.job.rows import Marker, Point
    from rig.job.store import Job
    from rig.surface.gaussian_process import GaussianProcess

MOST_NODES = 1_500
HEIGHTS_NOTE = say("Heights are in mm relative to the laser's line at set-up 1; up is positive.")
PLANE_NOTE = say(
    "x and y are mm in the plane of the room, counted from the corner 0,0 of the job. They "
    "are no longitude and latitude."
)


@dataclass(frozen=True, eq=False)
class Surface:
    """A modelled surface: nodes of a lattice that lie on the floor, faces between, contours.

    `faces` are three or four of the nodes each, counter-clockwise.
    """

    kind: str
    x_mm: Floats
    y_mm: Floats
    z_mm: Floats
    stderr_mm: Floats
    faces: tuple[tuple[int, ...], ...]
    contours: Contours


@dataclass(frozen=True, eq=False)
class PlanData:
    """All that can be drawn of a job; what is not there yet is empty or None."""

    outline: Outline
    points: "tuple[Point, ...]"
    heights: dict[str, Heights]
    surfaces: tuple[Surface, ...]
    markers: "tuple[Marker, ...]"
    plane: tuple[float, float, float] | None
    notes: tuple[str, ...]


def plan_data(job: "Job", outline: Outline) -> PlanData:
    """Gather what can be drawn of a job."""
    shots, setups = shots_of(job), job.setups()
    heights, notes = {}, [PLANE_NOTE, HEIGHTS_NOTE]
    for kind in ("floor", "threshold", "finished"):
        if not any(shot.kind == kind for shot in shots):
            continue
        try:
            heights[kind] = heights_of(
                shots, kind, setups, None if kind == "threshold" else outline
            )
        except CannotAnswer as error:
            # One set-up alone still has its own shape; its heights then stand apart.
            if kind == "finished":
                heights[kind] = own_heights(job, outline, kind)
                notes.append(
                    say("The finished shots stand on their own line: {error}", error=error)
                )
    surfaces = []
    for kind in ("floor", "finished"):
        if kind in heights:
            try:
                surfaces.append(_surface(kind, outline, heights[kind], job.units))
            except CannotAnswer as error:
                notes.append(say("No surface of the {kind} shots: {error}", kind=kind, error=error))
    plan = job.current_plan()
    plane = None if plan is None else (plan.a, plan.b, plan.c)
    if plan is not None and job.changed_since(plan):
        notes.append(say("The finished plane and the markers are stale: shots changed since."))
    for kind in ("floor", "finished"):
        notes += outside_warnings(job, outline, kind)
    return PlanData(
        outline,
        tuple(job.points()),
        heights,
        tuple(surfaces),
        tuple(job.markers()),
        plane,
        tuple(notes),
    )


def fitted(heights: Heights) -> "GaussianProcess":
    """Surface model of shots."""
    model = floor_model()
    model.fit(heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
    return model


def _surface(kind: str, outline: Outline, heights: Heights, units: Units) -> Surface:
    model = fitted(heights)
    contours = contours_of(
        outline, lattice_of(outline, lambda x, y: model.predict(x, y, quick=True)[0]), units
    )
    lattice = lattice_of(outline, lambda x, y: 0.0 * x, MOST_NODES)
    x, y = (part.ravel() for part in np.meshgrid(lattice.x_mm, lattice.y_mm))
    near = outline.polygon.buffer(0.01)
    shapely.prepare(near)
    inside = np.asarray(shapely.intersects_xy(near, x, y))
    number = np.where(inside, np.cumsum(inside) - 1, -1).reshape(lattice.values.shape)
    mean, sd = model.predict(x[inside], y[inside])
    return Surface(
        kind, x[inside], y[inside], mean, sd, _faces(number, near, x[inside], y[inside]), contours
    )


def _faces(number: Floats, floor: object, x: Floats, y: Floats) -> tuple[tuple[int, ...], ...]:
    """Faces between nodes that are there, left out where a corner of the room cuts in."""
    found = []
    rows, columns = number.shape
    for j in range(rows - 1):
        for i in range(columns - 1):
            ring = [number[j, i], number[j, i + 1], number[j + 1, i + 1], number[j + 1, i]]
            kept = tuple(int(n) for n in ring if n >= 0)
            if len(kept) >= 3:
                found.append(kept)
    shapes = [shapely.Polygon([(x[n], y[n]) for n in face]) for face in found]
    whole = shapely.covers(floor, shapes) if shapes else []
    return tuple(face for face, is_in in zip(found, whole, strict=True) if is_in)
