"""`rig export`: write the job's points, surface, contours and markers for other programs."""

import io
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.jobs import outline_of
from rig.cli.options import folder_option, job_option, json_option, room_option, show
from rig.errors import BadInput, CannotAnswer
from rig.language import join, say, say_many

if TYPE_CHECKING:
    from rig.job.store import Job


@click.command()
@job_option
@click.option(
    "--format",
    "file_format",
    type=click.Choice(["csv", "geojson", "dxf"]),
    default="csv",
    show_default=True,
    help="csv: every shot; geojson, dxf: the room, shots, surface, contours, markers, in mm.",
)
@folder_option
@room_option
@json_option
def command(
    job_path: Path, file_format: str, out: Path, room_name: str | None, as_json: bool
) -> None:
    """Write the job to shots.csv, floor.geojson or floor.dxf.

    `rig import --unit mm` takes shots.csv back. Both others are in mm of the room's plane, from
    its corner 0,0, and say so.
    """
    from rig.job.store import Job
    from rig.study.rooms import in_room, refuse_several

    name = {"csv": "shots.csv", "geojson": "floor.geojson", "dxf": "floor.dxf"}[file_format]
    path = (out / name).absolute()
    with Job.open(job_path) as job:
        in_room(job, room_name)
        if file_format != "csv":
            refuse_several(job)
        try:
            out.mkdir(parents=True, exist_ok=True)
            written = _write(job, file_format, path, job_path.stem)
        except OSError as error:
            raise BadInput(
                say(
                    "{path} cannot be written: {strerror}. Give another --out.",
                    path=path,
                    strerror=error.strerror,
                )
            ) from None
    show(
        {"files": [str(path)]},
        as_json,
        say("{written} written to {path}", written=written, path=path),
    )


def _write(job: "Job", file_format: str, path: Path, name: str) -> str:
    if file_format == "csv":
        from rig.survey.table import write_table

        shots = [shot for shot in job.shots() if shot.kind != "marker"]
        if not shots:
            raise CannotAnswer(say("The job has no shots to write yet. Survey first: rig survey"))
        write_table(path, shots)
        return say_many("{count} shot", "{count} shots", len(shots))
    from rig.files import write_whole
    from rig.report.plan_data import plan_data

    data = plan_data(job, outline_of(job))
    if file_format == "geojson":
        from rig.report.geojson import to_geojson

        write_whole(path, to_geojson(data, name))
    else:
        from rig.report.dxf import to_dxf

        drawn = io.StringIO()
        to_dxf(data, job.units).write(drawn)
        write_whole(path, drawn.getvalue())
    placed = sum(len(heights.labels) for heights in data.heights.values())
    has = [say_many("{count} shot", "{count} shots", placed)] if placed else []
    has += [
        say("the finished floor with its contours")
        if surface.kind == "finished"
        else say("the floor with its contours")
        for surface in data.surfaces
    ]
    has += (
        [say_many("{count} marker", "{count} markers", len(data.markers))] if data.markers else []
    )
    return join(", ", [say("The room"), *has])
