"""A table of shots taken into a job instead of a survey."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

from rig.record import Record
from rig.study.room import outline_of
from rig.survey.table import read_table
from rig.survey.table_doubts import doubts_of_table
from rig.units import Units
from rig.words.floor import line_on_the_floor

if TYPE_CHECKING:
    from rig.job.store import Job

KINDS = ("floor", "finished")
NEAREST_LINE_MM = 10.0
"""No laser's line stands nearer to a floor (common practice, no source)."""


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
    floor_mm = [row.reading_mm for row in rows if row.kind == "floor"]
    warnings = [*warnings, *line_too_near(floor_mm, job.units)]
    ids = set(job.import_shots(vars(row) for row in rows))
    replaced = sum(shot.superseded_by in ids for shot in job.shots(current=False))
    return ImportAnswer(shots=len(rows), replaced=replaced, warnings=tuple(warnings))


def line_too_near(readings_mm: Sequence[float], units: Units) -> list[str]:
    """Doubt a line that would stand on the floor: its readings are of another unit."""
    middle_mm = median(readings_mm) if readings_mm else 0.0
    if not 0.0 < middle_mm < NEAREST_LINE_MM:
        return []
    return [line_on_the_floor(middle_mm, units)]
