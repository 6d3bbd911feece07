"""Does again, in the replay of a job, what was done there between its sessions.

Tables, relabellings and what was taken back change which shots count. Ids differ from job to job,
so each shot and event is known by its place in its session.
"""

from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rig.errors import RigError
from rig.study.acts import KINDS, UNDONE
from rig.study.aside import EVENT, put_aside
from rig.study.undo import act_called, take_back

if TYPE_CHECKING:
    from rig.job.rows import Session, StoredEvent
    from rig.job.store import Job

_BETWEEN = ("relabel", "import", EVENT, UNDONE)


class ActsAgain:
    """What is left to be done again of one job in another.

    Parameters
    ----------
    old : Job
        Whose sessions are replayed.
    new : Job
        Open for writing.
    """

    def __init__(self, old: "Job", new: "Job") -> None:
        self._old, self._new = old, new
        self._left = old.events(_BETWEEN)
        self._shots: dict[int, int] = {}
        self._events: dict[int, int] = {}

    def until(self, utc_s: float) -> None:
        """Do what was done before a time of day."""
        while self._left and self._left[0].utc_s <= utc_s:
            event = self._left.pop(0)
            match event.kind:
                case "relabel":
                    self._relabel(event)
                case "import":
                    self._import(event)
                case "set_aside":
                    self._set_aside(event)
                case _:
                    self._undo(event)

    def replayed(self, session: "Session") -> None:
        """Know the shots and events of a session that was replayed just now."""
        mine = self._new.sessions()[-1].id
        pairs = zip(_shots_of(self._old, session.id), _shots_of(self._new, mine), strict=False)
        self._shots |= {old: new for old, new in pairs if old not in self._shots}
        events = zip(_events_of(self._old, session.id), _events_of(self._new, mine), strict=False)
        self._events |= dict(events)

    def _relabel(self, event: "StoredEvent") -> None:
        places = {shot.id: shot for shot in self._old.shots(current=False)}
        moves, old = [], []
        for move in event.moves:
            shot = places[move.new]
            if move.shot in self._shots:
                moves.append((self._shots[move.shot], shot.point, shot.x_mm, shot.y_mm))
                old.append(move.new)
        new = self._new.relabel(moves)
        self._shots |= dict(zip(old, new, strict=True))
        self._know(event)

    def _import(self, event: "StoredEvent") -> None:
        shots = [s for s in self._old.shots(current=False) if s.id in event.imported]
        keys = ("point", "x_mm", "y_mm", "reading_mm", "stderr_mm", "setup", "kind", "n")
        new = self._new.import_shots(
            {key: value for key, value in asdict(shot).items() if key in keys} for shot in shots
        )
        self._shots |= {shot.id: one for shot, one in zip(shots, new, strict=True)}
        self._know(event)

    def _set_aside(self, event: "StoredEvent") -> None:
        """Set aside what a hand did; what a session did comes with its replay."""
        if not event.data.get("by_hand"):
            return
        wanted = {self._shots[one] for one in event.data["shots"] if one in self._shots}
        shots = [one for one in self._new.shots() if one.id in wanted]
        if shots:
            put_aside(self._new, shots)
            self._know(event)

    def _know(self, event: "StoredEvent") -> None:
        self._events[event.id] = self._new.events([event.kind])[-1].id

    def _undo(self, event: "StoredEvent") -> None:
        act = str(event.data["act"])
        known: Mapping[str, dict[int, int]] = {"s": self._shots, "e": self._events}
        wanted = known.get(act[:1], {}).get(int(act[1:]))
        if wanted is None:
            return  # of a kind of session that is not replayed here, or of the room
        try:
            take_back(self._new, act_called(self._new, f"{act[:1]}{wanted}"))
        except RigError:
            return


def _shots_of(job: "Job", session: int) -> list[int]:
    return [shot.id for shot in job.shots(current=False) if shot.session_id == session]


def _events_of(job: "Job", session: int) -> list[int]:
    told: list[Any] = list(job.stored_messages(session))
    return [one.id for one in told if one.what == "event" and one.kind in KINDS]
