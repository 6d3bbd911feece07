"""`rig edit`: change what `rig new` set."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import Name, Typed, job_option, json_option, show
from rig.cli.room_options import RoomGiven, room_options
from rig.errors import BadInput
from rig.language import join, say
from rig.units import Units

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.quantities.materials import Rule
    from rig.room import Outline


class Renamed(Name):
    """What a wall is called and what it is to be called: OLD=NEW."""

    name = "OLD=NEW"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read both names, or fail with what is wrong."""
        if not isinstance(value, str):
            return value
        old, equals, new = value.partition("=")
        if not equals or not old.strip():
            self.fail(
                say("{value!r} is no pair; write it as 'far wall=window wall'.", value=value),
                param,
                ctx,
            )
        return old.strip(), super().convert(new, param, ctx) if new.strip() else ""


@click.command()
@job_option
@room_options
@click.option(
    "--wall",
    "renames",
    type=Renamed(),
    multiple=True,
    help="Call a wall as you do: 'far wall on the left=window wall'. Nothing after the = gives it "
    "its first name again. Repeatable.",
)
@click.option(
    "--material",
    "materials",
    type=Typed(),
    metavar="KEY=VALUE",
    multiple=True,
    help="Change a rule for materials, as primer=0.2l, lath=0, lath_overlap=2in. Repeatable.",
)
@json_option
def command(
    job_path: Path,
    as_json: bool,
    materials: tuple[str, ...],
    renames: tuple[tuple[str, str], ...],
    **options: Any,
) -> None:
    """Change what `new` set; the change is kept in the job's log.

    Doors and openings given replace those that were there.
    """
    from rig.job.store import Job
    from rig.quantities.materials import changed_rule
    from rig.study.room import outline_of, room_answer, set_outline, with_renamed
    from rig.words.room import names_gone, room_lines

    given = RoomGiven(**options)
    rules = [*given.rules, *(changed_rule(text) for text in materials)]
    with Job.open(job_path, write=True) as job:
        _refuse_walls_of_several(job, given, renames)
        before = outline_of(job)
        shaped = given.outline_over(before, Units(given.units or job.units.system))
        if not (given.has_settings or shaped or rules or renames):
            raise BadInput(say("Nothing to change was given; see rig edit --help."))
        outline, closing_mm = shaped or (before, None)
        outline = with_renamed(outline, renames)
        settings = given.settings_over(job.settings)
        warnings = []
        with job.together(say("nothing was changed")):
            job.update_settings(settings)
            if shaped or renames:
                set_outline(job, outline)
            if rules:
                job.keep_material_rules([vars(rule) for rule in rules], edited=True)
        units, has_grid = job.units, bool(job.points())
        if shaped:
            warnings += names_gone(outline, before)
            warnings += _shape_warnings(job, outline)
    lines = room_lines(str(job_path), outline, closing_mm, units)
    lines += _change_lines(rules, units, bool(shaped and has_grid), warnings)
    answer = room_answer(str(job_path), outline, closing_mm, rules, warnings)
    show(answer.as_json(), as_json, join("\n", lines))


def _refuse_walls_of_several(
    job: "Job", given: RoomGiven, renames: tuple[tuple[str, str], ...]
) -> None:
    from rig.study.rooms import has_several

    if has_several(job) and (given.has_shape or renames):
        raise BadInput(
            say(
                "The job has several rooms: change the walls, doors and openings of one with "
                "rig room edit NAME."
            )
        )


def _change_lines(
    rules: "list[Rule]", units: Units, grid_is_old: bool, warnings: list[str]
) -> list[str]:
    """Tell what was changed beside the room, and what follows from it."""
    from rig.words.room import rule_line

    lines = [rule_line(rule.key, rule.amount, rule.unit, units) for rule in rules]
    if grid_is_old:
        lines.append(say("The outline has changed: lay out the grid again with rig grid."))
    return lines + ["! " + warning for warning in warnings]


def _shape_warnings(job: "Job", outline: "Outline") -> list[str]:
    """What is odd about walls that were changed, and which shots no longer lie between them."""
    from rig.study.findings import outside_warnings
    from rig.words.room import size_warnings

    outside = [
        text for kind in ("floor", "finished") for text in outside_warnings(job, outline, kind)
    ]
    return outside + size_warnings(outline, job.units)
