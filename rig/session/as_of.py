"""A job as it was when a session of it began."""

from collections.abc import Iterable
from dataclasses import replace

from rig.job.rows import Marker, Session, Shot
from rig.job.store import Job


class JobAsOf(Job):
    """The job's shots, markers and sessions as a session found them; all else is as of now.

    It looks through the open file of the job that it is made of, and closes with that one.

    Parameters
    ----------
    job : Job
        Open.
    session : Session
    """

    def __init__(self, job: Job, session: Session) -> None:
        super().__init__(job.path, job._connection, None)
        self._session = session

    def shots(self, kinds: Iterable[str] | None = None, current: bool = True) -> list[Shot]:
        """Shots that there were; only those current then unless said otherwise."""
        every = [shot for shot in super().shots(kinds, current=False) if self._is_earlier(shot)]
        if not current:
            return every
        then = {shot.id for shot in every}
        return [
            shot
            for shot in every
            if shot.superseded_by is None
            or (shot.superseded_by not in then and shot.superseded_by != shot.id)
        ]

    def markers(self) -> list[Marker]:
        """Markers of the layout, those that were set since then as not set."""
        begun = self._session.utc_s
        return [
            replace(marker, residual_mm=None) if (marker.set_utc_s or 0.0) >= begun else marker
            for marker in super().markers()
        ]

    def sessions(self) -> list[Session]:
        """Sessions before it."""
        return [session for session in super().sessions() if session.id < self._session.id]

    def _is_earlier(self, shot: Shot) -> bool:
        if shot.session_id is not None:
            return shot.session_id < self._session.id
        return shot.utc_s < self._session.utc_s
