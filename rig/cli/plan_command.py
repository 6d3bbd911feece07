"""`rig plan`: the finished plane and the quantities."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.jobs import laser_places
from rig.cli.options import (
    SLOPE,
    Lengths,
    Money,
    confidence_option,
    job_option,
    json_option,
    laser_place_option,
    room_option,
    show,
    tell,
    why_option,
)
from rig.errors import BadInput
from rig.language import join, say

if TYPE_CHECKING:
    from rig.study.plane import HoldGiven


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
@click.option("--level", is_flag=True, help="A level floor (the default).")
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
@click.option(
    "--history",
    "history_file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="What this crew and this product took before: the file of rig office expect --out.",
)
@click.option("--short-cost", type=Money(), help="Price of running short, a bag.")
@click.option("--spare-cost", type=Money(), help="Price of a bag left over.")
@laser_place_option
@click.option(
    "--together", is_flag=True, help="One level through all rooms of a job that has several."
)
@room_option
@confidence_option
@why_option
@json_option
def command(
    job_path: Path,
    level: bool,
    flat: bool,
    max_slope: float | None,
    holds: "tuple[HoldGiven, ...]",
    patch: str | None,
    history_file: Path | None,
    laser_at: tuple[tuple[str | None, tuple[float, float]], ...],
    confidence: float,
    together: bool,
    room_name: str | None,
    why: bool,
    as_json: bool,
    **costs: float | None,
) -> None:
    """Choose the finished plane; tell volume and bags, with their doubt.

    The plane lies so high that the minimum cover is kept everywhere with the confidence.
    """
    _check_slope(level, flat, max_slope)
    from rig.quantities.expected import read_history
    from rig.study.plane import PlanWish

    wish = PlanWish(
        max_slope=max_slope,
        holds=holds,
        confidence=confidence,
        history=None if history_file is None else read_history(history_file),
        **costs,
    )
    wish.check()
    if patch is not None:
        from rig.cli.patch_text import patch_floor

        if flat or holds:
            raise BadInput(say("--patch has no plane: leave out --flat and --hold."))
        costs_l = (wish.grind_cost, wish.fill_cost)
        patch_floor(job_path, room_name, patch, *costs_l, confidence, why, as_json)
        return
    from rig.cli.progress import working
    from rig.job.store import Job
    from rig.study.house_plan import house_lines, make_house_plan
    from rig.study.lasers import set_place
    from rig.study.plan_answer import make_plan
    from rig.study.rooms import has_several, in_room

    with Job.open(job_path, write=True) as job, working(say("Choosing the plane")):
        for setup, place in laser_places(job, laser_at).items():
            set_place(job, setup, place)
        in_room(job, room_name)
        units = job.units
        if has_several(job):
            house = make_house_plan(job, wish, together=together)
        elif together:
            raise BadInput(say("--together is for all rooms of a job that has several."))
        else:
            house = None
            picture, answer = make_plan(job, wish)
    if house is not None:
        show(house.as_json(), as_json, "" if as_json else join("\n", house_lines(house, units)))
        return
    if as_json:
        show(answer.as_json(), as_json, "")
        return
    from rig.report.plan_part import PlanTold, plan_cautions, plane_section, quantities_section
    from rig.report.source import place_words
    from rig.report.text import to_text

    told = PlanTold(
        answer=answer,
        wish=wish,
        units=units,
        outline=picture.outline,
        where=lambda x, y: place_words(picture.outline, x, y, units),
    )
    sections = [plane_section(told), quantities_section(told), plan_cautions(answer)]
    tell(to_text(sections, why=why, last=say("Next: rig markers")))


def _check_slope(level: bool, flat: bool, max_slope: float | None) -> None:
    """Refuse what is said of the slope where it does not go together."""
    if level and flat:
        raise BadInput(say("A plane is --level or --flat, not both."))
    if flat and max_slope is None:
        raise BadInput(say("--flat needs --max-slope: how steep it may be, as 5mm/m or 0.5%."))
    if max_slope is not None and not flat:
        raise BadInput(say("--max-slope goes with --flat; a level floor has no slope."))
