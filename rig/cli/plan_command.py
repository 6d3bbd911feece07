"""`rig plan`: the finished plane and the quantities."""

from pathlib import Path
from typing import Any

import click

from rig.cli.jobs import outline_of, units_of
from rig.cli.options import Lengths, confidence_option, job_option, json_option, show
from rig.cli.patch_text import patch_floor
from rig.errors import BadInput
from rig.units import format_length, format_volume


@click.command()
@job_option
@click.option("--level", is_flag=True, default=True, help="A level plane (the default).")
@click.option(
    "--hold",
    type=Lengths("X", "Y", "HEIGHT"),
    help="Fix the plane's height at a place; HEIGHT is relative to the line of set-up 1, "
    "negative below it.",
)
@click.option(
    "--patch",
    metavar="RULE",
    help="Instead of a pour: the least work that passes a tolerance rule; see rig rules.",
)
@click.option("--grind", type=float, metavar="COST", help="With --patch: money a litre ground.")
@click.option("--fill", type=float, metavar="COST", help="With --patch: money a litre filled.")
@confidence_option
@json_option
def command(
    job_path: Path,
    level: bool,
    hold: tuple[float, float, float] | None,
    patch: str | None,
    grind: float | None,
    fill: float | None,
    confidence: float,
    as_json: bool,
) -> None:
    """Choose the finished plane; tell volume and bags, with their doubt.

    The plane lies so high that the minimum cover is kept everywhere with the confidence.
    """
    from rig.job.store import Job
    from rig.live.picture import picture_of
    from rig.live.planning import plan_result

    if patch is not None:
        if hold is not None:
            raise BadInput("--hold fixes a plane, and --patch has none: give one of them.")
        patch_floor(job_path, patch, grind, fill, confidence, as_json)
        return
    if grind is not None or fill is not None:
        raise BadInput("--grind and --fill go with --patch RULE.")
    with Job.open(job_path, write=True) as job:
        units, denominator = units_of(job)
        picture = picture_of(job, outline_of(job), confidence)
        inputs = {"target": "level", "hold": hold, "confidence": confidence}
        result = plan_result(job, picture, hold)
        plane = result["plane"]
        job.save_plan(inputs, result, plane["a"], plane["b"], plane["c"])
    show(result, as_json, plan_text(result, units, denominator))


def plan_text(result: dict[str, Any], units: str, denominator: int) -> str:
    """Describe a plan for people."""

    def length(mm: float) -> str:
        return format_length(mm, units, denominator)

    cover, volume, bags = result["cover_mm"], result["volume_l"], result["bags"]
    load = result["dead_load_kpa"]
    lines = [
        f"Finished plane: level, {length(-result['plane']['a'])} below the line of set-up 1.",
        f"Cover: {length(cover['min'])} at the high point, {length(cover['mean'])} on average, "
        f"{length(cover['max'])} at the deepest (best estimates).",
        f"The minimum cover of {length(result['min_cover_mm'])} is kept everywhere with "
        f"{result['chance_min_cover']:.0%} probability.",
        f"Volume: {format_volume(volume['mean'], units)}; 95 times in 100 between "
        f"{format_volume(volume['low'], units)} and {format_volume(volume['high'], units)}.",
        f"BUY {bags['p95']} BAGS to be 95 % sure ({bags['p50']} at even odds); "
        f"{bags['waste']} of them for waste.",
    ]
    lines += [f"  {m['item']}: {m['text']}" for m in result["materials"]]
    if result["lifts"] > 1:
        lines.append(
            f"Pour in {result['lifts']} lifts: the deepest place is over the maximum cover."
        )
    lines.append(
        f"Dead load of the compound: {load['mean']:.2f} kPa on average, {load['max']:.2f} kPa at "
        "the deepest."
    )
    lines += [f"Assumed: {text}" for text in result["assumptions"]]
    lines += [f"! {text}" for text in result["warnings"]]
    lines += [f"Caution: {text}" for text in result["cautions"]]
    return "\n".join([*lines, "Next: rig markers"])
