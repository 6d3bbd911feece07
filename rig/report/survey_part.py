"""Parts of a report on what was there: the job, its instruments and checks, the floor as found."""

from typing import Any

import numpy as np
import shapely

from rig.drawing.floor import floor_drawing
from rig.drawing.points import room_drawing, walk_drawing
from rig.errors import BadInput
from rig.report.document import Facts, Figure, Section, Table, Words, bullets, section
from rig.report.source import Source
from rig.study.picture import floor_result, outside_warnings, warnings_of
from rig.texts import parse_toml
from rig.units import counted

# Part of the draws whose highest place the dashed line takes in.
LIKELY_SHARE = 0.95
# Reasons of words to the hand at the keys; they say nothing about rod, laser or floor.
# What a check's result holds beside its error: in the job, and told by rig check.
_INNER = {"ok", "rise_mm", "residuals_mm", "redundancy", "chance_in", "closure_allowed_mm"}
SLIPS = {"act", "accept", "undo", "goto", "tick", "front", "planned", "end", "off height"}


def job_section(source: Source) -> Section:
    """What the job is about."""
    settings, outline = source.settings, source.outline
    doors = [
        f"{source.place(door.width_mm)} wide"
        if n == 0
        else f"another, {source.place(door.width_mm)}"
        for n, door in enumerate(outline.doors)
    ]
    rows = [
        ("Room", f"{source.area(outline.area_m2)}, {source.place(outline.perimeter_mm)} of wall"),
        ("Doors", "; ".join(doors) or "none given"),
        ("Openings", str(len(outline.openings)) if outline.openings else "none"),
        ("Covering", settings.covering or "not given"),
        ("Minimum cover", _amount(settings.min_cover_mm, source.length)),
        ("Maximum cover in one lift", _amount(settings.max_cover_mm, source.length)),
        ("A bag makes", _amount(settings.bag_yield_l, source.volume)),
        ("A bag weighs", _amount(settings.bag_mass_kg, source.mass)),
        ("Water a bag", _amount(settings.bag_water_l, lambda v: source.volume(v, True))),
        ("Waste", _amount(settings.waste_share, lambda v: f"{v:.0%}")),
        ("Lengths are in", "inches" if source.units == "in" else "millimetres"),
    ]
    points = source.job.points()
    if points:
        shot = {one.point for one in source.shots if one.kind in ("floor", "finished")}
        figure = Figure("walk", walk_drawing(outline, source.look, points, shot))
    else:
        figure = Figure("room", room_drawing(outline, source.look))
    return section("job", "The job", Facts(tuple(rows)), figure)


def instruments_section(source: Source) -> Section:
    """With what it was measured, and what was checked."""
    sessions = source.job.sessions()
    rows = []
    for one in sessions:
        taken = [shot for shot in source.shots if shot.session_id == one.id]
        rows.append((source.time(one.utc_s), one.kind, one.setup, one.source, str(len(taken))))
    imported = sum(shot.session_id is None for shot in source.shots)
    blocks: list[Any] = []
    if rows:
        head = ("Begun (UTC)", "Work", "Set-up", "Read by", "Shots")
        blocks.append(Table("Sessions", head, tuple(rows), right=(4,)))
        rods = dict.fromkeys(_rod(one.source, one.profile_text) for one in sessions)
        blocks.append(bullets([rod for rod in rods if rod]))
    if imported:
        blocks.append(
            Words(
                f"{counted(imported, 'shot')} came in a table; how they were read is not "
                "known here."
            )
        )
    if not rows and not imported:
        blocks.append(Words("Nothing has been measured yet."))
    blocks += _ties(source)
    checks = source.job.checks()
    if checks:
        blocks.append(
            Table(
                "Checks of laser and rod",
                ("Made (UTC)", "Check", "Result", "Good enough"),
                tuple(
                    (source.time(one.utc_s), one.kind, _figures(one.result),
                     "yes" if one.ok else "NO")
                    for one in checks
                ),
            )
        )  # fmt: skip
    if any(not one.ok for one in checks):
        blocks.append(Words("A check of the laser or the rod was not good enough.", "warning"))
    if not any(one.kind in ("two-peg", "cross") for one in checks):
        blocks.append(
            Words(
                "The laser's line was not checked in this job (rig check two-peg, rig check "
                "cross). A tilted line tilts everything here, and no number below would show it.",
                "warning",
            )
        )
    troubles = [one for one in source.job.events(["trouble"]) if one.data["reason"] not in SLIPS]
    if troubles:
        told = "once" if len(troubles) == 1 else f"{len(troubles)} times"
        blocks.append(Words(f"Told while measuring, {told}:"))
        blocks.append(bullets([_trouble(source, one) for one in troubles[:20]]))
    return section("instruments", "Instruments and checks", *blocks)


def floor_section(source: Source) -> Section:
    """The floor as found, with its doubt."""
    if source.floor is None:
        shots = [shot for shot in source.shots if shot.kind == "floor"]
        said = (
            "The set-ups are not tied to each other: no common heights. Shoot a benchmark from "
            "each set-up."
            if shots
            else "The floor has not been shot yet."
        )
        return section("floor", "The floor as found", Words(said))
    picture = source.picture
    if picture is None:
        return section(
            "floor",
            "The floor as found",
            Words(
                f"{counted(len(source.floor.labels), 'shot')}, too few or on one line: they say "
                "nothing of the floor between them yet."
            ),
            bullets(outside_warnings(source.job, source.outline, "floor"), "warning"),
        )
    more, warnings = [], warnings_of(source.job, picture)
    if source.planned_high is None:
        more = floor_result(source.job, picture)["next"]
    high, low = source.high, source.low
    confidence = picture.extremes.confidence
    rows = [
        ("Shots", str(len(picture.heights.labels))),
        ("Out of level", f"{source.length(source.range_mm)} from the high to the low point"),
        (
            "High point",
            f"{source.length(-high['z_mm'])} below the line, "
            f"{source.where(high['x_mm'], high['y_mm'])}",
        ),
        (
            f"With {confidence:.0%} nothing stands higher than",
            f"{source.length(-high['upper_mm'])} below the line, "
            f"{source.length(high['upper_mm'] - high['z_mm'])} over the best estimate",
        ),
        (
            "Low point",
            f"{source.length(-low['z_mm'])} below the line, "
            f"{source.where(low['x_mm'], low['y_mm'])}",
        ),
        ("A shot is sure to", f"{source.doubt(2 * picture.shot_stderr_mm)} (95 %)"),
        (
            "Roughness between shots",
            f"{source.doubt(2 * np.sqrt(picture.surface.nugget_mm2))} (95 %)",
        ),
    ]
    heights = picture.heights
    drawing = floor_drawing(
        source.outline,
        source.look,
        lambda x, y: picture.surface.predict(x, y, quick=True),
        list(
            zip(
                heights.labels,
                heights.x_mm.tolist(),
                heights.y_mm.tolist(),
                heights.z_mm.tolist(),
                strict=True,
            )
        ),
        high,
        low,
        _likely(picture),
    )
    worth = [
        f"{source.where(one['x_mm'], one['y_mm'])}: expected to save {one['bags']:.1f} bags"
        for one in more
    ]
    return section(
        "floor",
        "The floor as found",
        Facts(tuple(rows)),
        bullets(warnings, "warning"),
        Figure("floor", drawing),
        *doubt_blocks(source, None if source.planned_high else source.budget),
        Words("More shots that would be worth the walk:") if worth else None,
        bullets(worth),
        new_page=True,
    )


def doubt_blocks(source: Source, budget: dict[str, Any] | None) -> list[Any]:
    """Where the doubt of results comes from, as a table with what would make it less."""
    if budget is None:
        return []

    def amount(value: float, unit: str) -> str:
        if unit == "mm":
            return source.doubt(value).removeprefix("± ") if value > 0 else "0"
        return source.volume(value) if unit == "l" else f"{value:.2f} {unit}"

    rows = tuple(
        (
            row["quantity"],
            f"± {amount(2.0 * row['stderr'], row['unit'])}",
            "; ".join(
                f"{amount(2.0 * part['stderr'], row['unit'])} {part['source']}"
                for part in row["parts"]
                if part["stderr"]
            ),
        )
        for row in budget["rows"]
        if row["stderr"] > 0
    )
    head = ("Of", "In all, 95%", "Made of, each as if alone")
    table = Table("Where the doubt comes from", head, rows) if rows else None
    return [table, bullets([*budget["notes"], *budget["advice"]])]


def _likely(picture: Any) -> Any:
    """Least area that holds the high point 95 times in 100, rounded off."""
    extremes, cells = picture.extremes, picture.cells
    order = np.argsort(-extremes.chance_high)
    count = int(np.searchsorted(np.cumsum(extremes.chance_high[order]), LIKELY_SHARE)) + 1
    chosen = order[:count]
    reach = 1.5 * cells.step_mm
    spots = shapely.buffer(
        shapely.points(cells.x_mm[chosen], cells.y_mm[chosen]), reach, quad_segs=4
    )
    whole = shapely.union_all(spots).buffer(-0.3 * reach)
    return shapely.simplify(whole.intersection(picture.outline.polygon), 0.2 * cells.step_mm)


def _ties(source: Source) -> list[Any]:
    setups = list(dict.fromkeys(shot.setup for shot in source.shots))
    if len(setups) < 2:
        return []
    tied = {line.setup for line in source.lines}
    loose = [setup for setup in setups if setup not in tied]
    if len(tied) < 2:
        return [Words("The set-ups share no benchmark: their heights are not tied.", "warning")]
    rows = tuple(
        (line.setup, source.length(line.line_mm), source.doubt(2 * line.stderr_mm) if n else "")
        for n, line in enumerate(source.lines)
    )
    return [
        Table("Set-ups tied by benchmarks", ("Set-up", "Line over the first", "95 %"),
              rows, right=(1, 2)),
        bullets([f"Set-up {name} shares no benchmark with these." for name in loose], "warning"),
    ]  # fmt: skip


def _rod(kind: str, profile_text: str) -> str:
    """What a profile says of its rod, empty where it says nothing."""
    try:
        text = str(parse_toml(profile_text, "The profile").get("text", ""))
    except BadInput:
        text = ""
    return f"{kind}: {text}" if text else ""


def _trouble(source: Source, event: Any) -> str:
    # What is told before the first reading has no time of day.
    when = f"{source.time(event.utc_s)}: " if event.utc_s > 0 else ""
    return f"{when}{event.data['text']}"


def _figures(result: dict[str, Any]) -> str:
    """A check's own numbers with their units, as its keys name them."""
    ends = (("_mm_per_m", "mm/m"), ("_per_m", "mm/m"), ("_mm", "mm"), ("_s", "s"), ("_c", "°C"))
    said = []
    for key, value in result.items():
        numbers = value if isinstance(value, list) else [value]
        if key in _INNER or not numbers or not all(
            isinstance(n, int | float) and not isinstance(n, bool) for n in numbers
        ):  # fmt: skip
            continue
        unit = next((unit for end, unit in ends if key.endswith(end)), "")
        name = key
        for end, _ in ends:
            name = name.removesuffix(end)
        shown = " / ".join(f"{n:.3g}" for n in numbers)
        said.append(f"{name.replace('_', ' ')} {shown} {unit}".strip())
    return ", ".join(said[:6])


def _amount(value: Any, say: Any) -> str:
    return "not given" if value is None else str(say(value))
