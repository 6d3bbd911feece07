"""`rig copy`: a copy of the job as it is now, beside whoever writes to it."""

from pathlib import Path

import click

from rig.cli.options import job_option, json_option, show
from rig.language import say, say_many


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@job_option
@json_option
def command(file: Path, job_path: Path, as_json: bool) -> None:
    """Copy the job to FILE, or into the folder FILE; a session that writes to it goes on.

    The copy is one whole file with everything told so far.
    """
    from rig.job.store import Job

    copy = (file / job_path.name if file.is_dir() else file).absolute()
    with Job.open(job_path) as job:
        job.copy_to(copy)
    with Job.open(copy) as job:
        shots = len(job.shots())
    show(
        {"file": str(copy), "shots": shots},
        as_json,
        say(
            "{shots} copied to {copy}",
            shots=say_many("{count} shot", "{count} shots", shots),
            copy=copy,
        ),
    )
