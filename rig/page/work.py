"""Live sessions that are begun from a page: one at a time, each in a thread of its own.

They are the sessions of the command line: the same kinds, run by the same loop; what a terminal
gives there (keys, typed lines) comes from the page here.
"""

import asyncio
import contextlib
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from rig.devices.clock import Clock
from rig.errors import BadInput, RigError
from rig.events import Event, Noticed
from rig.job.store import Job
from rig.language import say
from rig.session import sources
from rig.session.begin import (
    CheckWish,
    DragWish,
    Hand,
    SetWish,
    SurveyWish,
    begin_drag,
    begin_pour,
    begin_setting,
    begin_survey,
)
from rig.session.items import Log
from rig.session.kind import Beginning, Kind, S
from rig.session.run import Machine, Sink, Stream, Tell, run
from rig.session.sections import Home, Typing
from rig.session.source import Source, SourceWish
from rig.study.rooms import in_room

if TYPE_CHECKING:
    from rig.page.server import Page
    from rig.room import Outline
    from rig.session.scene import Scene
    from rig.survey.plausibility import Guard

BEGIN_S = 6.0
END_S = 10.0


class SimulatedRod(Protocol):
    """A simulated rod that runs: where it is, and what it hears."""

    @property
    def wish(self) -> SourceWish:
        """Where its readings come from."""

    @property
    def clock(self) -> Clock:
        """Its world's."""

    @property
    def sinks(self) -> Sequence[Sink]:
        """Who hears what the tool says: its installer, who acts on it."""


Simulate = Callable[[str, "Outline", bool], AbstractContextManager[SimulatedRod]]
"""From a job's name, its room, and whether its floor is cured, to a rod that runs."""


@dataclass(frozen=True, slots=True)
class Rods:
    """What can be measured with: a simulated rod only where that is offered."""

    simulate: Simulate | None = None

    @property
    def simulated(self) -> bool:
        """Whether there is a simulated rod."""
        return self.simulate is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class PourBegins:
    """A pour that is wanted; `bags` are those on site, the plan's unless said."""

    bags: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A session that is wanted, and what it is to be read from; None is the simulated rod.

    `back` is the step to come back to, where that is not the one that comes next.
    """

    wish: SurveyWish | DragWish | SetWish | PourBegins | CheckWish
    source: SourceWish | None = None
    room: str | None = None
    back: str = ""

    def in_room(self, room: str | None) -> "Wanted":
        """Return what is wanted in one room; its line is the whole job's all the same."""
        wish = self.wish
        if isinstance(wish, SurveyWish | DragWish):
            wish = replace(wish, room=room)
        return replace(self, wish=wish, room=room)


@dataclass(frozen=True)
class _Begun:
    """A session about to run."""

    machine: Machine
    log: Log
    scene: "Scene"
    streams: Sequence[Stream]
    clock: Clock
    guard: "Guard | None" = None
    done: Callable[[], str] | None = None


class Work:
    """Runs what a page begins.

    Attributes
    ----------
    job : str or None
        Name of the job that a session is at work on.
    """

    def __init__(self, page: "Page", rods: Rods) -> None:
        self._page, self._rods = page, rods
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._begun = threading.Event()
        self._error: RigError | None = None
        self.job: str | None = None

    def at(self, name: str) -> bool:
        """Whether a session is at work on a job."""
        return self.job == name

    def begin(self, name: str, path: Path, wanted: Wanted, home: str) -> None:
        """Begin a session; it runs when this returns, or waits for its rod.

        Raises
        ------
        RigError
            Why it cannot begin.
        """
        with self._lock:
            if self.job is not None:
                raise BadInput(say("A session is at work on {job}: stop it first.", job=self.job))
            self.job, self._error = name, None
            self._begun.clear()
        work = partial(self._work, name, path, wanted, home)
        self._thread = threading.Thread(target=work, name="session", daemon=True)
        self._thread.start()
        self._begun.wait(BEGIN_S)
        if self._error is not None:
            self._thread.join(END_S)
            raise self._error

    def stop(self) -> None:
        """End the session that runs, with all kept."""
        self._page.do("quit")
        if self._thread is not None:
            self._thread.join(END_S)

    def close(self) -> None:
        """End the session that runs, and wait for it."""
        if self.job is not None:
            self.stop()

    # --- in the session's thread ------------------------------------------------------------

    def _work(self, name: str, path: Path, wanted: Wanted, home: str) -> None:
        # What runs sessions holds 50 MB; a box that only shows its jobs goes without.
        from rig.session.mending import mend

        try:
            with (
                self._rod(name, path, wanted) as (source, sinks, clock),
                Job.open(path, write=True) as job,
            ):
                for text in mend(job):
                    self._complain(text)
                if not isinstance(wanted.wish, SurveyWish | DragWish):
                    in_room(job, wanted.room)
                begun = self._prepared(job, wanted, source, clock)
                begun.scene.sections.home = Home(href=home, text=name)
                self._page.begin(begun.scene)
                told = [Tell(self._hear), *sinks]
                work = run(begun.machine, begun.streams, begun.log, told, begun.clock, begun.guard)
                asyncio.run(work)
                if begun.done is not None:
                    self._page.over(begun.done())
        except RigError as error:
            self._error = error
            self._page.over(error.text)
        except Exception as error:  # the server goes on
            self._error = BadInput(say("The session failed: {error!r}", error=error))
            self._page.over(say("The session failed; what was shot is kept."))
            raise
        finally:
            self.job = None
            self._page.over("")
            self._begun.set()

    def _hear(self, event: Event) -> None:
        self._begun.set()
        self._page.hear(event)

    def _complain(self, text: str) -> None:
        self._page.hear(Noticed(time_s=0.0, text=text))

    @contextlib.contextmanager
    def _rod(
        self, name: str, path: Path, wanted: Wanted
    ) -> Iterator[tuple[SourceWish, Sequence[Sink], Clock | None]]:
        if isinstance(wanted.wish, PourBegins) or wanted.source is not None:
            yield wanted.source or SourceWish(), (), None
            return
        if self._rods.simulate is None:
            raise BadInput(
                say("No simulated rod is offered here: begin with rig serve --simulate.")
            )
        from rig.study.room import outline_of

        with Job.open(path) as job:
            outline, cured = outline_of(job), bool(job.events(["pour_done"]))
        with self._rods.simulate(name, outline, cured) as rod:
            yield rod.wish, rod.sinks, rod.clock

    def _prepared(
        self, job: Job, wanted: Wanted, source: SourceWish, clock: Clock | None
    ) -> _Begun:
        from rig.session.kinds.set import KIND as SET
        from rig.session.kinds.survey import KIND as SURVEY

        match wanted.wish:
            case SurveyWish() as wish:
                begun, opened = begin_survey(job, wish, source, self._hand(clock))
                return self._read(SURVEY, begun, opened, source, wish.log_limit)
            case DragWish() as wish:
                from rig.session.kinds.drag import KIND as DRAG

                slide, opened = begin_drag(job, wish, source, self._hand(clock))
                return self._read(DRAG, slide, opened, source, wish.log_limit)
            case SetWish() as wish:
                setting, opened = begin_setting(job, wish, source, self._hand(clock))
                return self._read(SET, setting, opened, source, wish.log_limit)
            case CheckWish() as wish:
                return self._check(job, wish, source, clock)
            case PourBegins(bags=bags):
                return self._pour(job, bags)

    def _read(
        self,
        kind: Kind[S],
        begun: Beginning[S],
        opened: Source,
        source: SourceWish,
        log_limit: int | None,
    ) -> _Begun:
        """Prepare a session of a kind that reads a rod or a tape."""
        log = kind.log(begun, partial(kind.start, begun, opened.name), log_limit)
        scene = kind.scene(begun, (*kind.acts, "quit"))
        if source.typed:
            unit = source.unit or begun.job.settings.typed_unit or ""
            scene.sections.typing = Typing(unit=unit)
        assert opened.clock is not None
        return _Begun(
            machine=kind.machine(begun),
            log=log,
            scene=scene,
            streams=[opened.items, Stream(self._page.acts(opened.clock))],
            clock=opened.clock,
            guard=kind.guard(begun),
        )

    def _pour(self, job: Job, bags: float | None) -> _Begun:
        from rig.session.kinds.pour import KIND as POUR

        begun = begin_pour(job, bags)
        clock = Clock()
        acts = sources.watched(self._page.acts(clock), clock)
        return _Begun(
            machine=POUR.machine(begun),
            log=POUR.log(begun, POUR.start(begun, "page")),
            scene=POUR.scene(begun, (*POUR.acts, "quit")),
            streams=[Stream(acts)],
            clock=clock,
        )

    def _check(self, job: Job, wish: CheckWish, source: SourceWish, clock: Clock | None) -> _Begun:
        from rig.session.checks import begin_check

        check = begin_check(job, wish, source, self._hand(clock))
        if source.typed:
            unit = source.unit or job.settings.typed_unit or ""
            check.scene.sections.typing = Typing(unit=unit)
        assert check.opened.clock is not None
        acts = Stream(self._page.acts(check.opened.clock))
        return _Begun(
            machine=check.machine,
            log=check.log,
            scene=check.scene,
            streams=[check.opened.items, acts],
            clock=check.opened.clock,
            done=check.done,
        )

    def _hand(self, clock: Clock | None) -> Hand:
        return Hand(
            clock=clock, lines=self._page.lines, kept=self._page.typed_in, complain=self._complain
        )
