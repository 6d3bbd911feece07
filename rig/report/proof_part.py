"""The part of a report that proves the flatness, of the finished surface or of the floor."""

from typing import Any

import numpy as np

from rig.drawing.flatness import flatness_drawing
from rig.errors import CannotAnswer
from rig.flatness.rules import Rule, load_rule
from rig.report.document import Facts, Figure, Section, Table, Tone, Words, bullets, section
from rig.report.source import Source
from rig.study.proof import kind_to_judge, near_points, own_heights, proof, strips
from rig.units import counted, format_between, format_chance

DEFAULT_RULE = "click-lock"
TONES: dict[str, Tone] = {"in": "good", "out": "bad", "unsure": "unsure"}
SAYS = {
    "in": "{what} keeps the rule {rule}.",
    "out": "{what} does not keep the rule {rule}.",
    "unsure": "Too close to tell whether {what_low} keeps the rule {rule}.",
}


def proof_section(source: Source) -> Section:
    """Verdict and where it comes from."""
    given = source.options.rule
    rule = load_rule(given or DEFAULT_RULE)
    assumed = None
    if given is None:
        assumed = Words(
            f"No rule was named for this report (--rule), so {DEFAULT_RULE} stands in: "
            f"{rule.text}. The covering's maker rules.",
            "small",
        )
    try:
        kind = kind_to_judge(source.job, None)
        told = proof(
            source.job, source.outline, rule, source.options.confidence, kind, source.surfaces
        )
    except CannotAnswer as error:
        return section("proof", "Proof of flatness", Words(f"Not yet: {error}"))
    finished = kind == "finished"
    what = "The finished surface" if finished else "The floor as it is, before any pour,"
    says = SAYS[told["verdict"]].format(
        what=what, what_low=what[0].lower() + what[1:], rule=told["rule"]
    )
    rows = [
        ("Rule", f"{told['rule']}: {told['text']}"),
        ("Source", told["source"]),
        (
            "Conforms with",
            f"{format_chance(told['chance'])} probability; {told['confidence']:.0%} is asked for",
        ),
    ]
    worst = told["worst"]
    if worst:
        low, high = worst["range_mm"]
        near = near_points(source.job, worst["x_mm"], worst["y_mm"])
        rows += [
            (
                "Worst place",
                f"{_found(source, told)} on the best estimate; the worst anywhere, reckoned to "
                "this limit, is "
                f"{format_between(low, high, source.units, source.denominator)} 9 times in 10",
            ),
            (
                "Limit there",
                f"{source.length(worst['limit_mm'])}, "
                f"{'ends' if told['measure'] == 'level' else 'supports'} "
                f"{source.place(worst['span_mm'])} apart",
            ),
            ("Which is", ", ".join(part for part in (near, worst["where"]) if part)),
        ]
    if told["share_in"] is not None:
        of = "lines" if told["measure"] == "level" else "placements"
        rows.append(("Within the limit", f"{told['share_in']:.1%} of all {of}"))
    rows += _f_rows(told)
    before, change = told.get("before"), told.get("change")
    if before:
        rows.append(("Before the pour", _before(source, before, told["measure"])))
    if change and change["depth_mm"]:
        depth = change["depth_mm"]
        rows.append(
            (
                "The pour raised it by",
                f"{source.length(depth['min'])} to {source.length(depth['max'])}, "
                f"{source.length(depth['mean'])} on average, "
                f"at {counted(change['points'], 'point')}",
            )
        )
    failed = strips(source.job, source.outline, rule, kind, source.surfaces)
    settle = [source.where(place["x_mm"], place["y_mm"]) for place in told["next"]]
    return section(
        "proof",
        "Proof of flatness" if finished else "Flatness of the floor as it is",
        Words(says, TONES[told["verdict"]]),
        assumed,
        Facts(tuple(rows)),
        bullets(told["warnings"], "warning"),
        Words("Shots that would settle it:") if settle else None,
        bullets(settle),
        _strips_table(source, failed),
        _markers_table(source, change),
        _figure(source, kind, rule, told, failed[1:] if worst else failed),
        Words("The standard itself and the covering's maker rule over what stands here.", "small"),
        new_page=True,
    )


def _figure(
    source: Source, kind: str, rule: Rule, told: dict[str, Any], failed: list[dict[str, Any]]
) -> Figure:
    heights = own_heights(source.job, source.outline, kind)
    surface = source.surfaces.of(heights)
    lines = []
    if rule.measure == "f-numbers":
        rows: dict[str, list[tuple[float, float]]] = {}
        for label, x, y in zip(heights.labels, heights.x_mm, heights.y_mm, strict=True):
            name, dash, _ = label.partition("-")
            if dash and any(name == line["line"] for line in told["lines"]):
                rows.setdefault(name, []).append((float(x), float(y)))
        lines = [(name, np.array(places)) for name, places in rows.items() if len(places) > 1]
    title = "Flatness of the finished surface" if kind == "finished" else "Flatness of the floor"
    return Figure(
        "flatness",
        flatness_drawing(
            source.outline,
            source.look,
            lambda x, y: surface.predict(x, y, quick=True)[0],
            told,
            failed,
            lines,
            title,
        ),
    )


def _f_rows(told: dict[str, Any]) -> list[tuple[str, str]]:
    def say(value: float | None) -> str:
        return "without end" if value is None else f"{value:.1f}"

    if told["ff"] is None and not told["lines"]:
        return []
    rows = []
    for name in ("ff", "fl"):
        low, high = told[f"{name}_ci90"]
        rows.append(
            (name.upper(), f"{say(told[name])}; with 90 % between {say(low)} and {say(high)}")
        )
    return rows


def _found(source: Source, told: dict[str, Any]) -> str:
    off = source.off(told["worst"]["gap_mm"])
    if told["measure"] == "level":
        return f"one end {off} lower than the other"
    return f"a gap of {off}"


def _before(source: Source, before: dict[str, Any], measure: str) -> str:
    word = {"in": "in", "out": "out", "unsure": "too close to tell"}[before["verdict"]]
    if not before["worst"]:
        return word
    what = "fall" if measure == "level" else "gap"
    return f"{word}, worst {what} {source.length(before['worst']['gap_mm'])}"


def _strips_table(source: Source, failed: list[dict[str, Any]]) -> Table | None:
    if not failed:
        return None
    rows = tuple(
        (
            source.length(one["gap_mm"]),
            source.length(one["limit_mm"]),
            source.where(one["x_mm"], one["y_mm"]),
        )
        for one in failed[:20]
    )
    return Table("Strips that fail, each dip once", ("Gap", "Limit", "Where"), rows, right=(0, 1))


def _markers_table(source: Source, change: dict[str, Any] | None) -> Table | None:
    if not change or not change["markers"]:
        return None
    rows = tuple(
        (
            one["label"],
            ("+" if one["off_mm"] > 0 else "") + source.length(one["off_mm"]),
            source.doubt(2 * one["stderr_mm"]),
            "was it kicked?" if one["kicked"] else "",
        )
        for one in change["markers"]
    )
    return Table(
        "Cured surface over the tops of the markers",
        ("Marker", "Surface less top", "95 %", ""),
        rows,
        right=(1, 2),
    )
