"""Make the scenes of live work from a job, as a session of it begins."""

from typing import TYPE_CHECKING, Any

from rig.errors import RigError
from rig.page.scene import Measures, Scene, Section, places_of
from rig.room import Door, Outline, from_rings, is_within, wall_feet
from rig.session.beam import DARK_S
from rig.survey.stillness import StillWindow
from rig.units import format_place

if TYPE_CHECKING:
    from rig.devices.profile import Profile
    from rig.job.rows import Session
    from rig.job.store import Job
    from rig.study.pour_log import StandingPour

SURVEY_TITLES = {
    "floor": "Survey",
    "finished": "Finished floor",
    "benchmark": "Benchmark",
    "threshold": "Threshold",
}


def survey_scene(
    job: "Job",
    outline: Outline,
    capture: dict[str, Any],
    resolution_mm: float,
    foot_mm: float,
    *,
    acts: bool | tuple[str, ...],
    quiet_s: float = DARK_S,
) -> Scene:
    """Show a survey: where to go next, how still the rod is, what was taken."""
    units, denominator = _units(job)
    kind = capture["kind"]
    rows = [(point.label, point.x_mm, point.y_mm) for point in job.points()]
    known = {label for label, _, _ in rows}
    rows += [
        (label, x_mm, y_mm)
        for label, x_mm, y_mm in capture["points"]
        if label not in known and x_mm is not None and y_mm is not None
    ]
    done = [shot.point for shot in job.shots(kinds=[kind])]
    wanted = {label for label, _, _ in capture["points"]}
    return Scene(
        "survey",
        SURVEY_TITLES.get(kind, "Survey"),
        units,
        denominator,
        plan_of(outline),
        places_of(rows, [label for label in done if label not in wanted]),
        measures=_measures(outline, units),
        window=_window(capture, resolution_mm, foot_mm),
        acts=acts,
        quiet_s=quiet_s,
    )


def set_scene(
    job: "Job",
    outline: Outline,
    capture: dict[str, Any],
    resolution_mm: float,
    foot_mm: float,
    *,
    acts: bool | tuple[str, ...],
    quiet_s: float = DARK_S,
) -> Scene:
    """Show the setting of markers: the word and the amount first."""
    units, denominator = _units(job)
    markers = job.markers()
    return Scene(
        "set",
        "Markers",
        units,
        denominator,
        plan_of(outline),
        places_of(
            [(marker.label, marker.x_mm, marker.y_mm) for marker in markers],
            [marker.label for marker in markers if marker.is_set],
        ),
        measures=_measures(outline, units),
        window=_window(capture, resolution_mm, foot_mm),
        acts=acts,
        quiet_s=quiet_s,
    )


def pour_scene(
    job: "Job",
    outline: Outline,
    made: "StandingPour",
    bags: float,
    *,
    acts: bool | tuple[str, ...],
) -> Scene:
    """Show a pour: strips and batches, the wet edge, the bags that are left."""
    units, denominator = _units(job)
    answer = made.answer
    batches = answer.batches
    places = places_of([(str(b.n), b.x_mm, b.y_mm) for b in batches], ())
    for place, batch in zip(places, batches, strict=True):
        place["area"] = round(batch.area_m2, 3)
    pour = {
        "batches": len(batches),
        "poured": 0,
        "next": 1,
        "strip": batches[0].strip,
        "strips": [{"strip": s.strip, "markers": [*s.markers]} for s in answer.strips],
        "front": 0,
        "dry": [],
        "should": 0,
        "bags_used": 0.0,
        "bags_left": bags,
        "edges": [],
        "left_s": None,
        "working_s": answer.working_time_s,
        "estimate": "",
        "short": 0,
        "unticked": [],
    }
    return Scene(
        "pour",
        "Pour",
        units,
        denominator,
        {**plan_of(outline), "strips": _strips(job, outline, made)},
        places,
        measures=_measures(outline, units),
        acts=acts,
        pour=pour,
    )


def scene_of(
    job: "Job",
    session: "Session",
    then: "Job",
    profile: "Profile | None",
    *,
    acts: tuple[str, ...] = (),
    quiet_s: float = DARK_S,
) -> Scene:
    """Make the scene of a session that a job holds; `then` is the job as it began."""
    from rig.study.pour_log import plan_of_pour

    outline, capture = outline_from(then), session.capture
    if session.kind == "pour":
        made = plan_of_pour(job, capture["pour_plan"])
        return pour_scene(then, outline, made, capture["bags"], acts=acts)
    make = survey_scene if session.kind == "survey" else set_scene
    return make(
        then,
        outline,
        capture,
        profile.resolution_mm if profile else 0.0,
        profile.foot_mm if profile else 0.0,
        acts=acts,
        quiet_s=quiet_s,
    )


def outline_from(job: "Job") -> Outline:
    """Return the job's outline with openings and doors."""
    walls, openings, doors = job.outline_rings()
    return from_rings(walls, openings, tuple(Door(*door) for door in doors))


def idle_scene(job: "Job", outline: Outline, acts: tuple[str, ...] = ()) -> Scene:
    """Show a job in which nothing is going on: its plan and what is done of it."""
    units, denominator = _units(job)
    markers = job.markers()
    if markers:
        rows = [(marker.label, marker.x_mm, marker.y_mm) for marker in markers]
        done = [marker.label for marker in markers if marker.is_set]
    else:
        rows = [(point.label, point.x_mm, point.y_mm) for point in job.points()]
        done = [shot.point for shot in job.shots(kinds=["floor"])]
    scene = Scene(
        "idle",
        "Markers" if markers else "Survey",
        units,
        denominator,
        plan_of(outline),
        places_of(rows, done),
        acts=acts,
    )
    text = "Nothing is going on"
    scene.sections["now"] = {"mode": "idle", "text": text, "stale": "", "shown": text}
    return scene


def plan_of(outline: Outline) -> Section:
    """Coordinates of walls, openings and doors, in whole millimetres."""

    def ring(corners: Any) -> list[list[int]]:
        return [[round(x), round(y)] for x, y in corners]

    return {
        "walls": ring(outline.walls),
        "openings": [ring(opening) for opening in outline.openings],
        "doors": [
            [round(door.x_mm), round(door.y_mm), round(door.end_x_mm), round(door.end_y_mm)]
            for door in outline.doors
        ],
    }


def _strips(job: "Job", outline: Outline, made: "StandingPour") -> list[Section]:
    """Each strip's rings, its batches, and where its number is in nobody's way."""
    import numpy as np
    import shapely

    from rig.drawing.pour import Shares, strip_areas
    from rig.study.pour_plan import order_again

    try:
        again = order_again(job, outline, made)
    except RigError:
        again = None
    if again is None:  # the page then goes without areas
        return []
    ground, order = again
    floor, batches = ground.floor, made.answer.batches
    shares = Shares(floor.x_mm, floor.y_mm, floor.step_mm, order.batch_of)
    strip_of = np.array([one.strip for one in batches])[order.batch_of]
    middles = shapely.points([(one.x_mm, one.y_mm) for one in batches])
    cells = shapely.points(floor.x_mm, floor.y_mm)
    found = []
    for strip, area in strip_areas(outline, batches, shares).items():
        own = cells[strip_of == strip]
        free = shapely.distance(own, shapely.union_all(middles))
        rim = shapely.distance(own, area.boundary)
        spot = own[int(np.argmax(np.minimum(free, 3.0 * rim)))]
        parts = shapely.get_parts(shapely.simplify(area, floor.step_mm / 10))
        rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
        found.append(
            {
                "strip": strip,
                "batches": [one.n for one in batches if one.strip == strip],
                "rings": [[[round(x), round(y)] for x, y in ring.coords] for ring in rings],
                "x": round(spot.x),
                "y": round(spot.y),
            }
        )
    return found


def _units(job: "Job") -> tuple[str, int]:
    settings = job.settings
    return settings.units, settings.denominator


def _window(capture: dict[str, Any], resolution_mm: float, foot_mm: float) -> StillWindow:
    return StillWindow(capture["dwell_s"], capture["still_mm"], resolution_mm, foot_mm)


def _measures(outline: Outline, units: str) -> Measures:
    def measures(x_mm: float, y_mm: float) -> list[tuple[tuple[float, float], float, str]]:
        if not is_within(outline, x_mm, y_mm):
            return []
        return [
            (foot, distance, format_place(distance, units))
            for foot, distance in wall_feet(outline, x_mm, y_mm)
        ]

    return measures
