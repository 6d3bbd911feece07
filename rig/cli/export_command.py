"""`rig export`: write the job's points to a file that other programs read."""

from pathlib import Path

import click

from rig.cli.options import job_option, json_option, show
from rig.errors import BadInput, CannotAnswer


@click.command()
@job_option
@click.option("--format", "file_format", type=click.Choice(["csv"]), default="csv")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path(),
    help="The folder to write to.  [default: the current one]",
)
@json_option
def command(job_path: Path, file_format: str, out: Path, as_json: bool) -> None:
    """Write every current shot to shots.csv, which `rig import --unit mm` takes back."""
    from rig.job.store import Job
    from rig.survey.table import write_table

    with Job.open(job_path) as job:
        shots = [shot for shot in job.shots() if shot.kind != "marker"]
    if not shots:
        raise CannotAnswer("The job has no shots to write yet. Survey first: rig survey")
    path = (out / "shots.csv").absolute()
    try:
        out.mkdir(parents=True, exist_ok=True)
        write_table(path, shots)
    except OSError as error:
        raise BadInput(f"{path} cannot be written: {error.strerror}. Give another --out.") from None
    show({"files": [str(path)]}, as_json, f"{len(shots)} shots written to {path}")
