"""`rig plan`: the finished plane and the quantities."""

from pathlib import Path
from typing import Any

import click

from rig.cli.jobs import laser_places, outline_of, units_of
from rig.cli.options import (
    SLOPE,
    Lengths,
    Money,
    confidence_option,
    job_option,
    json_option,
    laser_place_option,
    show,
    why_option,
)
from rig.errors import BadInput
from rig.quantities.bags import waste_words
from rig.units import (
    counted,
    format_area,
    format_chance,
    format_length,
    format_load,
    format_slope,
    format_volume,
)

HoldGiven = tuple[float, float, float] | str


class _HoldType(Lengths):
    """A place and a height, or the name of a threshold that was shot."""

    def __init__(self) -> None:
        super().__init__("X", "Y", "HEIGHT")
        self.name = "X,Y,HEIGHT or LABEL"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read three lengths; a text without a comma is a name."""
        if isinstance(value, str) and "," not in value and value.strip():
            return value.strip()
        return super().convert(value, param, ctx)


@click.command()
@job_option
@click.option("--level", is_flag=True, help="A level plane (the default).")
@click.option(
    "--flat", is_flag=True, help="A plane that may slope, within --max-slope: less compound."
)
@click.option("--max-slope", type=SLOPE, help="The steepest it may be, as 5mm/m or 0.5%.")
@click.option(
    "--hold",
    "holds",
    type=_HoldType(),
    multiple=True,
    help="Fix the plane's height at a place (HEIGHT is relative to the line of set-up 1, negative "
    "below it), or at a threshold that was shot, by its LABEL. Repeatable.",
)
@click.option("--grind", "grind_cost", type=Money(), help="Price of grinding off a litre.")
@click.option("--fill", "fill_cost", type=Money(), help="Price of filling a litre.")
@click.option(
    "--patch",
    metavar="RULE",
    help="Instead of a pour: the least work that passes a tolerance rule; see rig rules.",
)
@click.option("--short-cost", type=Money(), help="Price of running short, a bag.")
@click.option("--spare-cost", type=Money(), help="Price of a bag left over.")
@laser_place_option
@confidence_option
@why_option
@json_option
def command(
    job_path: Path,
    level: bool,
    flat: bool,
    max_slope: float | None,
    holds: tuple[HoldGiven, ...],
    patch: str | None,
    laser_at: tuple[tuple[str | None, tuple[float, float]], ...],
    confidence: float,
    why: bool,
    as_json: bool,
    **costs: float | None,
) -> None:
    """Choose the finished plane; tell volume and bags, with their doubt.

    The plane lies so high that the minimum cover is kept everywhere with the confidence.
    """
    if level and flat:
        raise BadInput("A plane is --level or --flat, not both.")
    if flat and max_slope is None:
        raise BadInput("--flat needs --max-slope: how steep it may be, as 5mm/m or 0.5%.")
    if max_slope is not None and not flat:
        raise BadInput("--max-slope goes with --flat; a level plane has no slope.")
    for one, other in (("grind_cost", "fill_cost"), ("short_cost", "spare_cost")):
        if (costs[one] is None) != (costs[other] is None):
            names = [f"--{name.removesuffix('_cost')}" for name in (one, other)]
            if one == "short_cost":
                names = ["--short-cost", "--spare-cost"]
            raise BadInput(f"{names[0]} and {names[1]} go together: give both prices.")
    if patch is not None:
        from rig.cli.patch_text import patch_floor

        if flat or holds:
            raise BadInput("--patch has no plane: leave out --flat and --hold.")
        patch_floor(
            job_path, patch, costs["grind_cost"], costs["fill_cost"], confidence, why, as_json
        )
        return
    from rig.cli.progress import working
    from rig.job.store import Job
    from rig.quantities.materials import rules_of
    from rig.study.lasers import set_place
    from rig.study.picture import picture_of
    from rig.study.planning import Wanted, plan_result

    wanted = Wanted(max_slope, holds, **costs)
    with Job.open(job_path, write=True) as job, working("Choosing the plane"):
        units, denominator = units_of(job)
        outline = outline_of(job)
        for setup, place in laser_places(job, laser_at).items():
            set_place(job, setup, place)
        picture = picture_of(job, outline, confidence)
        result = plan_result(job, picture, wanted)
        plane = result["plane"]
        job.keep_material_rules([vars(rule) for rule in rules_of(units)], edited=False)
        inputs = wanted.as_inputs(confidence)
        job.save_plan(inputs, result, plane["a"], plane["b"], plane["c"])
    show(result, as_json, plan_text(result, units, denominator, outline))


def plan_text(
    result: dict[str, Any], units: str, denominator: int, outline: Any | None = None
) -> str:
    """Describe a plan for people."""

    def length(mm: float) -> str:
        return format_length(mm, units, denominator)

    cover, volume = result["cover_mm"], result["volume_l"]
    load = result["dead_load_kpa"]
    lines = [
        _plane_line(result, units, denominator),
        f"Cover: {length(cover['min'])} at the high point, {length(cover['mean'])} on average, "
        f"{length(cover['max'])} at the deepest (best estimates).",
        f"The minimum cover of {length(result['min_cover_mm'])} is kept everywhere with "
        f"{format_chance(result['chance_min_cover'])} probability.",
        *_grind_lines(result, units, denominator, outline),
        f"Volume: {format_volume(volume['mean'], units)}; 95 times in 100 between "
        f"{format_volume(volume['low'], units)} and {format_volume(volume['high'], units)}.",
        *_buy_lines(result),
    ]
    lines += [f"  {m['item']}: {m['text']} [{m['source']}]" for m in result["materials"]]
    lines.append("  (change a rule: rig edit --material KEY=VALUE)")
    if result["lifts"] > 1:
        lines.append(
            f"Pour in {result['lifts']} lifts: the deepest place is over the maximum cover."
        )
    lines.append(
        f"Dead load of the compound: {format_load(load['mean'], units)} on average, "
        f"{format_load(load['max'], units)} at the deepest."
    )
    from rig.study.laser_share import budget_lines

    lines += budget_lines(result["budget"], units)
    lines += [f"Assumed: {text}" for text in result["assumptions"]]
    lines += [f"! {text}" for text in result["warnings"]]
    lines += [f"Caution: {text}" for text in result["cautions"]]
    return "\n".join([*lines, "Next: rig markers"])


def _plane_line(result: dict[str, Any], units: str, denominator: int) -> str:
    below = format_length(-result["plane"]["a"], units, denominator)
    slope = result["slope"]
    if slope["falls_to_deg"] is None:
        return f"Finished plane: level, {below} below the line of set-up 1."
    return (
        f"Finished plane: {below} below the line of set-up 1 at the corner 0,0; slopes "
        f"{format_slope(slope['ratio'], units)}, falling towards {slope['falls_to_deg']:.0f}° "
        "(0° is along x, 90° along y)."
    )


def _buy_lines(result: dict[str, Any]) -> list[str]:
    bags, safety = result["bags"], result["safety"]
    lines = [
        f"BUY {counted(bags['buy'], 'bag').upper()} to be {100.0 * result['confidence']:g}% sure "
        f"({bags['p50']} at even odds); {waste_words(bags)}."
    ]
    if "purchase" in result:
        bought = result["purchase"]
        lines = [
            f"BUY {counted(bags['buy'], 'bag').upper()}: at these prices the cheapest; short "
            f"{format_chance(bought['chance_short'])} of the time, expected cost of being wrong "
            f"{bought['expected_cost']:.2f}. ({counted(bags['p50'], 'bag')} will do at even odds, "
            f"{bags['p95']} with 95 %.)"
        ]
    shares = ", ".join(f"{share:.0%} for {name}" for name, share in safety["shares"].items())
    lines.append(f"  Safety stock {safety['bags']:.1f} bags: {shares}.")
    return lines


def _grind_lines(
    result: dict[str, Any], units: str, denominator: int, outline: Any | None
) -> list[str]:
    if "grind" not in result:
        return []
    from rig.room import where

    grind = result["grind"]
    if not grind["spots"]:
        return ["Grinding does not pay at these prices: fill."]
    lines = [
        f"Grind {len(grind['spots'])} high spot{'s' if len(grind['spots']) > 1 else ''} first, "
        f"{format_volume(grind['volume_l'], units)} in all: saves {grind['saves_bags']:.1f} bags. "
        "Shoot them again before you pour."
    ]
    for spot in grind["spots"]:
        place = where(outline, spot["x_mm"], spot["y_mm"], units) if outline is not None else ""
        lines.append(
            f"  up to {format_length(spot['depth_mm'], units, denominator)} deep over "
            f"{format_area(spot['area_m2'], units)}, {place}: until the rod reads "
            f"{format_length(spot['until_reading_mm'], units, denominator)} or more everywhere"
        )
    return lines
