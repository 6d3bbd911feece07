"""Readings and acts that wait to be written, with the ids they will have.

The ids are counted in memory, which holds because there is one writer. An event remembers the last
reading before it, so that both replay in the order in which they came.
"""

import sqlite3

from rig.job.rows import Row

_READING = (
    "INSERT INTO reading (id, session_id, time_s, utc_s, raw, value_mm, status, seq, box_s) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_EVENT = (
    "INSERT INTO event (id, session_id, reading_id, time_s, utc_s, kind, data) "
    "VALUES (?, ?, ?, ?, ?, ?, ?)"
)


class Log:
    """The buffer of one writer.

    Parameters
    ----------
    connection : sqlite3.Connection
        The job file, from whose last ids the count goes on.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._readings: list[Row] = []
        self._events: list[Row] = []
        self._last_reading = 0
        self._last_event = 0
        self.catch_up(connection)

    def __len__(self) -> int:
        return len(self._readings) + len(self._events)

    def reading(
        self,
        session_id: int,
        time_s: float,
        utc_s: float,
        raw: str,
        value_mm: float | None,
        status: str,
        seq: int | None,
        box_s: float | None = None,
    ) -> int:
        """Keep a reading and return its id."""
        self._last_reading += 1
        self._readings.append(
            (self._last_reading, session_id, time_s, utc_s, raw, value_mm, status, seq, box_s)
        )
        return self._last_reading

    def event(
        self, session_id: int | None, time_s: float | None, utc_s: float, kind: str, data: str
    ) -> int:
        """Keep an event, its data as JSON, and return its id."""
        self._last_event += 1
        self._events.append(
            (self._last_event, session_id, self._last_reading or None, time_s, utc_s, kind, data)
        )
        return self._last_event

    def write(self, connection: sqlite3.Connection) -> None:
        """Write all that waits, inside the caller's transaction; it waits on until `clear`."""
        if self._readings:
            connection.executemany(_READING, self._readings)
        if self._events:
            connection.executemany(_EVENT, self._events)

    def clear(self) -> None:
        """Forget what waits, now that it is committed."""
        self._readings.clear()
        self._events.clear()

    def drop_events(self, kept: int) -> None:
        """Take back the events logged after the first `kept` that wait."""
        del self._events[kept:]

    @property
    def waiting_events(self) -> int:
        """How many events wait."""
        return len(self._events)

    def catch_up(self, connection: sqlite3.Connection) -> None:
        """Forget what the file has after all, and count on from there.

        A commit that was interrupted may have reached the disk or not; only the file knows.
        """
        query = "SELECT ifnull((SELECT max(id) FROM reading), 0), ifnull(max(id), 0) FROM event"
        reading, event = connection.execute(query).fetchone()
        self._readings = [row for row in self._readings if row[0] > reading]
        self._events = [row for row in self._events if row[0] > event]
        self._last_reading = self._readings[-1][0] if self._readings else reading
        self._last_event = self._events[-1][0] if self._events else event
