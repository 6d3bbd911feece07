"""A job as GeoJSON after RFC 7946, its plane coordinates stated plainly as such.

The format means longitude and latitude unless both sides have agreed on something else (section
4); a room has neither, so the file says in words what its numbers are, and in metres nowhere.
"""

import json
from typing import Any

import numpy as np
import shapely

from rig.drawing.vector import Floats
from rig.language import join
from rig.report.plan_data import PlanData, Surface
from rig.room import Outline
from rig.survey.reading import z_mm


def to_geojson(data: PlanData, name: str) -> str:
    """Write a job as one FeatureCollection; every feature says in `what` what it is."""
    features = [_room(data.outline)]
    features += [_feature("opening", _polygon([np.array(ring)])) for ring in data.outline.openings]
    features += [
        _feature("door", _line([(d.x_mm, d.y_mm), (d.end_x_mm, d.end_y_mm)]), width_mm=d.width_mm)
        for d in data.outline.doors
    ]
    features += [
        _feature("grid point", _point(p.x_mm, p.y_mm), label=p.label, order=p.order)
        for p in data.points
    ]
    for kind, heights in data.heights.items():
        rows = zip(
            heights.labels, heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm, strict=True
        )
        features += [
            _feature("shot", _point(x, y), label=label, kind=kind, z_mm=_n(z), stderr_mm=_n(s))
            for label, x, y, z, s in rows
        ]
    for surface in data.surfaces:
        features += _surface(surface)
    if data.plane is not None:
        a, b, c = data.plane
        features.append(
            _feature("finished plane", _room_polygon(data.outline), a=a, b=b, c=c, text=PLANE_TEXT)
        )
    features += [
        _feature(
            "marker",
            _point(m.x_mm, m.y_mm),
            label=m.label,
            order=m.order,
            top_z_mm=_n(z_mm(m.target_reading_mm)),
            stick_out_mm=_n(m.stick_out_mm),
            stick_out_stderr_mm=_n(m.stick_out_stderr_mm),
            set=m.is_set,
        )
        for m in data.markers
    ]
    whole = {
        "type": "FeatureCollection",
        "name": name,
        "coordinates_note": join(" ", data.notes),
        "unit": "mm",
        "features": features,
    }
    return json.dumps(whole, allow_nan=False, ensure_ascii=False) + "\n"


PLANE_TEXT = "z = a + b·x + c·y, all in mm"


def _room(outline: Outline) -> dict[str, object]:
    return _feature("room", _room_polygon(outline), area_m2=outline.area_m2)


def _room_polygon(outline: Outline) -> dict[str, object]:
    floor = outline.polygon
    return _polygon([shapely.get_coordinates(r) for r in (floor.exterior, *floor.interiors)])


def _surface(surface: Surface) -> list[dict[str, object]]:
    found = [
        _feature("surface", _point(x, y), kind=surface.kind, z_mm=_n(z), stderr_mm=_n(s))
        for x, y, z, s in zip(
            surface.x_mm, surface.y_mm, surface.z_mm, surface.stderr_mm, strict=True
        )
    ]
    for level, runs in surface.contours.lines:
        found += [
            _feature("contour", _line(run), kind=surface.kind, z_mm=_n(level))
            for run in runs
            if len(run) > 1
        ]
    return found


def _feature(what: str, geometry: dict[str, object], **properties: object) -> dict[str, object]:
    return {"type": "Feature", "geometry": geometry, "properties": {"what": what, **properties}}


def _point(x: float, y: float) -> dict[str, object]:
    return {"type": "Point", "coordinates": [_n(x), _n(y)]}


def _line(places: Any) -> dict[str, object]:
    return {"type": "LineString", "coordinates": [[_n(x), _n(y)] for x, y in places]}


def _polygon(rings: list[Floats]) -> dict[str, object]:
    """Outer ring counter-clockwise, holes clockwise (section 3.1.6), each closed."""
    closed = []
    for n, ring in enumerate(rings):
        if not np.array_equal(ring[0], ring[-1]):
            ring = np.vstack([ring, ring[:1]])
        if shapely.LinearRing(ring).is_ccw != (n == 0):
            ring = ring[::-1]
        closed.append([[_n(x), _n(y)] for x, y in ring])
    return {"type": "Polygon", "coordinates": closed}


def _n(value: float) -> float:
    """A thousandth of a mm is finer than any rod."""
    return round(float(value), 3)
