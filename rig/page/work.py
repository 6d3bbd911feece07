"""Live sessions that are begun from a page: one at a time, each in a thread of its own."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Rods:
    """What can be measured with: a simulated rod only where that is offered."""

    simulated: bool = False


class Work:
    """Runs what a page begins."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._wanted: dict[str, Callable[[Path], None]] = {}
        self.job: str | None = None

    def at(self, name: str) -> bool:
        """Whether a session is at work on a job."""
        return self.job == name

    def begin_wanted(self, name: str, path: Path) -> bool:
        """Begin what a step wants once its own hand is off the job."""
        return False

    def stop(self) -> None:
        """End the session that runs."""

    def close(self) -> None:
        """End the session that runs, and wait for it."""
