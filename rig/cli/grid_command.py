"""`rig grid`: lay out the points to shoot."""

from pathlib import Path

import click

from rig.cli.options import Length, job_option, json_option, room_option, show
from rig.errors import BadInput
from rig.language import join, put, say


@click.command()
@job_option
@click.option(
    "--spacing",
    type=Length(above=0.0),
    help="The most that neighbours stand apart.  [default: 3ft, or 0.9m]",
)
@click.option(
    "--edge",
    type=Length(above=0.0),
    help="From the wall to the outermost points.  [default: 6in, or 15cm]",
)
@click.option(
    "--lines", is_flag=True, help="Lines for F-numbers instead, a reading every 12 in (300 mm)."
)
@click.option(
    "--advise",
    is_flag=True,
    help="Tell what each spacing is likely to cost in bags of safety; lays out nothing.",
)
@click.option(
    "--pairs", is_flag=True, help="A tenth of the points get another 9 in (23 cm) beside them."
)
@room_option
@json_option
def command(
    job_path: Path,
    spacing: float | None,
    edge: float | None,
    lines: bool,
    advise: bool,
    pairs: bool,
    room_name: str | None,
    as_json: bool,
) -> None:
    """Lay out the points to shoot and the order to walk them, ending at the door.

    Points are lettered across and numbered along. Shots already taken are kept, with their labels:
    a point where one stands needs no other, and new points get letters of their own.
    """
    from rig.job.store import Job
    from rig.room import where
    from rig.study.grid import doubts_of, make_grid, make_lines
    from rig.study.room import outline_of
    from rig.study.rooms import in_room
    from rig.words import grid as words
    from rig.words.room import wall_lines

    if lines and (spacing is not None or edge is not None or pairs):
        raise BadInput(
            say("--lines has its own spacing and edge: leave out --spacing, --edge and --pairs.")
        )
    if advise:
        _advise(job_path, spacing, edge, room_name, pairs, as_json)
        return
    with Job.open(job_path, write=True) as job:
        in_room(job, room_name)
        answer = make_lines(job) if lines else make_grid(job, spacing, edge, pairs)
        done = len(answer.points) - len(job.unshot("floor"))
        units, outline = job.units, outline_of(job)
        doubts = [] if lines else doubts_of(job, spacing)
    told = [words.to_walk(len(answer.points), done)]
    for p in () if as_json else answer.points:
        place = where(outline, p.x_mm, p.y_mm, units)
        told.append(put("  {point}", point=words.point(p.order, p.label, place)))
    told += wall_lines(outline, units)
    told += [put("! {doubt}", doubt=doubt) for doubt in doubts]
    told.append(
        say("Next: rig survey --kind benchmark --label BM1 on a fixed point, then rig survey")
    )
    show(answer.as_json() | {"warnings": doubts}, as_json, join("\n", told))


def _advise(
    job_path: Path,
    spacing: float | None,
    edge: float | None,
    room_name: str | None,
    pairs: bool,
    as_json: bool,
) -> None:
    """Show what closer and wider spacings are likely to cost."""
    from rig.job.store import Job
    from rig.study.grid import doubts_of, usual_edge_mm, usual_spacing_mm
    from rig.study.room import outline_of
    from rig.study.rooms import in_room, refuse_several
    from rig.study.spacing import spacing_answer, usual_spacings_mm
    from rig.words import grid as words

    with Job.open(job_path) as job:
        in_room(job, room_name)
        refuse_several(job)
        units = job.units
        wanted = {*usual_spacings_mm(units), *([] if spacing is None else [spacing])}
        if pairs:  # with and without, at one spacing
            wanted = {usual_spacing_mm(units) if spacing is None else spacing}
        edge_mm = usual_edge_mm(units) if edge is None else edge
        answer = spacing_answer(job, outline_of(job), sorted(wanted), edge_mm, pairs=pairs)
        doubts = doubts_of(job, spacing)
    lines = [words.cost_of_doubt(answer.assumed)]
    for one in answer.advise:
        say_cost = words.cost_with_pairs if one.pairs else words.cost_of_spacing
        told = say_cost(one.spacing_mm, one.points, one.safety_mm, one.safety_bags, units)
        lines.append(put("  {told}", told=told))
    lines += [say("Assumed: {text}", text=text) for text in answer.assumptions]
    lines += [put("! {doubt}", doubt=doubt) for doubt in doubts]
    result = answer.as_json() | {"warnings": doubts}
    show(result, as_json, join("\n", [*lines, say("Next: rig grid --spacing LENGTH")]))
