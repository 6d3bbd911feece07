"""An L-shaped house surveyed over three days, the laser set up anew each morning.

`python -m tests.survey.three_days 100` surveys so many made-up houses by the machine, the recorder
and the job file that `rig survey` uses. One night has no closing sight; once, at noon, somebody
kicks the tripod: during the break in every second house, while the walk goes on in the others; and
in half of all the session is left open over lunch. The installer does what the events ask for, and
knows nothing else. Counted are sound shots that are lost at the end (read under a line that stood
where it was thought to, out of use, their point without a shot), those that had to be shot again,
and how far heights are from the truth in units of their stated doubt.
"""

import math
import random
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from rig.devices.profile import load_profile
from rig.devices.reading import Reading, Status
from rig.events import Ask, Check, Event, Jolted, Next, PutBack, SetUp, ShotTaken
from rig.job.settings import Settings
from rig.job.store import Job
from rig.record import from_json
from rig.session.items import Act, Item
from rig.session.kind import Beginning
from rig.session.kinds.survey import KIND, LineBefore, ShotKind, SurveySettings
from rig.session.places import WALKED, last_shot, places_to_shoot
from rig.session.run import step
from rig.study import heights, open_job
from rig.study.grid import make_grid
from rig.study.lasers import shots_of
from rig.study.line_before import line_of
from rig.survey.heights import heights_of
from simulated_devices.floor import Floor, make_floor
from simulated_devices.laser import Laser, random_drift
from simulated_devices.rod import Pose, Rod

LONG, DEEP, NARROW = 9000.0, 8000.0, 4000.0
WALLS = [(0.0, 0.0), (LONG, 0.0), (LONG, NARROW), (NARROW, NARROW), (NARROW, DEEP), (0.0, DEEP)]
MARK = (100.0, 100.0, 300.0)
MIDNIGHT_S = 1_800_000_000.0
HOUR_S = 3600.0
RATE_S = 0.1
WORST_SDS = 4.5


@dataclass
class House:
    """What came of one house."""

    seed: int
    lost: int = 0
    again: int = 0
    set_aside: int = 0
    setups: int = 0
    errors: list[float] = field(default_factory=list)
    between: list[float] = field(default_factory=list)
    worst_mm: float = 0.0


class Site:
    """The true house, its laser and rod, and an installer who does what is asked."""

    def __init__(self, seed: int, path: Path, spacing_mm: float) -> None:
        self.rng = random.Random(f"three days {seed}")
        self.house = House(seed)
        self.floor: Floor = make_floor(seed, LONG, DEEP, "slab")
        self.rod = Rod(seed=seed, noise_mm=0.15)
        self.profile = load_profile("sentence")
        self.path = path
        self.laser, self.begun_s = Laser(0.0, 0.0, 0.0), 0.0
        self.now_s = 8.0 * HOUR_S
        self.kick_s = math.inf
        self.unsound: set[int] = set()
        self.kicked = False  # and nobody knows of it yet
        self.first_mm: float | None = None
        with Job.create(path, Settings(units="mm", min_cover_mm=6.0), WALLS) as job:
            make_grid(job, spacing_mm)

    def set_up(self) -> None:
        """Stand the laser on its tripod."""
        rng = self.rng
        drift = random_drift(rng.getrandbits(30))
        self.laser = Laser(0.0, 0.0, rng.uniform(1100.0, 1500.0), drift=drift)
        self.begun_s, self.kicked = self.now_s, False

    def line_mm(self) -> float:
        return float(self.laser.line_mm(0.0, 0.0, self.now_s - self.begun_s))

    def look(self) -> None:
        """Let what is due happen to the laser."""
        if self.now_s >= self.kick_s:
            way = self.rng.choice((-1.0, 1.0))
            self.laser.jolt(self.kick_s - self.begun_s, way * self.rng.uniform(3.0, 30.0))
            self.kick_s, self.kicked = math.inf, True

    def survey(self, most: int, closes: bool, kind: ShotKind = "floor", label: str = "") -> None:
        """Run a session of so many shots."""
        with Job.open(self.path, write=True) as job:
            Session(self, job, kind, (label,) if label else ()).go(most, closes)


class Session:
    """One `rig survey`."""

    def __init__(self, site: Site, job: Job, kind: ShotKind, labels: tuple[str, ...]) -> None:
        self.site, self.job, self.kind = site, job, kind
        setup, utc_s = job.last_setup() or "1", MIDNIGHT_S + site.now_s
        points = places_to_shoot(job, kind, labels)
        kept = line_of(job, setup, kind, utc_s)
        line = None if kept is None else from_json(LineBefore, kept)
        settings = SurveySettings(
            dwell_s=1.0,
            walk_s=1.0,
            still_mm=0.5,
            kind=kind,
            units="mm",
            points=tuple(points),
            resumes_from=last_shot(job, kind, setup),
            line=line,
            checks=kind in WALKED,
            opens=line is not None and line.opens and kind in WALKED,
        )
        begun = Beginning(job=job, settings=settings, setup=setup, rod=site.profile, utc_s=utc_s)
        self.log = KIND.log(begun, KIND.start(begun, "simulated"), watched=False)
        self.machine = KIND.machine(begun)
        self.begun_s, self.shots = site.now_s, 0
        self.asked: Next | Check | None = None
        self.answered = False
        self.aside: set[str] = set()
        self.hear(self.machine.start(0.0))

    def go(self, most: int, closes: bool) -> None:
        """Shoot until there are so many, then leave."""
        while not self.machine.finished and self.shots < most:
            self.visit()
        while not self.machine.finished:
            # After a jolt the walk goes back first; to quit is then asked for again.
            if isinstance(self.asked, Next) and self.asked.label not in self.aside:
                self.item(Act(self.time_s, self.utc_s, "quit"))
                if not closes and not self.machine.finished:
                    self.item(Act(self.time_s, self.utc_s, "skip"))
            else:
                self.visit()

    def visit(self) -> None:
        """Go where the machine asks for, and stand there until it has what it wants."""
        asked, site = self.asked, self.site
        assert asked is not None
        site.now_s += site.rng.uniform(40.0, 200.0)
        site.look()
        for _ in range(15):
            self.read(None)
        if asked is not self.asked:  # something else is wanted meanwhile
            return
        x_mm, y_mm, foot_mm = MARK
        if asked.label != "BM1":
            assert asked.x_mm is not None
            assert asked.y_mm is not None
            x_mm, y_mm = asked.x_mm, asked.y_mm
            if isinstance(asked, Check):  # a spot is found again only so well
                x_mm, y_mm = x_mm + site.rng.gauss(0.0, 10.0), y_mm + site.rng.gauss(0.0, 10.0)
            foot_mm = float(site.floor.height_mm(x_mm, y_mm))
        self.answered = False
        for _ in range(80):
            self.read(Pose(x_mm, y_mm, foot_mm))
            if self.answered or self.machine.finished:
                return
        raise AssertionError(f"nothing came of a stand on {asked.label}")

    def read(self, pose: Pose | None) -> None:
        self.site.now_s += RATE_S
        value, status = None, "no_beam"
        if pose is not None:
            sample = self.site.rod.sample(self.time_s, pose, self.site.line_mm())
            value, status = sample.value_mm, "valid"
        told: Status = "valid" if status == "valid" else "no_beam"
        self.item(Reading(self.time_s, self.utc_s, "", told, value))

    def item(self, item: Item) -> None:
        self.log.item(item)
        self.hear(step(self.machine, item))

    def hear(self, events: Any) -> None:
        events = list(events)
        self.log.keep(*events)
        for event in events:
            self.follow(event)

    def follow(self, event: Event) -> None:
        site = self.site
        match event:
            case Next() | Check():
                self.asked, self.answered = event, True
            case Ask():
                self.item(Act(self.time_s, self.utc_s, "accept"))
            case ShotTaken():
                self.shots += self.kind != "benchmark"
                self.answered = True
                self.aside.discard(event.label)
                if site.first_mm is None:
                    site.first_mm = site.line_mm()
                newest = max(shot.id for shot in self.job.shots())
                if site.kicked:
                    site.unsound.add(newest)
            case SetUp():
                site.house.setups += 1
            case Jolted():
                self.aside |= set(event.labels)
            case PutBack():
                self.aside -= set(event.labels)
            case _ if event.event == "checked" and self.asked is not None:
                self.answered = True
                site.kicked &= self.asked.label != "BM1"

    @property
    def time_s(self) -> float:
        return self.site.now_s - self.begun_s

    @property
    def utc_s(self) -> float:
        return MIDNIGHT_S + self.site.now_s


def surveyed(seed: int, folder: Path, spacing_mm: float = 1200.0) -> House:
    """Survey one house and say what came of it."""
    site = Site(seed, folder / f"{seed}.sqlite", spacing_mm)
    rng = site.rng
    with Job.open(site.path) as job:
        points = len(job.points())
    kicked_on, open_night = rng.randrange(3), rng.randrange(2)
    in_break, one_session = bool(seed % 2), bool(seed // 2 % 2)
    site.set_up()
    site.survey(1, closes=False, kind="benchmark", label="BM1")
    share = math.ceil(points / 6)
    for day in range(3):
        if day:
            site.now_s = (24.0 * day + 8.0) * HOUR_S
            site.set_up()
        if day == kicked_on and not in_break:
            site.kick_s = site.now_s + share * rng.uniform(60.0, 160.0)
        kick = day == kicked_on and in_break
        if left(site):
            if one_session:
                one_long_day(site, share, closes=day != open_night, kick=kick)
            else:
                two_half_days(site, share, closes=day != open_night, kick=kick)
    while left(site):  # what was set aside, or is left over
        site.survey(points, closes=True)
    return judged(site)


def two_half_days(site: Site, share: int, closes: bool, kick: bool) -> None:
    """Survey in two sessions, with the tripod kicked during the break or not."""
    site.survey(share, closes=True)
    lunch(site, kick)
    if left(site):
        site.survey(share, closes=closes)


def one_long_day(site: Site, share: int, closes: bool, kick: bool) -> None:
    """Survey in one session, left open during the break."""
    with Job.open(site.path, write=True) as job:
        session = Session(site, job, "floor", ())
        while not session.machine.finished and session.shots < share:
            session.visit()
        lunch(site, kick)
        session.go(2 * share, closes)


def lunch(site: Site, kick: bool) -> None:
    if kick:
        site.kick_s = site.now_s + 60.0
    site.now_s += HOUR_S
    site.look()


def left(site: Site) -> int:
    with Job.open(site.path) as job:
        return len(job.unshot("floor"))


def judged(site: Site) -> House:
    """Hold what the job says against the truth."""
    house = site.house
    with open_job(site.path) as job:
        every = job.shots(kinds=["floor"], current=False)
        in_use = {shot.point for shot in every if shot.superseded_by is None}
        out = [shot for shot in every if shot.superseded_by == shot.id]
        sound = [shot for shot in out if shot.id not in site.unsound]
        house.set_aside = len(sound)
        house.lost = sum(shot.point not in in_use for shot in sound)
        found = heights_of(shots_of(job), "floor", job.setups())
        assert site.first_mm is not None
        truth = site.floor.height_mm(found.x_mm, found.y_mm) - site.first_mm
        off = found.z_mm - truth
        house.errors = [float(one) for one in off / found.stderr_mm]
        house.worst_mm = float(np.max(np.abs(off)))
        rng = np.random.default_rng(site.house.seed)
        x, y = rng.uniform(300.0, NARROW - 300.0, 100), rng.uniform(300.0, DEEP - 300.0, 100)
        told = heights(job, x, y)
        truth = site.floor.height_mm(x, y) - site.first_mm
        house.between = [float(one) for one in (told.z_mm - truth) / told.stderr_mm]
    return house


def run(n: int, spacing_mm: float = 1200.0, first: int = 0) -> list[House]:
    """Survey n houses."""
    with tempfile.TemporaryDirectory() as folder:
        return [surveyed(seed, Path(folder), spacing_mm) for seed in range(first, first + n)]


def is_sound(house: House) -> bool:
    """Whether a house ends as it should: nothing lost, and no height beyond its doubt."""
    return house.lost == 0 and max(map(abs, house.errors)) < WORST_SDS


if __name__ == "__main__":
    houses = run(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
    errors = np.abs([one for house in houses for one in house.errors])
    between = np.abs([one for house in houses for one in house.between])
    print(f"houses {len(houses)}, sound {sum(map(is_sound, houses))}")
    print(f"sound shots lost {sum(house.lost for house in houses)}")
    print(f"sound shots set aside and shot again {sum(house.set_aside for house in houses)}")
    print(f"set-ups found by an opening sight {sum(house.setups for house in houses)}")
    print(f"shots within twice their doubt {np.mean(errors < 2.0):.2%}, worst {errors.max():.2f}")
    print(f"floor between them within twice its doubt {np.mean(between < 2.0):.2%}")
    print(f"worst shot off by {max(house.worst_mm for house in houses):.2f} mm")
    for house in houses:
        if not is_sound(house):
            print(f"seed {house.seed}: lost {house.lost}, worst {max(map(abs, house.errors)):.1f}")
    sys.exit(not all(map(is_sound, houses)))
