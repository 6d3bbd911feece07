"""What commands share around a job file: opening it, its outline, its units."""

import os
from typing import TYPE_CHECKING, Literal

from rig.errors import CannotAnswer

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.plan_geometry import Outline
    from rig.survey.grid import GridPoint


def outline_of(job: "Job") -> "Outline":
    """Return the job's outline with openings and doors."""
    from rig.plan_geometry import Door, from_rings

    walls, openings, doors = job.outline_rings()
    return from_rings(walls, openings, tuple(Door(*door) for door in doors))


def points_of(job: "Job") -> "list[GridPoint]":
    """Return the job's grid in walk order, refusing a job that has none."""
    from rig.survey.grid import GridPoint

    points = [GridPoint(p.label, p.x_mm, p.y_mm, p.order) for p in job.points()]
    if not points:
        raise CannotAnswer("The job has no grid yet. Lay it out first: rig grid")
    return points


def units_of(job: "Job") -> tuple[Literal["in", "mm"], int]:
    """Return the job's units and the denominator of its fractions."""
    settings = job.settings
    return settings["units"], settings["denominator"]


def setup_of(job: "Job", given: str | None) -> str:
    """Return the set-up that was named, else the last one used, else the first there is."""
    return given or job.last_setup() or "1"


def boot_id() -> str:
    """Identify this start of the machine, since monotonic times are comparable only within one."""
    try:
        with open("/proc/sys/kernel/random/boot_id") as file:
            return file.read().strip()
    except OSError:
        return f"process-{os.getpid()}"
