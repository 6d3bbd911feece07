"""A kind of live session as one object: settings, machine, guard, log, watcher, scene.

A session of any kind is begun, followed, replayed and shown by the same code, which asks its kind.
Those there are stand in `rig.session.kinds`; what a kind does not say is as here.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from rig.record import Record, from_json
from rig.room import Outline
from rig.session.beam import DARK_S
from rig.session.items import Log
from rig.session.keys import HELP, KeyParser, Parser
from rig.session.run import Machine
from rig.study.room import outline_of
from rig.study.sense import sense_of
from rig.survey.plausibility import Guard
from rig.survey.table_doubts import LONGEST_TYPED_MM, SHORTEST_TYPED_MM
from rig.units import Units

if TYPE_CHECKING:
    from rig.devices.profile import Profile
    from rig.job.store import Job
    from rig.session.scene import Scene
    from rig.session.watcher import Watcher

WALK_ACTS = ("accept", "undo", "skip", "goto")

S = TypeVar("S", bound=Record)


@dataclass(frozen=True, kw_only=True)
class Beginning(Generic[S]):
    """What a session begins with, now or in a replay of it.

    Attributes
    ----------
    job : Job
        As it is when the session begins.
    settings : Record
        Of the kind; what the job keeps of them.
    setup : str
        Name of the laser's position.
    rod : Profile or None
        How the rod speaks; None where readings are typed.
    boot_id, monotonic_s, utc_s
        The machine's start, its steady clock, and the time of day, at time 0 of the session.
    """

    job: "Job"
    settings: S
    setup: str
    rod: "Profile | None" = None
    boot_id: str = ""
    monotonic_s: float | None = None
    utc_s: float = 0.0

    @cached_property
    def outline(self) -> Outline:
        """The job's outline, with openings and doors."""
        return outline_of(self.job)

    @cached_property
    def units(self) -> Units:
        """Of the job."""
        return self.job.units

    @property
    def resolution_mm(self) -> float:
        """One digit of the rod's display."""
        return self.rod.resolution_mm if self.rod else 0.0

    @property
    def by_tape(self) -> bool:
        """Whether readings are typed, so that nobody holds a rod."""
        return self.rod is None

    @property
    def foot_mm(self) -> float:
        """How well the rod's foot finds the floor."""
        return self.rod.foot_mm if self.rod else 0.0


class Kind(Generic[S]):
    """A kind of session.

    Attributes
    ----------
    name : str
        As the job keeps it.
    settings : type
        A record, whose JSON the job keeps with the session.
    title : str
        For people.
    acts : tuple of str
        What a page may do.
    help : str
        Which keys there are.
    """

    name: str
    settings: type[S]
    title = ""
    acts: tuple[str, ...] = WALK_ACTS
    help = HELP

    def parser(self) -> Parser:
        """Return what makes acts of keys."""
        return KeyParser()

    def read(self, kept: Mapping[str, Any]) -> S:
        """Return the settings that a job keeps, an older file's too.

        Raises
        ------
        ValueError
            Where they are none.
        """
        return from_json(self.settings, kept)

    def machine(self, begun: Beginning[S]) -> Machine:
        """Return the state machine."""
        raise NotImplementedError

    def guard(self, begun: Beginning[S]) -> Guard | None:
        """Return who doubts aloud, if anybody."""
        return None

    def watcher(self, begun: Beginning[S]) -> "Watcher | None":
        """Return who looks at the floor meanwhile, if anybody."""
        return None

    def log(
        self,
        begun: Beginning[S],
        session: int | Callable[[], int],
        most_bytes: int | None = None,
    ) -> Log:
        """Return the job's side; `session` is its id, or what starts it and returns that."""
        from rig.session.recorder import Recorder

        return Recorder(begun.job, session, setup=begun.setup, most_bytes=most_bytes)

    def scene(
        self, begun: Beginning[S], acts: tuple[str, ...] = (), quiet_s: float = DARK_S
    ) -> "Scene":
        """Return what a page shows of it."""
        from rig.session.scene import Scene
        from rig.session.sections import plan_of

        plan = plan_of(begun.outline)
        return Scene(
            self.name, self.title or self.name, begun.units, plan, acts=acts, quiet_s=quiet_s
        )

    def start(self, begun: Beginning[S], source: str) -> int:
        """Start the session in the job, read from a source, and return its id."""
        return begun.job.start_session(
            kind=self.name,
            setup=begun.setup,
            source=source,
            profile_text=begun.rod.text_toml if begun.rod else "",
            capture=begun.settings.as_json(),
            boot_id=begun.boot_id,
            utc_s=begun.utc_s,
            monotonic_s=begun.monotonic_s,
        )


def check_numbers(**numbers: float) -> None:
    """Refuse settings that no session can go by; a file may hold anything.

    Raises
    ------
    ValueError
        Where a number is negative or not finite.
    """
    for name, number in numbers.items():
        if not 0.0 <= number < math.inf:
            raise ValueError(f"{name} is {number}")


def guard_of(
    job: "Job", setup: str, profile: "Profile | None", targets_mm: Iterable[float] = ()
) -> Guard:
    """Make the guard of a session: what its rod can read, and what was read under the same line.

    Parameters
    ----------
    job : Job
    setup : str
        Of the session; the readings of another line say nothing.
    profile : Profile or None
        Of the rod; None where readings are typed.
    targets_mm : iterable of float
        What markers are to read.
    """
    shots = [shot for shot in job.shots(kinds=["floor", "finished"]) if shot.setup == setup]
    return Guard(
        resolution_mm=profile.resolution_mm if profile else 0.0,
        shortest_mm=profile.shortest_mm if profile else SHORTEST_TYPED_MM,
        longest_mm=profile.longest_mm if profile else LONGEST_TYPED_MM,
        shots=[
            (shot.point, shot.x_mm, shot.y_mm, shot.reading_mm)
            for shot in shots
            if shot.x_mm is not None and shot.y_mm is not None
        ],
        benchmarks={
            shot.point: (shot.reading_mm, shot.stderr_mm)
            for shot in job.shots(kinds=["benchmark", "threshold"])
            if shot.setup == setup
        },
        heights_mm=targets_mm if shots else (),
        sense=sense_of(job, setup),
        by_tape=profile is None,
        show=job.units.length,
    )
