"""`rig flatness`: proof of a floor against a tolerance rule."""

from pathlib import Path
from typing import Any

import click

from rig.cli.jobs import laser_places, outline_of, units_of
from rig.cli.options import (
    Length,
    confidence_option,
    job_option,
    json_option,
    laser_place_option,
    show,
    unit_option,
)
from rig.errors import BadInput
from rig.units import (
    counted,
    format_between,
    format_chance,
    format_length,
    format_off,
    format_place,
)

WORDS = {
    "in": "IN: the floor keeps the rule",
    "out": "OUT: the floor does not keep the rule",
    "unsure": "TOO CLOSE TO TELL",
}


@click.command()
@job_option
@click.option("--rule", "rule_given", metavar="KEY|FILE", help="The rule; see rig rules.")
@click.option(
    "--kind",
    type=click.Choice(["floor", "finished"]),
    help="Which shots to judge.  [default: the finished ones where there are any]",
)
@laser_place_option
@confidence_option
@click.option(
    "--lines",
    "lines_file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A CSV line,reading instead of a job: equally spaced readings. Needs --step and --unit.",
)
@click.option("--step", type=Length(above=0.0), help="Between the readings of --lines.")
@unit_option
@json_option
def command(
    job_path: Path,
    rule_given: str | None,
    kind: str | None,
    laser_at: tuple[tuple[str | None, tuple[float, float]], ...],
    confidence: float,
    lines_file: Path | None,
    step: float | None,
    unit: str | None,
    as_json: bool,
) -> int:
    """Prove a floor against a tolerance rule: in, out, or too close to tell.

    A straightedge is laid everywhere and at every bearing of the modelled floor, F-numbers are
    taken along lines, levelness from wall to wall. Ends with code 0 for in, 1 for out or too close
    to tell.
    """
    from rig.flatness.rules import load_rule

    if lines_file is not None:
        if step is None or unit is None:
            missing = "--step" if step is None else "--unit"
            raise BadInput(
                f"--lines needs {missing}: give how far apart the readings are (--step 12in) and "
                "the unit of the readings (--unit in)."
            )
        if kind is not None:
            raise BadInput("--kind goes with a job's shots, not with --lines.")
        if laser_at:
            raise BadInput("--laser goes with a job's shots, not with --lines.")
        rule = load_rule(rule_given or "e1155")
        result, units, denominator = _of_lines(rule, lines_file, unit, step, confidence)
        near = ""
    else:
        if step is not None or unit is not None:
            raise BadInput("--step and --unit go with --lines FILE.")
        if rule_given is None:
            raise BadInput("Name the rule: --rule a108-small, for one. rig rules lists them.")
        rule = load_rule(rule_given)
        from rig.cli.progress import working
        from rig.job.store import Job
        from rig.study.lasers import set_place
        from rig.study.proof import near_points, proof

        keeps = bool(laser_at)
        with Job.open(job_path, write=keeps) as job, working("Laying the edge everywhere"):
            units, denominator = units_of(job)
            for setup, place in laser_places(job, laser_at).items():
                set_place(job, setup, place)
            result = proof(job, outline_of(job), rule, confidence, kind)
            worst = result["worst"]
            near = near_points(job, worst["x_mm"], worst["y_mm"]) if worst else ""
            if worst and near:
                worst["where"] = f"{near}, {worst['where']}"
    show(result, as_json, verdict_text(result, units, denominator))
    return 0 if result["verdict"] == "in" else 1


def _of_lines(
    rule: Any, path: Path, unit: str, step_mm: float, confidence: float
) -> tuple[dict[str, Any], str, int]:
    from rig.flatness.level_lines import read_lines
    from rig.flatness.verdict import judge_lines
    from rig.study.proof import verdict_result

    units = "in" if unit in ("in", "ft") else "mm"
    verdict = judge_lines(rule, read_lines(path, unit, step_mm), confidence, units=units)
    result = verdict_result(verdict, None, units) | {"kind": "lines"}
    worst = result["worst"]
    if worst:
        along = format_place(worst["x_mm"], units)
        worst["where"] = f"{along} along line {worst['line']}"
    return result, units, 32


def verdict_text(result: dict[str, Any], units: str, denominator: int) -> str:
    """Say a verdict for people."""

    def length(mm: float) -> str:
        return format_length(mm, units, denominator)

    lines = [
        f"{WORDS[result['verdict']]}, {result['rule']} ({result['text']}).",
        f"It conforms with {format_chance(result['chance'])} probability; "
        f"{result['confidence']:.0%} is asked for.",
    ]
    worst = result["worst"]
    if worst:
        low, high = worst["range_mm"]
        level = result["measure"] == "level"
        found = format_off(worst["gap_mm"], units, denominator)
        what = f"one end {found} lower than the other" if level else f"a gap of {found}"
        ends = "ends" if level else "supports"
        lines.append(
            f"Worst: {what} on the best estimate; the worst anywhere, reckoned to this limit, is "
            f"{format_between(low, high, units, denominator)} 9 times in 10; the "
            f"limit is {length(worst['limit_mm'])} with {ends} "
            f"{format_place(worst['span_mm'], units)} apart:"
        )
        lines.append(f"  {'the lower end ' if level else ''}{worst['where']}.")
    if result["share_in"] is not None:
        of = "lines" if result["measure"] == "level" else "placements"
        lines.append(f"Within the limit: {result['share_in']:.1%} of all {of}.")
    if result["ff"] is not None or result["lines"]:
        for name in ("ff", "fl"):
            low, high = (_f(value) for value in result[f"{name}_ci90"])
            lines.append(f"{name.upper()} {_f(result[name])}, with 90 % between {low} and {high}.")
        lines += [
            f"  line {line['line']}: FF {_f(line['ff'])}, FL {_f(line['fl'])}"
            for line in result["lines"]
        ]
    if result["next"]:
        lines.append("To settle it, shoot:")
        lines += [
            f"  x {format_place(p['x_mm'], units)}, y {format_place(p['y_mm'], units)}"
            for p in result["next"]
        ]
    before = result.get("before")
    if before:
        worst_is = "worst fall" if result["measure"] == "level" else "worst gap"
        gap = f", {worst_is} {length(before['worst']['gap_mm'])}" if before["worst"] else ""
        lines.append(f"Before the pour: {before['verdict']}{gap}.")
    change = result.get("change")
    if change:
        depth = change["depth_mm"]
        if depth:
            lines.append(
                f"The pour raised {counted(change['points'], 'point')} by {length(depth['min'])} "
                f"to {length(depth['max'])}, {length(depth['mean'])} on average."
            )
        lines += [
            f"Marker {m['label']}: the cured floor stands "
            f"{format_off(m['off_mm'], units, denominator)} "
            f"{'above' if m['off_mm'] > 0 else 'below'} its top; was it kicked?"
            for m in change["markers"]
            if m["kicked"]
        ]
    lines += [f"! {warning}" for warning in result["warnings"]]
    lines.append(f"Rule: {result['source']}. The standard itself and the covering's maker rule.")
    return "\n".join(lines)


def _f(value: float | None) -> str:
    return "without end" if value is None else f"{value:.1f}"
