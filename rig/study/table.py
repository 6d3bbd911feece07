"""A table of shots taken into a job instead of a survey."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rig.record import Record
from rig.study.room import outline_of
from rig.survey.plausibility import doubts_of_table
from rig.survey.table import read_table

if TYPE_CHECKING:
    from rig.job.store import Job

KINDS = ("floor", "finished")


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportAnswer(Record):
    """What a table brought, as `rig import --json` prints it.

    Attributes
    ----------
    shots : int
    replaced : int
        Earlier shots of the same labels that they took the place of.
    warnings : tuple of str
        Readings that are hard to believe.
    """

    shots: int
    replaced: int
    warnings: tuple[str, ...]


def import_table(job: "Job", table: Path, unit: str) -> ImportAnswer:
    """Take a CSV label,x,y,reading[,stderr][,setup][,kind] whole or not at all.

    Parameters
    ----------
    job : Job
        Open for writing.
    table : path
    unit : {"mm", "cm", "m", "in", "ft"}
        Of every length in it.

    Raises
    ------
    BadInput
        A row that cannot be a shot, with its line.
    """
    grid = {point.label: (point.x_mm, point.y_mm) for point in job.points()}
    rows = read_table(table, unit, outline_of(job), grid)
    earlier: dict[str, list[float]] = {}
    for shot in job.shots(kinds=KINDS):
        earlier.setdefault(shot.setup, []).append(shot.reading_mm)
    warnings: Sequence[str] = doubts_of_table(
        [(row.setup, row.point, row.reading_mm) for row in rows if row.kind in KINDS],
        earlier,
        unit,
        job.units.length,
    )
    ids = set(job.import_shots(vars(row) for row in rows))
    replaced = sum(shot.superseded_by in ids for shot in job.shots(current=False))
    return ImportAnswer(shots=len(rows), replaced=replaced, warnings=tuple(warnings))
