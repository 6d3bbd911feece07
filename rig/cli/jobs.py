"""What commands share around a job file: opening it, its outline, its units."""

import contextlib
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from rig.cli.options import tell
from rig.errors import BadInput, JobUnusable
from rig.language import join, put, say
from rig.session.source import boot_id as boot_id
from rig.session.source import setup_of as setup_of
from rig.study.room import outline_of as outline_of

if TYPE_CHECKING:
    from rig.job.store import Job


def laser_places(
    job: "Job", given: Iterable[tuple[str | None, tuple[float, float]]]
) -> dict[str, tuple[float, float]]:
    """Return where `--laser` says that the laser stood, by set-up.

    Raises
    ------
    BadInput
        A place without a set-up where there are several, or a set-up that there is none of.
    """
    places = {}
    setups = job.setups()
    for name, place in given:
        if name is None and len(setups) > 1:
            raise BadInput(
                say(
                    "The job has set-ups {setups}: say which, as --laser {setups_2}:X,Y.",
                    setups=join(", ", setups),
                    setups_2=setups[0],
                )
            )
        setup = name or (setups[0] if setups else "1")
        if setups and setup not in setups:
            raise BadInput(
                say(
                    "There is no set-up {setup!r}; there are {setups}.",
                    setup=setup,
                    setups=join(", ", setups),
                )
            )
        places[setup] = place
    return places


def mend_pour(path: Path) -> None:
    """Mend what an older floor-rig left half written of a pour, and say so."""
    from rig.job.store import Job
    from rig.session.mending import holes_of, mend

    with Job.open(path) as job:
        if not holes_of(job):
            return
    # Where it cannot be written, or a session is at it, what is asked for is told as it stands.
    with contextlib.suppress(JobUnusable), Job.open(path, write=True, wait_s=0.0) as job:
        for text in mend(job):
            tell(put("rig: {what}", what=text), err=True)
