"""What several rods do in one job: each rod's sessions in their order, and who takes which place.

A rod is a set-up of its own, `1@rod-2` of the laser stand `1`, since each rod's zero is its own. It
shoots a benchmark first where heights of several have to be tied; then it goes where it is sent.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Protocol

from rig.devices.profile import load_profile
from rig.errors import BadInput
from rig.events import (
    Event,
    Jolted,
    MarkerSet,
    PutBack,
    SetAside,
    ShotTaken,
    Skipped,
    Undone,
    Unset,
)
from rig.language import say
from rig.record import from_json
from rig.session.begin import SetWish, SurveyWish
from rig.session.kind import Beginning, Kind
from rig.session.kinds.set import KIND as SET
from rig.session.kinds.set import SetSettings, has_line
from rig.session.kinds.survey import KIND as SURVEY
from rig.session.kinds.survey import LineBefore, SurveySettings
from rig.session.places import WALKED, Place, last_shot, places_to_shoot
from rig.session.source import boot_id, setup_of
from rig.study.line_before import line_of
from rig.study.rooms import everywhere, in_room
from rig.survey.setups import stand_of
from rig.survey.sharing import Sharing, Spot

if TYPE_CHECKING:
    from rig.devices.profile import Profile
    from rig.job.store import Job
    from rig.session.recorder import Recorder
    from rig.session.run import Machine
    from rig.session.scene import Scene
    from rig.session.watcher import Watcher
    from rig.survey.plausibility import Guard

BENCHMARK = "BM1"
"""The label of the benchmark that rods are tied by, where the job has none yet."""


class Shared(Protocol):
    """A machine that is sent from place to place."""

    @property
    def rests(self) -> bool:
        """Whether it waits to be sent somewhere."""


@dataclass(frozen=True)
class Leg:
    """One session of one rod.

    `ties` says that it is the sight of the benchmark, after which the walk comes; `tied` that the
    rod's line is known beside those of others.
    """

    begun: Beginning[Any]
    machine: "Machine"
    log: "Recorder"
    guard: "Guard | None"
    ties: bool = False
    tied: bool = True

    @property
    def rests(self) -> bool:
        """Whether its machine waits to be sent somewhere."""
        return bool(getattr(self.machine, "rests", False))


@dataclass(frozen=True)
class Start:
    """When and by what clock the sessions of one run begin: time 0 of all of them."""

    boot_id: str
    monotonic_s: float
    utc_s: float


def start_now(utc_s: float) -> Start:
    """Return the start of a run that begins now."""
    from rig.devices.clock import steady_s

    return Start(boot_id(), steady_s(), utc_s)


def next_stand(setups: Sequence[str]) -> str:
    """Return the name of the next stand, which counts on."""
    stands = {stand_of(name) for name in setups}
    return str(max([len(stands), *(int(name) for name in stands if name.isdecimal())]) + 1)


class Work:
    """What is to be done together; one of its kinds is begun by a command.

    Parameters
    ----------
    job : Job
        Open for writing. Nobody else may be at it while a leg begins.
    kind : Kind
    stand : str
        Where the laser stands.
    places : mapping of str to (x_mm, y_mm)
        What is left to do, in the order of the walk.
    known : mapping of str to (x_mm, y_mm)
        What was done before, and may be gone to by hand.
    start : Start
    log_limit : int or None
    """

    def __init__(
        self,
        job: "Job",
        kind: Kind[Any],
        stand: str,
        places: Mapping[str, Spot],
        known: Mapping[str, Spot],
        start: Start,
        log_limit: int | None,
    ) -> None:
        self.job, self.kind, self.stand = job, kind, stand
        self.sharing = Sharing(places, known)
        self._start, self._limit = start, log_limit

    def begin(self, rod: str, profile: "Profile", several: bool) -> Leg:
        """Begin a rod's next session; `several` rods take part."""
        raise NotImplementedError

    def watcher(self, leg: Leg) -> "Watcher | None":
        """Return who looks at the floor meanwhile, by this leg's line."""
        return None

    def scene(self, acts: tuple[str, ...] = ()) -> "Scene":
        """Return what a page shows of it, as it begins."""
        raise NotImplementedError

    def setup_of(self, rod: str) -> str:
        """Return a rod's set-up where the laser stands now."""
        return f"{self.stand}@{rod}"

    def _begun(self, settings: Any, setup: str, profile: "Profile | None") -> Beginning[Any]:
        start = self._start
        return Beginning(
            job=self.job,
            settings=settings,
            setup=setup,
            rod=profile,
            boot_id=start.boot_id,
            monotonic_s=start.monotonic_s,
            utc_s=start.utc_s,
        )

    def _leg(
        self, begun: Beginning[Any], log: "Recorder", ties: bool = False, tied: bool = True
    ) -> Leg:
        return Leg(begun, self.kind.machine(begun), log, self.kind.guard(begun), ties, tied)

    def _started(self, begun: Beginning[Any], rod: str) -> int:
        return begun.job.start_session(
            kind=self.kind.name,
            setup=begun.setup,
            source="site",
            profile_text=begun.rod.text_toml if begun.rod else "",
            capture=begun.settings.as_json(),
            boot_id=begun.boot_id,
            utc_s=begun.utc_s,
            monotonic_s=begun.monotonic_s,
            rod=rod,
            stand=stand_of(begun.setup),
        )


class SurveyWork(Work):
    """A survey of several rods."""

    def __init__(self, job: "Job", wish: SurveyWish, start: Start) -> None:
        with everywhere(job):
            points = places_to_shoot(in_room(job, wish.room), wish.kind, wish.labels, wish.at)
        known = {point.label: (point.x_mm, point.y_mm) for point in job.points()}
        self._points, self._wish = points, wish
        places = {label: (x or 0.0, y or 0.0) for label, x, y in points}
        stand = stand_of(setup_of(job, wish.setup))
        self._just_tied: set[str] = set()
        super().__init__(job, SURVEY, stand, places, known, start, wish.log_limit)

    def begin(self, rod: str, profile: "Profile", several: bool) -> Leg:
        """Begin with the benchmark where heights have to be tied, else with the walk."""
        setup, walked = self.setup_of(rod), self._wish.kind in WALKED
        with everywhere(self.job):
            shots = self.job.shots()
        others = several or any(shot.setup != setup for shot in shots)
        tied = any(shot.setup == setup and shot.kind == "benchmark" for shot in shots)
        if walked and others and not tied:
            return self._tie(rod, setup, profile)
        return self._walk(rod, setup, profile, tied or not walked)

    def _benchmark(self) -> str:
        """The benchmark to tie by: one that this stand has, else one that the job has."""
        with everywhere(self.job):
            marks = self.job.shots(kinds=["benchmark"])
        here = [shot.point for shot in marks if stand_of(shot.setup) == self.stand]
        return (here or [shot.point for shot in marks] or [BENCHMARK])[-1]

    def _tie(self, rod: str, setup: str, profile: "Profile") -> Leg:
        settings = self._settings(((self._benchmark(), None, None),), profile)
        begun = self._begun(replace(settings, kind="benchmark"), setup, profile)
        self._just_tied.add(rod)
        return self._leg(begun, self._recorder(begun, rod), ties=True)

    def _walk(self, rod: str, setup: str, profile: "Profile", tied: bool) -> Leg:
        job, wish = self.job, self._wish
        with everywhere(job):
            kept = line_of(job, setup, wish.kind, self._start.utc_s)
            marks = [shot for shot in job.shots(kinds=["benchmark"]) if shot.setup == setup]
        line = None if kept is None else from_json(LineBefore, kept)
        if line is not None:
            line = replace(line, anew=f"{next_stand(job.setups())}@{rod}")
        resumes = last_shot(job, wish.kind, setup)
        stays = bool(marks) and rod in self._just_tied
        if marks and (stays or resumes is None):
            resumes = (marks[-1].point, marks[-1].reading_mm)
        self._just_tied.discard(rod)
        walked = wish.kind in WALKED
        settings = replace(
            self._settings(tuple(self._points), profile),
            resumes_from=resumes,
            line=line,
            checks=walked and not wish.skip_check,
            opens=walked and not wish.skip_check and line is not None and line.opens,
            shared=True,
            stays=stays,
        )
        begun = self._begun(settings, setup, profile)
        return self._leg(begun, self._recorder(begun, rod), tied=tied)

    def _settings(self, points: tuple[Place, ...], profile: "Profile | None") -> SurveySettings:
        wish = self._wish
        return SurveySettings(
            dwell_s=wish.dwell,
            walk_s=wish.walk,
            still_mm=wish.still,
            rock=wish.rock,
            kind=wish.kind,
            units=self.job.units.system,
            points=points,
            undoes_skips=True,
            clamp_mm=profile.clamp_mm if profile else None,
        )

    def _recorder(self, begun: Beginning[Any], rod: str) -> "Recorder":
        return SURVEY.log(begun, self._started(begun, rod), self._limit, watched=False)

    def watcher(self, leg: Leg) -> "Watcher | None":
        """Return the running picture, by the line of the rod that comes first."""
        return SURVEY.watcher(leg.begun)

    def scene(self, acts: tuple[str, ...] = ()) -> "Scene":
        """Return what a page shows of it, as it begins."""
        settings = self._settings(tuple(self._points), None)
        return SURVEY.scene(self._begun(settings, self.stand, load_profile("sentence")), acts)


class SetWork(Work):
    """A setting of markers with several rods."""

    def __init__(self, job: "Job", wish: SetWish, start: Start) -> None:
        markers = job.markers()
        known = {marker.label: (marker.x_mm, marker.y_mm) for marker in markers}
        left = {one.label: known[one.label] for one in markers if not one.is_set}
        if wish.marker is not None:
            first = next((one for one in known if one.upper() == wish.marker.upper()), None)
            if first is None:
                raise BadInput(say("There is no marker {label!r}.", label=wish.marker))
            left = {first: known[first], **left}
        self._wish = wish
        stand = stand_of(setup_of(job, wish.setup))
        super().__init__(job, SET, stand, left, known, start, wish.log_limit)

    def begin(self, rod: str, profile: "Profile", several: bool) -> Leg:
        """Begin with the sight that ties the rod's line; a rod that is new here has to take it."""
        setup, settings = self.setup_of(rod), self._settings(profile)
        if settings.skip_check and not has_line(self.job, setup):
            settings = replace(settings, skip_check=False)
        begun = self._begun(settings, setup, profile)
        log = SET.log(begun, self._started(begun, rod), self._limit)
        return self._leg(begun, log)

    def _settings(self, profile: "Profile | None") -> SetSettings:
        wish = self._wish
        return SetSettings(
            dwell_s=wish.dwell,
            walk_s=wish.walk,
            still_mm=wish.still,
            tolerance_mm=wish.tolerance,
            skip_check=wish.skip_check,
            units=self.job.units.system,
            clamp_mm=profile.clamp_mm if profile else None,
            shared=True,
        )

    def scene(self, acts: tuple[str, ...] = ()) -> "Scene":
        """Return what a page shows of it, as it begins."""
        begun = self._begun(self._settings(None), self.stand, load_profile("sentence"))
        return SET.scene(begun, acts)


def follow(sharing: Sharing, rod: str, event: Event) -> None:
    """Let the sharing know what became of a place."""
    match event:
        case ShotTaken(label=label) if event.kind != "benchmark":
            sharing.done(rod, label)
        case MarkerSet(marker=label):
            sharing.done(rod, label)
        case Skipped(label=label):
            sharing.passed(rod, label)
        case Undone(label=label) | Unset(marker=label):
            sharing.undone(rod, label)
        case Jolted(labels=labels) | SetAside(labels=labels):
            sharing.again(labels)
        case PutBack(labels=labels):
            sharing.not_again(labels)
