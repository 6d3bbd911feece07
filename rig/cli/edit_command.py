"""`rig edit`: change what `rig new` set."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import job_option, json_option, show
from rig.cli.room_options import RoomGiven, room_options
from rig.errors import BadInput

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.room import Outline


@click.command()
@job_option
@room_options
@click.option(
    "--material",
    "materials",
    metavar="KEY=VALUE",
    multiple=True,
    help="Change a rule for materials, as primer=0.2l, lath=0, lath_overlap=2in. Repeatable.",
)
@json_option
def command(job_path: Path, as_json: bool, materials: tuple[str, ...], **options: Any) -> None:
    """Change what `new` set; the change is kept in the job's log.

    Doors and openings given replace those that were there.
    """
    from rig.job.store import Job
    from rig.quantities.materials import changed_rule
    from rig.study.room import outline_of, room_answer, set_outline
    from rig.words.room import door_warnings, room_lines, rule_line

    given = RoomGiven(**options)
    rules = [*given.rules, *(changed_rule(text) for text in materials)]
    with Job.open(job_path, write=True) as job:
        outline, closing_mm = outline_of(job), None
        shaped = given.outline_over(outline)
        if not given.has_settings and shaped is None and not rules:
            raise BadInput("Nothing to change was given; see rig edit --help.")
        settings = given.settings_over(job.settings)
        warnings = []
        with job.together("nothing was changed"):
            if shaped is not None:
                outline, closing_mm = shaped
                set_outline(job, outline)
            job.update_settings(settings)
            if rules:
                job.keep_material_rules([vars(rule) for rule in rules], edited=True)
        units, has_grid = job.units, bool(job.points())
        if shaped is not None:
            warnings += _shape_warnings(job, outline)
        if given.doors:
            warnings += door_warnings(outline, units)
    lines = room_lines(str(job_path), outline, closing_mm, units)
    lines += [rule_line(rule.key, rule.amount, rule.unit, units) for rule in rules]
    if shaped is not None and has_grid:
        lines.append("The outline has changed: lay out the grid again with rig grid.")
    lines += [f"! {warning}" for warning in warnings]
    answer = room_answer(str(job_path), outline, closing_mm, rules, warnings)
    show(answer.as_json(), as_json, "\n".join(lines))


def _shape_warnings(job: "Job", outline: "Outline") -> list[str]:
    """What is odd about walls that were changed, and which shots no longer lie between them."""
    from rig.study.findings import outside_warnings
    from rig.words.room import size_warnings

    outside = [
        text for kind in ("floor", "finished") for text in outside_warnings(job, outline, kind)
    ]
    return outside + size_warnings(outline, job.units)
