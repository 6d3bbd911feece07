"""A job as DXF by ezdxf: in mm, one named layer for each thing, heights as elevations."""

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from rig import __version__
from rig.report.plan_data import PlanData, Surface
from rig.survey.reading import z_mm
from rig.units import Units

if TYPE_CHECKING:
    from ezdxf.document import Drawing

# Layer, its colour's number in AutoCAD's index of colours, and what is on it.
LAYERS = {
    "RIG_ROOM": (7, "walls and openings"),
    "RIG_DOOR": (8, "doorways"),
    "RIG_GRID": (9, "points to shoot"),
    "RIG_SHOTS_FLOOR": (5, "shots of the floor, with height"),
    "RIG_SHOTS_FINISHED": (4, "shots of the finished surface"),
    "RIG_SHOTS_THRESHOLD": (6, "shots of thresholds"),
    "RIG_SURFACE_FLOOR": (9, "modelled floor, as faces"),
    "RIG_SURFACE_FINISHED": (9, "modelled finished surface, as faces"),
    "RIG_CONTOURS_FLOOR": (30, "contour lines of the floor"),
    "RIG_CONTOURS_FINISHED": (40, "contour lines of the finished surface"),
    "RIG_PLANE": (3, "finished plane, at its height over the room's rim"),
    "RIG_MARKERS": (1, "depth markers, at the height of their tops"),
    "RIG_NOTES": (8, "what the numbers mean"),
}
TEXT_MM = 60.0
MARKER_MM = 40.0


def to_dxf(data: PlanData, units: Units) -> "Drawing":
    """Write a job as a drawing in the format of 2010, which every program reads.

    Parameters
    ----------
    data : PlanData
    units : Units
        Of the texts; all coordinates are in mm.
    """
    import ezdxf
    from ezdxf import units as dxf_units

    document = ezdxf.new("R2010", setup=False)  # type: ignore[attr-defined]
    document.units = dxf_units.MM
    document.header["$MEASUREMENT"] = 1
    document.header["$LUNITS"] = 2
    document.header.custom_vars.append("Made by", f"floor-rig {__version__}")
    for note in data.notes:
        document.header.custom_vars.append("Note", note)
    space = document.modelspace()
    used = set()

    def on(layer: str) -> dict[str, str]:
        if layer not in used:
            used.add(layer)
            colour, text = LAYERS[layer]
            document.layers.add(layer, color=colour).description = text
        return {"layer": layer}

    _room(space, data, on)
    for point in data.points:
        space.add_circle((point.x_mm, point.y_mm), 15.0, dxfattribs=on("RIG_GRID"))
        _text(space, point.label, (point.x_mm, point.y_mm, 0.0), on("RIG_GRID"))
    for kind, heights in data.heights.items():
        layer = f"RIG_SHOTS_{kind.upper()}"
        for label, x, y, z in zip(
            heights.labels, heights.x_mm, heights.y_mm, heights.z_mm, strict=True
        ):
            place = (float(x), float(y), float(z))
            space.add_point(place, dxfattribs=on(layer))
            _text(space, f"{label} {z:.1f}", place, on(layer))
    for surface in data.surfaces:
        _surface(space, surface, on)
    if data.plane is not None:
        a, b, c = data.plane
        ring = np.array(data.outline.walls)
        rim = [(float(x), float(y), float(a + b * x + c * y)) for x, y in ring]
        space.add_polyline3d(rim, close=True, dxfattribs=on("RIG_PLANE"))
    for marker in data.markers:
        top = (marker.x_mm, marker.y_mm, z_mm(marker.target_reading_mm))
        space.add_circle(top, MARKER_MM, dxfattribs=on("RIG_MARKERS"))
        space.add_point(top, dxfattribs=on("RIG_MARKERS"))
        told = units.length(marker.stick_out_mm)
        _text(space, f"{marker.label} {told} out", top, on("RIG_MARKERS"))
    left, low, *_ = data.outline.polygon.bounds
    for n, note in enumerate(data.notes):
        place = (left, low - 400.0 - n * 1.8 * TEXT_MM, 0.0)
        _text(space, note, place, on("RIG_NOTES"), away=0.0)
    left, low, right, high = data.outline.polygon.bounds
    document.set_modelspace_vport(
        height=1.3 * max(high - low, right - left), center=((left + right) / 2, (low + high) / 2)
    )
    return document


def _room(space: Any, data: PlanData, on: Any) -> None:
    for ring in (data.outline.walls, *data.outline.openings):
        space.add_lwpolyline(list(ring), close=True, dxfattribs=on("RIG_ROOM"))
    for door in data.outline.doors:
        ends = ((door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm))
        space.add_line(*ends, dxfattribs=on("RIG_DOOR"))
        _text(space, "DOOR", (*door.middle, 0.0), on("RIG_DOOR"), away=-2.0 * TEXT_MM)


def _surface(space: Any, surface: Surface, on: Any) -> None:
    name = surface.kind.upper()
    nodes = np.column_stack([surface.x_mm, surface.y_mm, surface.z_mm])
    for face in surface.faces:
        corners = [tuple(map(float, nodes[n])) for n in face]
        space.add_3dface(corners, dxfattribs=on(f"RIG_SURFACE_{name}"))
    for level, runs in surface.contours.lines:
        for run in runs:
            if len(run) < 2:
                continue
            run = shapely.get_coordinates(shapely.simplify(shapely.LineString(run), 1.0))
            space.add_lwpolyline(
                [(float(x), float(y)) for x, y in run],
                dxfattribs=on(f"RIG_CONTOURS_{name}") | {"elevation": float(level)},
            )


def _text(space: Any, text: str, place: Any, layer: Any, away: float = 20.0) -> None:
    # A line break or a control character would be read as formatting.
    clean = "".join(letter if letter.isprintable() else "?" for letter in text)
    text_at = (place[0] + away, place[1] + away, place[2])
    space.add_text(clean, height=TEXT_MM, dxfattribs=layer).set_placement(text_at)
