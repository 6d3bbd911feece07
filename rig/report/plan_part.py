"""Parts of a report on what is to be done: plane, quantities, markers, patches."""

from typing import Any

from rig.drawing.floor import cover_drawing
from rig.drawing.points import markers_drawing
from rig.quantities.bags import waste_words
from rig.report.document import Facts, Figure, Section, Table, Words, bullets, section
from rig.report.source import Source
from rig.report.survey_part import doubt_blocks
from rig.units import counted, format_chance, format_load, format_slope


def plane_section(source: Source) -> Section:
    """The finished plane and why it lies there."""
    plan = source.plan
    if plan is None:
        return section("plane", "Finished plane", Words("No plane has been chosen yet (rig plan)."))
    result, inputs = plan.result, plan.inputs
    cover, high = result["cover_mm"], result.get("high")
    minimum = source.length(result["min_cover_mm"])
    slope = result["slope"]
    below = source.length(-plan.a)
    if slope["falls_to_deg"] is None:
        lies = f"Level, {below} below the line of set-up 1."
    else:
        lies = (
            f"{below} below the line of set-up 1 at the corner 0,0, sloping "
            f"{format_slope(slope['ratio'], source.units)}, falling towards "
            f"{slope['falls_to_deg']:.0f}° (0° along x, 90° along y)."
        )
    rows = [
        ("Cover at the high point", f"{source.length(cover['min'])} (best estimate)"),
        ("Cover on average", source.length(cover["mean"])),
        ("Cover at the deepest", source.length(cover["max"])),
        ("Minimum cover", minimum),
        ("Kept everywhere with", f"{format_chance(result['chance_min_cover'])} probability"),
        ("Lifts", str(result["lifts"])),
        ("Chosen (UTC)", source.time(plan.utc_s)),
    ]
    drawing = None
    if source.picture is not None:
        surface = source.picture.surface
        drawing = Figure(
            "cover",
            cover_drawing(
                source.outline,
                source.look,
                lambda x, y: surface.predict(x, y, quick=True),
                (plan.a, plan.b, plan.c),
                result["min_cover_mm"],
                result.get("grind", {}).get("spots", ()),
            ),
        )
    return section(
        "plane",
        "Finished plane, and why",
        Words(lies, "lead"),
        _stale(source),
        Words(_why(source, inputs, result, high, minimum)),
        Facts(tuple(rows)),
        *_grinding(source, result),
        bullets(result["warnings"], "warning"),
        drawing,
        *doubt_blocks(source, None if source.changed else source.budget),
    )


def quantities_section(source: Source) -> Section | None:
    """Volume, bags and materials, with their doubt."""
    if source.plan is None:
        return None
    result = source.plan.result
    volume, bags, safety = result["volume_l"], result["bags"], result["safety"]
    load = result["dead_load_kpa"]
    rows = [
        (
            "Compound in place",
            f"{source.volume(volume['mean'])}; 95 times in 100 between "
            f"{source.volume(volume['low'])} and {source.volume(volume['high'])}",
        ),
        ("Enough at even odds", counted(bags["p50"], "bag")),
        (
            "Enough 95 times in 100",
            f"{counted(bags['p95'], 'bag')}, {waste_words(bags)}",
        ),
        (
            "Stock for safety",
            f"{safety['bags']:.1f} bags: "
            + ", ".join(f"{share:.0%} for {name}" for name, share in safety["shares"].items()),
        ),
        ("Lifts", str(result["lifts"])),
        (
            "Dead load of the compound",
            f"{format_load(load['mean'], source.units)} on average, "
            f"{format_load(load['max'], source.units)} at the deepest",
        ),
    ]
    if volume.get("triangulated"):
        rows.insert(1, ("By flat triangles between shots", source.volume(volume["triangulated"])))
    why = f"to be {result['confidence']:.0%} sure"
    if "purchase" in result:
        short = format_chance(result["purchase"]["chance_short"])
        why = f"the cheapest at the prices given; short {short}"
    materials = tuple((m["item"], m["text"], m["source"]) for m in result["materials"])
    return section(
        "quantities",
        "Quantities, with their doubt",
        Words(f"Buy {counted(bags['buy'], 'bag')}, {why}.", "lead"),
        _stale(source, bags=True),
        Facts(tuple(rows)),
        Table("What else to have on site", ("Item", "How much", "By which rule"), materials),
        Words("Assumed, because it was not given:") if result["assumptions"] else None,
        bullets(result["assumptions"]),
    )


def markers_section(source: Source) -> Section | None:
    """The marker sheet, large enough to be read from standing."""
    markers = source.markers
    if not markers:
        if source.plan is None:
            return None
        return section("markers", "Depth markers", Words("None laid out yet (rig markers)."))
    done = [marker for marker in markers if marker.is_set]
    doubt = max(marker.stick_out_stderr_mm for marker in markers)
    rows = tuple(
        (
            marker.label,
            source.length(marker.stick_out_mm),
            source.length(marker.target_reading_mm),
            f"{source.where(marker.x_mm, marker.y_mm)}. {_state(source, marker.residual_mm)}",
        )
        for marker in markers
    )
    return section(
        "markers",
        "Depth markers",
        Words(f"{counted(len(markers), 'marker')}, {len(done)} of them set.", "lead"),
        _stale(source),
        Table(
            "Marker sheet: top over the floor, and what the rod reads on it (line of set-up 1)",
            ("Marker", "Stands out", "Rod reads", "Where"),
            rows,
            right=(1, 2),
            large=True,
        ),
        Words(
            f"A stick-out is sure to {source.doubt(2 * doubt)} or better (95 %), the spot's own "
            "roughness included; the reading of the rod is what counts.",
            "small",
        ),
        Figure("markers", markers_drawing(source.outline, source.look, markers)),
        new_page=True,
    )


def _stale(source: Source, bags: bool = False) -> Words | None:
    plan = source.plan
    assert plan is not None
    changed = source.job.changed_since(plan, bags=True) if bags else source.changed
    if not changed:
        return None
    names = ", ".join(changed[:6]) + (" …" if len(changed) > 6 else "")
    return Words(f"This plan is stale: since it was made, {names} changed (rig plan).", "warning")


def _why(
    source: Source, inputs: dict[str, Any], result: dict[str, Any], high: Any, minimum: str
) -> str:
    parts = []
    if result["holds"]:
        names = ", ".join(
            f"{hold['name']} at {source.length(hold['height_mm'])}" for hold in result["holds"]
        )
        parts.append(f"Held as asked: {names} (relative to the line).")
    if inputs.get("max_slope") is not None:
        parts.append(
            "Of the planes no steeper than "
            f"{format_slope(inputs['max_slope'], source.units)} it is the one that takes least "
            "compound and still keeps the minimum cover."
        )
    elif not result["holds"]:
        parts.append("It is the lowest level plane that keeps the minimum cover.")
    if inputs.get("grind_cost") is not None:
        parts.append(
            f"Grinding was weighed against filling at {inputs['grind_cost']:g} and "
            f"{inputs['fill_cost']:g} a litre."
        )
    if high is not None:
        parts.append(
            f"The floor's highest place is found at {source.length(-high['z_mm'])} below the "
            f"line; with {result['confidence']:.0%} nothing between the shots stands higher than "
            f"{source.length(-high['upper_mm'])}, and the minimum cover of {minimum} lies "
            "over that."
        )
    return " ".join(parts)


def _grinding(source: Source, result: dict[str, Any]) -> list[Any]:
    ground = result.get("grind")
    if not ground:
        return []
    if not ground["spots"]:
        return [Words("Grinding does not pay at these prices: fill.")]
    spots = [
        f"Up to {source.length(spot['depth_mm'])} deep over {source.area(spot['area_m2'])}, "
        f"{source.where(spot['x_mm'], spot['y_mm'])}"
        for spot in ground["spots"]
    ]
    saved = f"Grind first; it saves {ground['saves_bags']:.1f} bags. Shoot the spots again after."
    return [Words(saved), bullets(spots)]


def _state(source: Source, residual_mm: float | None) -> str:
    if residual_mm is None:
        return "Not set."
    return f"Set, {source.off(residual_mm)} {'high' if residual_mm > 0 else 'low'}."
