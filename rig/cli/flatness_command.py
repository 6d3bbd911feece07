"""`rig flatness`: proof of a floor against a tolerance rule."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.jobs import laser_places, outline_of
from rig.cli.options import (
    Length,
    confidence_option,
    job_option,
    json_option,
    laser_place_option,
    room_option,
    show,
    unit_option,
    why_option,
)
from rig.errors import BadInput
from rig.language import say
from rig.units import Units

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.study.proof_answer import Proof

LaserAt = tuple[tuple[str | None, tuple[float, float]], ...]


@click.command()
@job_option
@click.option(
    "--rule",
    "rule_given",
    metavar="KEY|FILE",
    help="The rule; see rig rules.  [default: that of the job's covering]",
)
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
@room_option
@why_option
@json_option
def command(
    job_path: Path,
    rule_given: str | None,
    kind: str | None,
    laser_at: LaserAt,
    confidence: float,
    lines_file: Path | None,
    step: float | None,
    unit: str | None,
    room_name: str | None,
    why: bool,
    as_json: bool,
) -> int:
    """Prove a floor against a tolerance rule: in, out, or too close to tell.

    A straightedge is laid everywhere and at every bearing of the modelled floor, F-numbers are
    taken along lines, levelness from wall to wall. Ends with code 0 for in, 1 for out or too close
    to tell.
    """
    if lines_file is not None:
        for given, name in ((kind, "--kind"), (laser_at, "--laser")):
            if given:
                raise BadInput(say("{name} goes with a job's shots, not with --lines.", name=name))
        told, units = _of_lines(rule_given or "e1155", lines_file, unit, step, confidence)
    else:
        if step is not None or unit is not None:
            raise BadInput(say("--step and --unit go with --lines FILE."))
        told, units = _of_job(job_path, rule_given, kind, laser_at, confidence, room_name)
    show(told.as_json(), as_json, proof_text(told, units, why))
    return 0 if told.verdict == "in" else 1


def proof_text(told: Proof, units: Units, why: bool = False) -> str:
    """Say a proof for people: the verdict, or with `why` all that stands behind it."""
    from rig.report.document import Section
    from rig.report.proof_part import verdict_blocks
    from rig.report.text import to_text

    places = [
        say("x {x}, y {y}", x=units.place(one.x_mm), y=units.place(one.y_mm)) for one in told.next
    ]
    blocks = verdict_blocks(told, units, places)
    return to_text([Section("proof", say("Proof of flatness"), tuple(blocks))], why=why)


def _of_job(
    path: Path,
    rule_given: str | None,
    kind: str | None,
    laser_at: LaserAt,
    confidence: float,
    room_name: str | None,
) -> tuple[Proof, Units]:
    from rig.cli.progress import working
    from rig.flatness.rules import load_rule
    from rig.job.store import Job
    from rig.study.kept_proof import keep_proof
    from rig.study.lasers import set_place
    from rig.study.proof_answer import proof
    from rig.study.rooms import in_room, refuse_several

    rule = None if rule_given is None else load_rule(rule_given)
    with Job.open(path, write=bool(laser_at)) as job, working(say("Laying the edge everywhere")):
        in_room(job, room_name)
        refuse_several(job)
        rule = rule or load_rule(_rule_of(job))
        for setup, place in laser_places(job, laser_at).items():
            set_place(job, setup, place)
        told, units, room = (
            proof(job, outline_of(job), rule, confidence, kind),
            job.units,
            job.room,
        )
    keep_proof(path, told, room)
    return told, units


def _rule_of(job: Job) -> str:
    """Key of the rule that the job's covering picks."""
    from rig.flatness.coverings import rule_of_covering

    covering = job.settings.covering
    key = None if covering is None else rule_of_covering(covering)
    if key is None:
        raise BadInput(
            say(
                "Name the rule: --rule a108-small, for one (rig rules lists them); or say what "
                "will lie on the floor, which picks it: rig edit --covering tile."
            )
        )
    return key


def _of_lines(
    rule_given: str, path: Path, unit: str | None, step_mm: float | None, confidence: float
) -> tuple[Proof, Units]:
    from rig.flatness.level_lines import read_lines
    from rig.flatness.rules import load_rule
    from rig.study.proof_answer import proof_of_lines

    if step_mm is None or unit is None:
        missing = "--step" if step_mm is None else "--unit"
        raise BadInput(
            say(
                "--lines needs {missing}: give how far apart the readings are (--step 12in) "
                "and the unit of the readings (--unit in).",
                missing=missing,
            )
        )
    rule = load_rule(rule_given)
    units = Units("in" if unit in ("in", "ft") else "mm")
    return proof_of_lines(read_lines(path, unit, step_mm), rule, confidence, units), units
