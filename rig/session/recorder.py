"""Write a live session into the job: items with their times, shots before they are announced."""

import contextlib
import queue
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from rig.devices.reading import Back, Battery, Lost, Notice, Reading
from rig.events import (
    Checked,
    Dragged,
    Drifted,
    Event,
    Jolted,
    LineChecked,
    MarkerSet,
    Noticed,
    PutBack,
    SetAside,
    SetUp,
    ShotTaken,
    Skipped,
    Trouble,
    Undone,
    Unset,
)
from rig.job.store import Job
from rig.language import numeral, say
from rig.session.items import (
    Act,
    Clocked,
    End,
    FromRod,
    Item,
    Late,
    Log,
    Missing,
    Question,
    Settled,
    Typed,
)
from rig.session.watcher import Watcher

_KEPT = (
    ShotTaken,
    Skipped,
    Undone,
    Checked,
    LineChecked,
    Drifted,
    Jolted,
    SetUp,
    SetAside,
    PutBack,
    MarkerSet,
    Unset,
    Dragged,
)


class Recorder(Log):
    """The job's side of one session.

    Parameters
    ----------
    job : Job
        Open for writing.
    session : int or callable
        From `Job.start_session`; or what starts one and returns it, called once the source is
        reached, so that a rod that is not there leaves no session behind.
    ties_line : bool
        The set-up is new: its check sight is kept as a benchmark shot, which ties its line.
    watcher : Watcher, optional
        Hears of each floor shot once it is on disk.
    setup : str
        Of the session: which line a check is about.
    most_bytes : int, optional
        Once the job is so large, plain readings are not logged any more; shots, acts and what
        happens to the link still are. Such a session cannot be replayed to its end.
    """

    def __init__(
        self,
        job: Job,
        session: int | Callable[[], int],
        *,
        ties_line: bool = False,
        watcher: Watcher | None = None,
        setup: str = "",
        most_bytes: int | None = None,
    ) -> None:
        self._job = job
        self._start = session
        self._session = 0 if callable(session) else session
        self._ties_line = ties_line
        self._watcher = watcher
        self._most_bytes = most_bytes
        self._log_is_full = False
        self._now = (0.0, self._started())
        self._setup = setup
        self._anew: str | None = None  # the set-up that the laser was found in meanwhile
        self._last_checked = 0
        self._box_s: float | None = None
        self._jolted: list[int] = []
        self._taken: list[tuple[str, int]] = []  # labels and ids that can be undone, last one last
        self._news: queue.SimpleQueue[Event] = queue.SimpleQueue()  # asked for by another thread

    @property
    def shots(self) -> int:
        """How many the session has taken, less those taken back or set aside."""
        return len(self._taken)

    def begin(self) -> None:
        """Start the session, where the source had to be reached first."""
        if callable(self._start):
            self._session = self._start()
            self._now = (0.0, self._started())

    def _started(self) -> float:
        """Wall clock at time 0 of the session, for what is told before anything came."""
        sessions = self._job.sessions() if self._session else []
        return next((one.utc_s for one in sessions if one.id == self._session), 0.0)

    def item(self, item: Item) -> None:
        """Keep one item as it came; it reaches the disk with the next shot or within a second."""
        job, session = self._job, self._session
        match item:
            case Reading():
                self._now = (item.time_s, item.utc_s)
                if self._log_is_full:
                    return
                job.log_reading(
                    session,
                    time_s=item.time_s,
                    utc_s=item.utc_s,
                    raw=item.raw,
                    value_mm=item.value_mm,
                    status=item.status,
                    seq=item.seq,
                    box_s=self._box_s,
                )
            case Typed(reading, _):
                self.item(reading)
            case Act():
                self._now = (item.time_s, item.utc_s)
                data = {"act": item.name, "argument": item.argument}
                job.log_event(session, item.time_s, item.utc_s, "act", data)
            case FromRod():
                self._box_s = item.box_s
                self.item(item.item)
            case Late():
                job.log_event(session, item.time_s, item.utc_s, "late", {"raw": item.raw})
            case Clocked():
                told = {"offset_s": item.offset_s, "doubt_s": item.doubt_s}
                job.log_event(session, item.time_s, item.utc_s, "clock", told)
            case Lost() | Missing():
                job.log_event(session, item.time_s, item.utc_s, "lost", {"reason": item.reason})
            case Back():
                job.log_event(session, item.time_s, item.utc_s, "back", {"gap_s": item.gap_s})
            case Battery():
                told = {"percent": item.percent}
                job.log_event(session, item.time_s, item.utc_s, "battery", told)
            case Notice():
                job.log_event(session, item.time_s, item.utc_s, "notice", {"text": item.text})
            case Question():
                told = item.asks.as_json()
                job.log_event(session, item.time_s, item.utc_s, "asked", told)
            case Settled():
                job.update_settings(replace(job.settings, typed_unit=item.unit))
            case End():
                job.log_event(session, item.time_s, self._now[1], "end", {})

    def holds(self, item: Item | None, events: Iterable[Event]) -> bool:
        """Nobody hears of a shot, a marker, or what became of one, before it is on the disk."""
        return any(isinstance(event, _KEPT) for event in events)

    def together(self) -> contextlib.AbstractContextManager[None]:
        """Make one change of all that is kept in the block."""
        return self._job.together()

    def keep(self, *events: Event) -> None:
        """Commit what the machine decided and the item that it came of, all or nothing."""
        durable = any(isinstance(event, _KEPT) for event in events)
        with self._job.together() if durable else contextlib.nullcontext():
            for event in events:
                self._keep(event)
        for event in events:
            if isinstance(event, ShotTaken) and event.kind == "benchmark":
                self._ties(event.time_s, self._now[1])
            if self._watcher is not None:
                self._watcher.hear(event)

    def _keep(self, event: Event) -> None:
        time_s, utc_s = self._now
        match event:
            case ShotTaken():
                self._taken.append((event.label, self._add_shot(event, event.kind, utc_s)))
            case Undone(what="skip"):
                told = {"label": event.label}
                self._job.log_event(self._session, time_s, utc_s, "unskipped", told)
            case Skipped():
                told = {"label": event.label}
                self._job.log_event(self._session, time_s, utc_s, "skipped", told)
            case Undone():
                self._job.supersede(self._taken.pop()[1])
            case Checked() | LineChecked():
                self._checked(event, utc_s)
            case Drifted():
                self._correct(event, time_s, utc_s)
            case Jolted():
                gone = self._out_of_use(event.kind, event.labels, self._setup)
                self._jolted = gone
                data = {**event.as_json(), "shots": gone, "checked": self._last_checked}
                self._job.log_event(self._session, time_s, utc_s, "jolt", data)
            case SetAside():
                gone = self._out_of_use(event.kind, event.labels, event.setup)
                data = {**event.as_json(), "shots": gone}
                self._job.log_event(self._session, time_s, utc_s, "set_aside", data)
            case SetUp():
                self._set_up(event, utc_s)
            case PutBack():
                self._put_back(event, time_s, utc_s)
            case MarkerSet():
                self._job.set_marker(
                    event.marker,
                    residual_mm=event.residual_mm,
                    reading_mm=event.reading_mm,
                    stderr_mm=event.stderr_mm,
                    n=event.n,
                    session_id=self._session,
                    time_s=event.time_s,
                    utc_s=utc_s,
                )
            case Trouble() | Dragged():
                self._log_told(event, time_s, utc_s)
            case Unset():
                self._job.unset_marker(event.marker)

    def _log_told(self, event: Trouble | Dragged, time_s: float, utc_s: float) -> None:
        data = {key: value for key, value in event.as_json().items() if key != "event"}
        kind = "trouble" if isinstance(event, Trouble) else "drag"
        self._job.log_event(self._session, time_s, utc_s, kind, data)

    def news(self, last: bool = False) -> Iterable[Event]:
        """Tell what the watcher found meanwhile; with `last` all that it still will."""
        while not self._news.empty():
            yield self._news.get()
        if self._watcher is not None:
            yield from self._watcher.news(last)

    def flush(self) -> None:
        """Commit what is still in memory, and see whether the log may grow on."""
        self._job.flush()
        if self._most_bytes is None or self._log_is_full:
            return
        if self._job.size_bytes > self._most_bytes:
            self._log_is_full = True
            text = say(
                "The log has reached {most_bytes} MB (--log-limit): readings are not kept "
                "any more, shots are; this session cannot be replayed to its end.",
                most_bytes=numeral(self._most_bytes / 1000000.0, "g"),
            )
            self._job.log_event(self._session, *self._now, say("log full"), {"text": text})
            self._news.put(Noticed(time_s=self._now[0], text=text))

    def _checked(self, event: Checked | LineChecked, utc_s: float) -> None:
        setup = (event.setup if isinstance(event, LineChecked) else None) or self._setup
        data = event.as_json() | {"setup": setup, "after_shot": self._last_shot()}
        self._last_checked = self._job.log_event(
            self._session, event.time_s, utc_s, "checked", data
        )
        if self._ties_line:
            self._ties_line = False
            self._add_shot(event, "benchmark", utc_s)

    def _set_up(self, event: SetUp, utc_s: float) -> None:
        """Go on in a set-up of its own, which the sight ties."""
        before, self._setup, self._anew = self._setup, event.name, event.name
        shot = self._add_shot(event, "benchmark", utc_s)
        data = {**event.as_json(), "before": before, "shot": shot, "checked": self._last_checked}
        self._job.log_event(self._session, event.time_s, utc_s, "setup", data)

    def _correct(self, event: Drifted, time_s: float, utc_s: float) -> None:
        """Put shots that a drift was spread over in the place of what they were."""
        data = {key: value for key, value in event.as_json().items() if key != "shots"}
        rows = []
        for shot in event.shots:
            row = {key: value for key, value in shot.as_json().items() if key != "event"}
            rows.append({"point": row.pop("label"), "utc_s": utc_s, **row})
        labels = [shot.label for shot in event.shots]
        uncorrected = self._in_use(None, labels, self._setup)
        corrected = self._job.correct_shots(self._session, rows, setup=self._anew)
        data |= {"uncorrected": uncorrected, "shots": corrected, "checked": self._last_checked}
        self._job.log_event(self._session, time_s, utc_s, "drift", data)
        now = dict(zip(labels, corrected, strict=True))
        self._taken = [(label, now.get(label, one)) for label, one in self._taken]

    def _put_back(self, event: PutBack, time_s: float, utc_s: float) -> None:
        """Put shots in use again; they come before all that can be undone."""
        wanted = {label: n for n, label in enumerate(event.labels)}
        labels = {s.id: s.point for s in self._job.shots(current=False) if s.id in self._jolted}
        ids = [one for one in self._jolted if labels[one] in wanted]
        back = sorted(self._job.put_back(ids), key=lambda one: wanted[labels[one]])
        data = {"label": event.label, "labels": list(event.labels), "shots": back}
        self._job.log_event(self._session, time_s, utc_s, "in_use", data)
        self._taken[:0] = [(labels[one], one) for one in back]

    def _out_of_use(self, kind: str, labels: Sequence[str], setup: str) -> list[int]:
        """Set the shots of these labels aside and return their ids."""
        gone = self._in_use(kind, labels, setup)
        self._job.set_aside(gone)
        self._taken = [(label, one) for label, one in self._taken if one not in gone]
        return gone

    def _in_use(self, kind: str | None, labels: Sequence[str], setup: str) -> list[int]:
        kinds = ("floor", "finished", "threshold") if kind is None else (kind,)
        current = self._job.shots(kinds=kinds)
        return [shot.id for shot in current if shot.setup == setup and shot.point in labels]

    def _last_shot(self) -> int:
        return max((shot.id for shot in self._job.shots(current=False)), default=0)

    def _ties(self, time_s: float, utc_s: float) -> None:
        """Tell where the benchmarks, with the one just shot, contradict each other."""
        from rig.study.lasers import tie_warnings

        for text in tie_warnings(self._job):
            told = Trouble(text=text, reason="ties")
            self._job.log_event(self._session, time_s, utc_s, "trouble", told.as_json())
            self._news.put(told)

    def _add_shot(
        self, event: ShotTaken | Checked | LineChecked | SetUp, kind: str, utc_s: float
    ) -> int:
        # A survey checks its line on a benchmark, whose place the job knows.
        x_mm, y_mm = (None, None) if isinstance(event, LineChecked) else (event.x_mm, event.y_mm)
        return self._job.add_shot(
            self._session,
            point=event.label,
            x_mm=x_mm,
            y_mm=y_mm,
            reading_mm=event.reading_mm,
            stderr_mm=event.stderr_mm,
            n=event.n,
            kind=kind,
            time_s=event.time_s,
            utc_s=utc_s,
            setup=self._anew,
        )
