"""A company's jobs on simulated floors by simulated crews, through its office to the next plan.

Plans and pour plans are those of the product; floors, readings and what the crews do are invented.
The office is real: jobs are handed in, taken and asked, and what is learnt is held against what the
crews were made to be like.
"""

import math
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rig.job.settings import Settings
from rig.job.store import Job
from rig.language import join, numeral, say, say_many
from rig.pour.crew import Steps, Times
from rig.pour.pace import at_pace, interval_s
from rig.pour.simulation import simulate
from rig.products import Product, Used
from rig.quantities.expected import PaceExpected
from rig.record import Record
from rig.study.plan_answer import make_plan
from rig.study.plane import PlanWish
from rig.study.pour_answer import PourEnd, PourPlan, PourWish
from rig.study.pour_log import past_of
from rig.study.pour_plan import make_pour_plan
from rig.study.room import outline_of

_CREWS, _CREW_SD, _JOB_SD = 5, 0.08, 0.05
_HANDS_SD, _DAY_SD = 0.2, 0.05
_DAY_S = 86400.0
_PRODUCT = "made-up mix"
_STEP_MM = 700.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewTold(Record):
    """A crew as it was made to be, and as the office expects it.

    `true`, `expected`, `low` and `high` are bags over those stated; those of `hands` the time that
    its hands take over the time that plans begin with.
    """

    crew: str
    jobs: int
    true: float
    expected: float
    low: float
    high: float
    hands_true: float
    hands: PaceExpected | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CompanyTold(Record):
    """What the office of a simulated company holds and has learnt."""

    office: str
    jobs: int
    held: int
    crews: tuple[CrewTold, ...]


def show_company(folder: Path, jobs: int, seed: int) -> CompanyTold:
    """Make a company's jobs, bring them to an office, and hold what it learnt against the truth."""
    from rig.office import shelf
    from rig.office.ask import ask
    from rig.office.expect import expect
    from rig.office.place import Place
    from rig.office.take import take

    rng = np.random.default_rng(seed)
    names = [f"crew {n + 1}" for n in range(_CREWS)]
    effects = {name: float(rng.normal(0.0, _CREW_SD)) for name in names}
    hands = {name: float(rng.normal(0.1, _HANDS_SD)) for name in names}
    office = folder / "office"
    office.mkdir()
    place = Place(str(office))
    for nth in range(jobs):
        crew = sorted(effects)[nth % _CREWS]
        path = folder / f"job-{nth + 1:03d}.sqlite"
        day = _Day(
            log_factor=effects[crew] + float(rng.normal(0.0, _JOB_SD)),
            log_hands=hands[crew] + float(rng.normal(0.0, _DAY_SD)),
            at_s=time.time() - (jobs - nth) * _DAY_S,
        )
        _make(path, crew, day, rng)
        shelf.hand_in(place, path)
    take(place)
    every = ask(place, "coverage").rows[0]
    crews = []
    for crew, effect in effects.items():
        told = expect(place, crew, _PRODUCT, None)
        crews.append(
            CrewTold(
                crew=crew,
                jobs=told.jobs.crew,
                true=math.exp(effect),
                expected=told.factor.p50,
                low=told.factor.low,
                high=told.factor.high,
                hands_true=math.exp(hands[crew]),
                hands=told.pace,
            )
        )
    return CompanyTold(
        office=str(office), jobs=int(every["jobs"]), held=int(every["held"]), crews=tuple(crews)
    )


def company_text(told: CompanyTold) -> str:
    """Say what the office learnt, beside the truth."""
    lines = [
        say(
            "{held} of {jobs} needed no more bags than their plans stated at 95 %.",
            held=told.held,
            jobs=say_many("{count} job", "{count} jobs", told.jobs),
        )
    ]
    lines += [
        say(
            "{crew}, {jobs}: uses {true} of the bags stated at even odds; expected {expected}, "
            "{low} to {high} for its next job.",
            crew=one.crew,
            jobs=say_many("{count} job", "{count} jobs", one.jobs),
            true=numeral(one.true, ".0%"),
            expected=numeral(one.expected, ".0%"),
            low=numeral(one.low, ".0%"),
            high=numeral(one.high, ".0%"),
        )
        for one in told.crews
    ]
    lines += [
        say(
            "{crew}: its hands take {true} of the time that plans begin with; expected {expected}, "
            "{low} to {high} in its next pour.",
            crew=one.crew,
            true=numeral(one.hands_true, ".0%"),
            expected=numeral(one.hands.p50, ".0%"),
            low=numeral(one.hands.low, ".0%"),
            high=numeral(one.hands.high, ".0%"),
        )
        for one in told.crews
        if one.hands is not None
    ]
    lines.append(say("The office: {place}. Look at it: rig office serve --office {place}",
                     place=told.office))  # fmt: skip
    return join("\n", lines)


@dataclass(frozen=True, slots=True)
class _Day:
    """What is true of a job's day: logs of the factors on bags and on hands, and when it was."""

    log_factor: float
    log_hands: float
    at_s: float


def _make(path: Path, crew: str, day: _Day, rng: np.random.Generator) -> None:
    wide, long = rng.uniform(2500.0, 4500.0), rng.uniform(2500.0, 5000.0)
    settings = Settings(
        units="mm", min_cover_mm=6.0, bag_yield_l=12.0, bag_mass_kg=22.0, bag_water_l=5.0,
        waste_share=0.05, covering="tile", floor="concrete", crew=crew, laser_name="simulated",
        product=Used(compound=Product(name=_PRODUCT, bag_yield_l=12.0, bag_mass_kg=22.0)),
    )  # fmt: skip
    walls = [(0.0, 0.0), (wide, 0.0), (wide, long), (0.0, long)]
    with Job.create(path, settings, walls) as job:
        points = _grid(wide, long)
        job.set_points(points)
        job.import_shots(_rows(points, rng))
        _, answer = make_plan(job, PlanWish())
        wish = PourWish(
            mixers=1, crew=2, mix_time_s=60.0, working_time_s=3600.0, exit_mm=(0.0, 0.0), runs=50
        )
        planned = make_pour_plan(job, outline_of(job), wish, day.at_s)
        used = (answer.volume_l.mean * 1.05 / 12.0) * math.exp(day.log_factor)
        ended = PourEnd(
            batches=len(planned.batches),
            bags_used=used,
            share=1.0,
            yield_l=answer.volume_l.mean / used,
            interval_s=_interval_s(planned, day, rng),
            planned_interval_s=planned.interval_s,
            unticked=(),
        )
        job.log_event(None, None, day.at_s, "pour_done", ended.as_json())


def _interval_s(planned: PourPlan, day: _Day, rng: np.random.Generator) -> float:
    """Pour by a plan as this crew does that day; return its time from batch to batch."""
    figures = past_of(planned, Times(planned.mix_time_s), len(planned.batches), 1.0, 100)
    luck = int(rng.integers(100))
    drawn = Steps(*(one[:, luck : luck + 1] for one in figures.drawn))
    run = simulate(at_pace(drawn, math.exp(day.log_hands), 1.0), figures.roles, figures.buckets)
    return float(interval_s(run.poured_s)[0])


def _grid(wide: float, long: float) -> list[tuple[str, float, float, int]]:
    columns, rows = (max(3, round(side / _STEP_MM)) for side in (wide, long))
    places = [(i, j) for j in range(rows) for i in range(columns)]
    return [
        (
            f"{chr(65 + i)}{j + 1}",
            150.0 + i * (wide - 300.0) / (columns - 1),
            150.0 + j * (long - 300.0) / (rows - 1),
            nth,
        )
        for nth, (i, j) in enumerate(places)
    ]


def _rows(
    points: list[tuple[str, float, float, int]], rng: np.random.Generator
) -> list[dict[str, object]]:
    """Read a gently warped floor."""
    high, other = rng.uniform(3.0, 8.0, 2), rng.uniform(900.0, 1600.0, 2)
    turn, shift = rng.uniform(0.0, 6.0, 2)
    return [
        {
            "point": label,
            "x_mm": x,
            "y_mm": y,
            "reading_mm": 1200.0
            + high[0] * math.sin(x / other[0] + turn)
            + high[1] * math.cos(y / other[1] + shift)
            + float(rng.normal(0.0, 0.3)),
            "stderr_mm": 0.3,
        }
        for label, x, y, _ in points
    ]
