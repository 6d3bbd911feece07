"""`rig edit`: change what `rig new` set."""

from pathlib import Path
from typing import Any

import click

from rig.cli.jobs import outline_of
from rig.cli.new_command import room_result, room_text
from rig.cli.options import job_option, json_option, show
from rig.cli.room_options import check_settings, outline_given, room_options, settings_given
from rig.errors import BadInput
from rig.units import format_length, format_volume


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

    changes = settings_given(options)
    rules = []
    if materials:
        from rig.quantities.materials import changed_rule

        rules = [vars(changed_rule(text)) for text in materials]
    with Job.open(job_path, write=True) as job:
        outline = outline_of(job)
        shaped = outline_given(options, outline)
        if not changes and shaped is None and not rules:
            raise BadInput("Nothing to change was given; see rig edit --help.")
        check_settings({**job.settings, **changes})
        closing_mm = None
        if shaped is not None:
            outline, closing_mm = shaped
            doors = [(d.x_mm, d.y_mm, d.end_x_mm, d.end_y_mm) for d in outline.doors]
            job.set_outline(outline.walls, outline.openings, doors)
        if changes:
            job.update_settings(changes)
        if rules:
            job.keep_material_rules(rules, edited=True)
        units = job.settings["units"]
        warnings = []
        if shaped is not None:
            from rig.study.picture import outside_warnings

            for kind in ("floor", "finished"):
                warnings += outside_warnings(job, outline, kind)
        has_grid = bool(job.points())
    result = room_result(job_path, outline, closing_mm)
    if rules:
        result["materials"] = {rule["key"]: rule["amount"] for rule in rules}
    result["warnings"] = warnings
    text = room_text(result, outline, units)
    for rule in rules:
        text += f"\nRule changed: {rule['key']} is {_amount(rule, units)} now."
    if shaped is not None and has_grid:
        text += "\nThe outline has changed: lay out the grid again with rig grid."
    text += "".join(f"\n! {warning}" for warning in warnings)
    show(result, as_json, text)


def _amount(rule: dict[str, Any], units: str) -> str:
    """Write what a rule is set to in the job's units."""
    if rule["unit"] == "mm":
        return format_length(rule["amount"], units)
    if rule["unit"] == "l":
        return format_volume(rule["amount"], units, liquid=True)
    return f"{rule['amount']:g} {rule['unit']}"
