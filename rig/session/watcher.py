"""Watches a survey from beside it: after each shot the floor so far, and a shot that looks wrong.

A thread of its own does the arithmetic and loads what that needs, so that no shot waits for it:
the watcher hears of a shot once it is on disk, and its news is fetched when there is any.
"""

import queue
import threading
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, assert_never

from rig.events import (
    CoverSoFar,
    Doubtful,
    Drifted,
    Event,
    HighSoFar,
    Jolted,
    Noticed,
    Picture,
    PutBack,
    SetAside,
    SetUp,
    ShotTaken,
    Undone,
)
from rig.language import say
from rig.survey.reading import z_mm
from rig.units import Units
from rig.words.floor import unlike_its_neighbours

if TYPE_CHECKING:
    from rig.job.rows import Shot
    from rig.job.settings import Settings
    from rig.job.store import Job
    from rig.surface.running import Glance

# Fewer shots than this contradict nothing yet.
_FEWEST = 8
_DOUBTED_ENOUGH = 3
_CELLS = 1_200
_LAST_WAIT_S = 10.0

Followed = ShotTaken | Undone | Drifted | Jolted | SetUp | SetAside | PutBack
"""Events that tell what became of a shot, or of the line."""
News = Doubtful | Picture | Noticed
_Place = tuple[float, float, float, float]  # x, y, z, standard error; mm


def watcher_of(job: "Job", kind: str, setup: str) -> "Watcher | None":
    """What looks at the floor while it is shot; nothing where something else is."""
    from rig.study.lasers import climb_of, shots_of

    if kind != "floor":
        return None
    climb_mm = climb_of(job, setup)
    rings, settings = job.outline_rings(), job.settings
    return Watcher(shots_of(job), setup, rings, settings, job.setups(), climb_mm)


class Watcher:
    """The running picture of one survey session.

    Parameters
    ----------
    shots : sequence of Shot
        Current shots of the job, all kinds, as the session starts, less what the laser's line
        climbs with distance where that is corrected.
    setup : str
        Of the session.
    rings : tuple
        Walls, openings and doors, as the job keeps them.
    settings : Settings
        Of the job: the minimum cover, for the volume so far.
    setups : sequence of str
        Of the job, in its order: the first is what heights are relative to.
    climb_mm : callable, optional
        What a shot of this session reads too much at x, y.
    """

    def __init__(
        self,
        shots: "Sequence[Shot]",
        setup: str,
        rings: Any,
        settings: "Settings",
        setups: Sequence[str] = (),
        climb_mm: Callable[[float | None, float | None], float] | None = None,
    ) -> None:
        climb_mm = climb_mm or _no_climb
        self._given = (list(shots), setup, rings, settings, setups, climb_mm)
        self._heard: queue.SimpleQueue[Followed | None] = queue.SimpleQueue()
        self._told: queue.SimpleQueue[News] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def hear(self, event: Event) -> None:
        """Take in a shot that was taken, undone, corrected or set aside; returns at once."""
        if not isinstance(event, Followed) or _is_of_a_skip(event):
            return
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="watcher", daemon=True)
            self._thread.start()
        self._heard.put(event)

    def news(self, last: bool = False) -> Iterable[News]:
        """Events since the last call; with `last` what is still being worked on too."""
        if last and self._thread is not None:
            self._heard.put(None)
            self._thread.join(_LAST_WAIT_S)
        while not self._told.empty():
            yield self._told.get()

    def close(self) -> None:
        """Let the thread end once it has worked off what it heard; waits for nothing."""
        self._heard.put(None)

    def _work(self) -> None:
        try:
            floor = _FloorSoFar(*self._given)
            going = True
            while going:
                heard = [self._heard.get()]
                while not self._heard.empty():
                    heard.append(self._heard.get())
                going = None not in heard
                events = [event for event in heard if event is not None]
                for n, event in enumerate(events, start=1):
                    # Every shot is judged, but only the latest picture is of use.
                    for told in floor.follow(event, latest=n == len(events)):
                        self._told.put(told)
        except Exception as error:  # the survey goes on without its picture
            self._told.put(Noticed(text=say("No picture while surveying: {error}", error=error)))


class _FloorSoFar:
    """What the watcher's thread knows: the shots in their order, and the picture of them."""

    def __init__(
        self,
        shots: "list[Shot]",
        setup: str,
        rings: Any,
        settings: "Settings",
        setups: Sequence[str],
        climb_mm: Callable[[float | None, float | None], float],
    ) -> None:
        from rig.errors import RigError
        from rig.room import Door, from_rings
        from rig.study.picture import cells_of
        from rig.surface.running import RunningPicture
        from rig.survey.heights import NEAR_WALL_MM, lines_of, outside_mm

        walls, openings, doors = rings
        self._outline = from_rings(walls, openings, tuple(Door(*door) for door in doors))
        self._settings, self._climb_mm = settings, climb_mm
        self._units = Units(settings.units, settings.denominator)
        floor = [shot for shot in shots if shot.kind == "floor"]
        try:
            lines = {line.setup: line.line_mm for line in lines_of(shots, "floor", setups)}
            self._line_mm = lines.get(setup, 0.0)
        except RigError:  # not tied yet: only this set-up's shots are of one line
            floor, lines, self._line_mm = [s for s in floor if s.setup == setup], {}, 0.0
        if lines and setup not in lines:
            floor = []
        away = outside_mm(self._outline, floor)
        floor = [shot for shot, off_mm in zip(floor, away, strict=True) if off_mm <= NEAR_WALL_MM]
        self._shots: dict[str, _Place] = {
            shot.point: (
                shot.x_mm,
                shot.y_mm,
                z_mm(shot.reading_mm, lines.get(shot.setup, 0.0)),
                shot.stderr_mm,
            )
            for shot in floor
            if shot.x_mm is not None and shot.y_mm is not None
        }
        self._doubted: dict[str, _Place] = {}
        self._in_a_row: list[str] = []
        self._before: list[tuple[str, _Place | None]] = []
        cells = cells_of(self._outline, _CELLS)
        self._picture: RunningPicture = RunningPicture(
            cells.x_mm, cells.y_mm, cells.share, cells.step_mm
        )
        self._picture.start(list(self._shots.values()))

    def follow(self, event: Followed, latest: bool) -> Iterable[News]:
        """Take in what became of a shot; tell what is to be said of it."""
        match event:
            case ShotTaken():
                yield from self._take(event, latest)
            case Undone():
                self._undo(event.label)
            case Drifted():
                self._correct(event)
            case Jolted() | SetAside():
                self._drop(event.labels)
            case PutBack():
                self._put_back(event)
            case SetUp():
                # Where the laser stands now nothing is known of its slope.
                self._climb_mm = _no_climb
                if event.line_mm is None:
                    self._line_mm += event.change_mm
                else:
                    self._line_mm = event.line_mm
            case _:
                assert_never(event)

    def _take(self, event: ShotTaken, latest: bool) -> Iterable[News]:
        from rig.surface.look_out import UNEXPLAINED_SDS

        label = event.label
        assert event.x_mm is not None
        assert event.y_mm is not None
        place = (event.x_mm, event.y_mm, self._height_mm(event), event.stderr_mm)
        old = self._shots.pop(label, None)
        self._before.append((label, old))
        if old is not None:
            self._picture.start(list(self._shots.values()))
        judged = self._picture.judge(*place)
        again = self._doubted.pop(label, None) is not None
        if judged and judged[1] > UNEXPLAINED_SDS and len(self._shots) >= _FEWEST and not again:
            text = unlike_its_neighbours(label, judged[0], self._units)
            yield Doubtful(label=label, off_mm=judged[0], text=text)
            self._keep_out(label, place)
            return
        self._in_a_row = []
        self._shots[label] = place
        glance = self._picture.add(*place)
        if glance is not None and latest:
            yield self._told(label, glance)

    def _undo(self, label: str) -> None:
        # Several rods take shots in turn, and each takes its own back.
        mine = [n for n, one in enumerate(self._before) if one[0] == label]
        name, old = self._before.pop(mine[-1] if mine else -1)
        self._shots.pop(name, None)
        self._doubted.pop(name, None)
        if old is not None:
            self._shots[name] = old
        self._picture.start(list(self._shots.values()))

    def _put_back(self, event: PutBack) -> None:
        self._shots |= {
            shot.label: (shot.x_mm, shot.y_mm, self._height_mm(shot), shot.stderr_mm)
            for shot in event.shots
            if shot.x_mm is not None and shot.y_mm is not None
        }
        # They come before all that can be undone.
        self._before[:0] = [(label, None) for label in event.labels]
        self._picture.start(list(self._shots.values()))

    def _keep_out(self, label: str, place: _Place) -> None:
        """Keep a doubted shot from making others doubtful.

        Where one after the other is doubted, or it is shot again and says the same, the floor is
        so.
        """
        self._doubted[label] = place
        self._in_a_row.append(label)
        if len(self._in_a_row) == _DOUBTED_ENOUGH:
            self._shots |= {
                name: self._doubted.pop(name) for name in self._in_a_row if name in self._doubted
            }
            self._in_a_row = []
            self._picture.start(list(self._shots.values()))

    def _height_mm(self, shot: ShotTaken) -> float:
        """Height of what a shot hit, relative to the line that all are."""
        return z_mm(shot.reading_mm - self._climb_mm(shot.x_mm, shot.y_mm), self._line_mm)

    def _correct(self, event: Drifted) -> None:
        """Take shots as they read once a drift was spread over them."""
        for shot in event.shots:
            for known in (self._shots, self._doubted):
                if shot.label in known:
                    x_mm, y_mm, *_ = known[shot.label]
                    place = (x_mm, y_mm, self._height_mm(shot), shot.stderr_mm)
                    known[shot.label] = place
        self._picture.start(list(self._shots.values()))

    def _drop(self, labels: Iterable[str]) -> None:
        """Forget shots that were set aside, and that they can be undone."""
        gone = set(labels)
        self._before = [step for step in self._before if step[0] not in gone]
        for known in (self._shots, self._doubted):
            for label in gone & known.keys():
                del known[label]
        self._in_a_row = [label for label in self._in_a_row if label not in gone]
        self._picture.start(list(self._shots.values()))

    def _told(self, label: str, glance: "Glance") -> Picture:
        from rig.study.plan_answer import USUAL_MIN_COVER_MM

        least = self._settings.min_cover_mm
        plane = glance.bound_mm + (USUAL_MIN_COVER_MM if least is None else least)
        return Picture(
            label=label,
            shots=glance.shots,
            high=HighSoFar(
                x_mm=glance.x_mm, y_mm=glance.y_mm, z_mm=glance.high_mm, upper_mm=glance.bound_mm
            ),
            cover_mm=CoverSoFar(
                min=plane - glance.high_mm,
                mean=plane - glance.mean_mm,
                max=plane - glance.low_mm,
            ),
            volume_l=(plane - glance.mean_mm) * self._outline.area_m2,
        )


def _no_climb(x_mm: float | None, y_mm: float | None) -> float:
    return 0.0


def _is_of_a_skip(event: Followed) -> bool:
    """Whether what was taken back is no shot."""
    return isinstance(event, Undone) and event.what is not None
