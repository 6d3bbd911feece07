"""The survey: the points of a walk, shot hands-free."""

from collections.abc import Callable, Container, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from rig.events import ShotTaken
from rig.language import say
from rig.record import Record
from rig.room import Outline, contains, where
from rig.session.beam import DARK_S
from rig.session.kind import Beginning, Kind, check_numbers, guard_of
from rig.session.recorder import Recorder
from rig.session.watcher import Watcher, watcher_of
from rig.survey.capture import Capture, Stand
from rig.survey.doubted import Begun, Doubt
from rig.survey.laser.line_watch import Known
from rig.survey.plausibility import Guard
from rig.survey.shared_walk import SharedWalk
from rig.units import System

if TYPE_CHECKING:
    from rig.session.scene import Scene

ShotKind = Literal["floor", "finished", "benchmark", "threshold"]
_TITLES: dict[ShotKind, str] = {
    "floor": say("Survey"),
    "finished": say("Finished floor"),
    "benchmark": say("Benchmark"),
    "threshold": say("Threshold"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownMark(Record):
    """What is known of a line as a session begins, as `Known` says it."""

    label: str
    reading_mm: float
    stderr_mm: float
    offset_mm: float = 0.0
    offset_stderr_mm: float = 0.0
    checked_s: float = 0.0
    x_mm: float | None = None
    y_mm: float | None = None
    setup: str = ""
    is_fixed: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtBefore(Record):
    """Shots of an earlier set-up that nothing vouches for, as `Doubt` says it."""

    setup: str
    shots: tuple[ShotTaken, ...]
    change_mm: float
    stderr_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LineBefore(Record):
    """A set-up's line, and the shots since it was last seen to be good.

    Attributes
    ----------
    opens : bool
        Shots stand on it: a session begins with a sight.
    anew : str
        Name for a set-up that the laser is found in at another height.
    line_mm : float or None
        The line over that of set-up 1.
    doubt : DoubtBefore or None
        What an earlier session left open.
    """

    known: KnownMark
    earlier: tuple[ShotTaken, ...]
    opens: bool = False
    anew: str = ""
    line_mm: float | None = None
    doubt: DoubtBefore | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveySettings(Record):
    """What a survey goes by.

    Attributes
    ----------
    points : tuple of (label, x_mm, y_mm)
        In the order of the walk.
    resumes_from : (label, reading_mm) or None
        The shot that an earlier walk under this line stopped at.
    line : LineBefore or None
        Where the set-up has a benchmark.
    checks : bool
        Whether the walk goes back to it.
    opens : bool
        Whether the session begins with a sight of it.
    undoes_skips : bool
        To undo takes back a skip too, as since there is `rig undo`.
    units : str or None
        Of what is typed.
    shared : bool
        Of one of several rods, which is sent from point to point.
    stays : bool
        The rod stands where it was shot last, and nothing that it said since was missed.
    """

    dwell_s: float
    walk_s: float
    still_mm: float
    rock: bool = False
    kind: ShotKind = "floor"
    units: System | None = None
    points: tuple[tuple[str, float | None, float | None], ...]
    resumes_from: tuple[str, float] | None = None
    line: LineBefore | None = None
    checks: bool = False
    opens: bool = False
    undoes_skips: bool = False
    clamp_mm: float | None = None
    shared: bool = False
    stays: bool = False

    def __post_init__(self) -> None:
        check_numbers(dwell_s=self.dwell_s, walk_s=self.walk_s, still_mm=self.still_mm)


class Survey(Kind[SurveySettings]):
    """Shots of the floor, of benchmarks and of thresholds."""

    name = "survey"
    settings = SurveySettings

    def machine(self, begun: Beginning[SurveySettings]) -> Capture:
        """Return the capture of the points, those of earlier walks that a jolt may reopen too."""
        settings, outline, units = begun.settings, begun.outline, begun.units
        stands = [
            Stand(
                label,
                x_mm,
                y_mm,
                "" if x_mm is None or y_mm is None else where(outline, x_mm, y_mm, units.system),
            )
            for label, x_mm, y_mm in settings.points
        ]
        label, reading_mm = settings.resumes_from or (None, None)
        line, earlier, doubted, skips = None, [], [], settings.undoes_skips
        by_tape = begun.by_tape
        begins = Begun(undoes_skips=skips, by_tape=by_tape)
        if settings.line is not None:
            kept = settings.line
            line = _known(kept.known, outline, units.system)
            asked = {stand.label for stand in stands}
            earlier = _to_ask_again(outline, kept.earlier, asked)
            doubt = None
            if kept.doubt is not None:
                doubted = _to_ask_again(outline, kept.doubt.shots, asked)
                doubt = Doubt(
                    kept.doubt.setup, tuple(doubted), kept.doubt.change_mm, kept.doubt.stderr_mm
                )
            begins = Begun(settings.opens, kept.anew, kept.line_mm, doubt, skips, by_tape)
            stands += [
                Stand(
                    shot.label,
                    shot.x_mm,
                    shot.y_mm,
                    where(outline, shot.x_mm, shot.y_mm, units.system),
                )
                for shot in (*earlier, *doubted)
                if shot.x_mm is not None and shot.y_mm is not None
            ]
        begins = replace(begins, stays=settings.stays)
        walk = SharedWalk if settings.shared else Capture
        return walk(
            stands,
            kind=settings.kind,
            dwell_s=settings.dwell_s,
            walk_s=settings.walk_s,
            still_mm=settings.still_mm,
            rock=settings.rock,
            resolution_mm=begun.resolution_mm,
            foot_mm=begun.foot_mm,
            last_shot_mm=reading_mm,
            last_label=label,
            done=[shot.label for shot in (*earlier, *doubted)],
            line=line,
            checks=settings.checks,
            earlier=earlier,
            begun=begins,
            show=units.length,
        )

    def guard(self, begun: Beginning[SurveySettings]) -> Guard:
        """Doubt shots that no floor makes."""
        return guard_of(begun.job, begun.setup, begun.rod)

    def watcher(self, begun: Beginning[SurveySettings]) -> Watcher | None:
        """Look at the floor while it is shot."""
        return watcher_of(begun.job, begun.settings.kind, begun.setup)

    def log(
        self,
        begun: Beginning[SurveySettings],
        session: int | Callable[[], int],
        most_bytes: int | None = None,
        watched: bool = True,
    ) -> Recorder:
        """Keep the shots, and let the watcher hear of them."""
        return Recorder(
            begun.job,
            session,
            watcher=self.watcher(begun) if watched else None,
            setup=begun.setup,
            most_bytes=most_bytes,
        )

    def scene(
        self,
        begun: Beginning[SurveySettings],
        acts: tuple[str, ...] = (),
        quiet_s: float = DARK_S,
    ) -> "Scene":
        """Show where to go next, how still the rod is, what was taken."""
        from rig.session.scene import Scene, measures_of
        from rig.session.sections import places_of, plan_of

        job, settings = begun.job, begun.settings
        rows = [(point.label, point.x_mm, point.y_mm) for point in job.points()]
        known = {label for label, _, _ in rows}
        rows += [
            (label, x_mm, y_mm)
            for label, x_mm, y_mm in settings.points
            if label not in known and x_mm is not None and y_mm is not None
        ]
        wanted = {label for label, _, _ in settings.points}
        done = {shot.point for shot in job.shots(kinds=[settings.kind])} - wanted
        return Scene(
            "survey",
            _TITLES[settings.kind],
            begun.units,
            plan_of(begun.outline),
            places_of(rows, done),
            measures=measures_of(begun.outline, begun.units),
            acts=acts,
            quiet_s=quiet_s,
            by_tape=begun.by_tape,
        )


def _known(mark: KnownMark, outline: Outline, units: System) -> Known:
    place = ""
    if mark.x_mm is not None and mark.y_mm is not None:
        place = where(outline, mark.x_mm, mark.y_mm, units)
    return Known(**mark.as_json(), where=place)


def _to_ask_again(
    outline: Outline, shots: Iterable[ShotTaken], asked: Container[str]
) -> list[ShotTaken]:
    """Return earlier shots that a sight may set aside: not those that are shot anew anyway."""
    return [shot for shot in shots if shot.label not in asked and _is_inside(outline, shot)]


def _is_inside(outline: Outline, shot: ShotTaken) -> bool:
    """Whether a shot still lies on the floor, whose walls may have been mended since."""
    if shot.x_mm is None or shot.y_mm is None:
        return True
    return bool(contains(outline, shot.x_mm, shot.y_mm).all())


KIND = Survey()
