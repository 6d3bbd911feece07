"""`rig markers`: where the depth markers go, and how high."""

from pathlib import Path
from typing import Any

import click

from rig.cli.options import (
    Length,
    Lengths,
    job_option,
    json_option,
    lift_option,
    room_option,
    show,
)
from rig.language import join, put, say


class MarkerTo(Lengths):
    """A marker and where it is to stand: LABEL=X,Y."""

    def __init__(self) -> None:
        super().__init__("X", "Y")
        self.name = "LABEL=X,Y"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read a label and two lengths."""
        if not isinstance(value, str):
            return value
        label, equals, place = value.partition("=")
        if not equals or not label.strip():
            self.fail(
                say("{value!r} names no marker; write it as M3=4ft,6ft.", value=value), param, ctx
            )
        return label.strip(), super().convert(place, param, ctx)


@click.command()
@job_option
@click.option(
    "--reach",
    type=Length(above=0.0),
    help="No place is farther than this from a marker.  [default: 4ft, or 1.2m]",
)
@click.option("--move", type=MarkerTo(), multiple=True, help="Move a marker to another place.")
@click.option("--add", type=Lengths("X", "Y"), multiple=True, help="Add a marker at a place.")
@click.option("--drop", metavar="LABEL", multiple=True, help="Take a marker away.")
@lift_option
@room_option
@json_option
def command(
    job_path: Path,
    reach: float | None,
    move: tuple[tuple[str, tuple[float, float]], ...],
    add: tuple[tuple[float, float], ...],
    drop: tuple[str, ...],
    lift: int | None,
    room_name: str | None,
    as_json: bool,
) -> None:
    """Lay out the depth markers; tell target reading and stick-out of each.

    The layout is stored: rig set follows it in its order. Places changed by hand are kept until
    --reach is given; a marker that was set and is moved must be set again.
    """
    from rig.cli.progress import working
    from rig.guidance.moved import Changes
    from rig.job.store import Job
    from rig.room import where
    from rig.study.markers_answer import make_markers
    from rig.study.room import outline_of
    from rig.study.rooms import in_room
    from rig.words.markers import marker, to_set
    from rig.words.room import wall_lines

    changes = Changes(move=move, add=add, drop=drop)
    with Job.open(job_path, write=True) as job, working(say("Laying out the markers")):
        in_room(job, room_name)
        answer, units = make_markers(job, reach, changes, lift), job.units
        outline = outline_of(job)
    lines = [to_set(len(answer.markers))]
    for one in () if as_json else answer.markers:
        out = (one.stick_out_mm, one.stick_out_stderr_mm)
        told = marker(
            one.label, where(outline, one.x_mm, one.y_mm, units), one.target_reading_mm, out, units
        )
        lines.append(put("  {told}", told=told))
    lines += wall_lines(outline, units)
    lines += [put("! {text}", text=text) for text in answer.warnings]
    following = "rig set" if lift is None else f"rig set --lift {lift}"
    show(
        answer.as_json(),
        as_json,
        join("\n", [*lines, say("Next: {following}", following=following)]),
    )
