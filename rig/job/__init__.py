"""The job file: one SQLite file that keeps everything measured, decided and done on a floor."""

from rig.job.rows import (
    Batch,
    DoorEnds,
    Marker,
    Plan,
    Point,
    Session,
    Shot,
    StoredEvent,
    StoredReading,
)
from rig.job.store import Job

__all__ = [
    "Batch",
    "DoorEnds",
    "Job",
    "Marker",
    "Plan",
    "Point",
    "Session",
    "Shot",
    "StoredEvent",
    "StoredReading",
]
