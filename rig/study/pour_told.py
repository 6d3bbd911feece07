"""Tells the forecast of a pour as its plan: batches, strips, who does what, what to heed."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from rig.pour.advice import advise
from rig.pour.estimate import YIELD_DOUBT
from rig.pour.forecast import Forecast, Ground
from rig.pour.pace import Pace, interval_s
from rig.pour.prepour import CAUTIONS
from rig.pour.sheet import Sheet
from rig.quantities.expected import Expectation
from rig.room import Outline, contains, where
from rig.study.lifting import Takes, takes
from rig.study.plan_answer import grind_first, read_plan
from rig.study.pour_answer import (
    BucketAge,
    EdgeAge,
    Place,
    PourBatch,
    PourPace,
    PourPlan,
    PourRoles,
    PourStrip,
    PourWish,
    Spell,
)
from rig.study.pour_log import Learnt, prepour_of
from rig.units import Units
from rig.words import pour as words
from rig.words import say

if TYPE_CHECKING:
    from rig.job.rows import Plan
    from rig.job.store import Job

LEARNT_YIELD_DOUBT = 0.05
"""What is left of a yield's doubt once this crew has poured (our own figure, no source)."""


def told_plan(
    job: "Job",
    outline: Outline,
    plan: "Plan",
    made: Forecast,
    ground: Ground,
    wish: PourWish,
    sheet: Sheet,
    temperature_c: float | None,
    learnt: Learnt | None,
    past: Expectation | None,
) -> PourPlan:
    """Return the plan of a pour by what was forecast of it.

    A bag makes what this crew's own last pour told, else what the past of crew and product tells.
    """
    units, taken, runs = job.units, takes(plan, wish.lift), wish.runs
    crew, run = made.crew, made.run
    advice = advise(made, ground, runs)
    too_deep = list(_too_deep(job, taken, sheet))
    of_temperature = sheet.warnings(temperature_c, units)
    allowed = sheet.allows(temperature_c)
    against = [*([] if allowed else of_temperature), *too_deep]
    bag_water_l = sheet.water_per_bag_l
    if bag_water_l is None:
        bag_water_l = taken.bag_water_l
    batches = _batches(made, ground, outline, units, bag_water_l)
    yield_l, yield_doubt = taken.bag_yield_l / (1.0 + taken.waste_share), YIELD_DOUBT
    if past is not None:
        yield_l, yield_doubt = yield_l / past.factor.p50, past.log_sd
    of_past = [] if past is None else list(_of_past(past, wish, yield_l, units))
    if learnt is not None and learnt.yield_l is not None:
        yield_l, yield_doubt = learnt.yield_l, LEARNT_YIELD_DOUBT
    return PourPlan(
        batches=batches,
        strips=_strips(job, made, ground),
        wet_edge_age_s=EdgeAge(max=float(made.oldest_s.max()), p95=made.age_p95_s),
        margin_s=made.margin_s,
        feasible=made.feasible and not against,
        allowed_by_sheet=allowed,
        advice=against[0] if against else advice.text,
        binds=advice.binds,
        changes=advice.changes,
        chance_edge_dies=made.chance_edge_dies,
        rate_bags_per_h=made.bags_per_h,
        duration_s=Spell(
            p50=float(np.median(made.duration_s)), p95=float(np.quantile(made.duration_s, 0.95))
        ),
        bucket_age_s=BucketAge(p95=made.bucket_age_p95_s),
        idle=made.idle(),
        roles=_roles(made),
        mixers=crew.mixers,
        crew=crew.people,
        buckets=made.buckets,
        bags=ground.bags,
        bays=crew.bays,
        strip_mm=made.strip_mm,
        working_time_s=crew.working_s,
        mix_time_s=crew.times.mix_s,
        exit=Place(x_mm=ground.exit_mm[0], y_mm=ground.exit_mm[1]),
        start=Place(x_mm=batches[0].x_mm, y_mm=batches[0].y_mm),
        runs=runs,
        interval_s=float(np.median(interval_s(run.poured_s))) if len(batches) > 1 else 0.0,
        pace=_pace(crew.pace, learnt),
        lead_s=float(np.mean(run.poured_s - run.wet_s)) + crew.times.pour_s,
        yield_l=yield_l,
        yield_doubt=yield_doubt,
        sheet=sheet,
        prepour=prepour_of(job).prepour,
        assumptions=(
            *_assumptions(made, ground, units),
            *of_past,
            *([learnt.text] if learnt else []),
        ),
        warnings=(
            *grind_first(read_plan(plan).answer),
            *of_temperature,
            *too_deep,
            *_warnings(made, sheet),
        ),
        cautions=CAUTIONS,
    )


def _roles(made: Forecast) -> PourRoles:
    roles = made.roles
    return PourRoles(
        mixing=roles.mixing,
        carrying=roles.carrying,
        spreading=roles.spreading,
        helpers=roles.helpers,
        text=roles.text(),
    )


def _pace(pace: Pace, learnt: Learnt | None) -> PourPace:
    return PourPace(
        hands=pace.hands,
        mixing=pace.mixing,
        hands_doubt=pace.hands_sd,
        mixing_doubt=pace.mixing_sd,
        pours=0 if learnt is None else learnt.pours,
    )


def _batches(
    made: Forecast, ground: Ground, outline: Outline, units: Units, bag_water_l: float
) -> tuple[PourBatch, ...]:
    # A schedule goes by the batches' order, though two that begin together may change places.
    wet, poured = (
        np.maximum.accumulate(np.median(times, axis=1))
        for times in (made.run.wet_s, made.run.poured_s)
    )
    ages = made.edge_age_p95_s()
    return tuple(
        PourBatch(
            n=batch.n,
            bags=batch.bags,
            water_l=batch.bags * bag_water_l,
            volume_l=batch.volume_l,
            mix_s=float(wet[k]),
            pour_s=float(poured[k]),
            x_mm=batch.x_mm,
            y_mm=batch.y_mm,
            strip=batch.strip,
            bay=batch.bay,
            area_m2=batch.area_m2,
            reach_mm=batch.reach_mm,
            deep=batch.deep,
            edge_age_p95_s=ages[k],
            meets=tuple(later + 1 for earlier, later in made.order.seams if earlier == k),
            where=_where(outline, batch.x_mm, batch.y_mm, units),
            way_mm=batch.way_mm + ground.mix_way_mm,
        )
        for k, batch in enumerate(made.order.batches)
    )


def _strips(job: "Job", made: Forecast, ground: Ground) -> tuple[PourStrip, ...]:
    batches, floor = made.order.batches, ground.floor
    markers: dict[int, list[str]] = {}
    for marker in job.markers():
        cell = floor.nearest(marker.x_mm, marker.y_mm)
        strip = batches[int(made.order.batch_of[cell])].strip
        markers.setdefault(strip, []).append(marker.label)
    rows: list[PourStrip] = []
    total = sum(batch.volume_l for batch in batches)
    done = 0.0
    for number in sorted({batch.strip for batch in batches}):
        inside = [batch for batch in batches if batch.strip == number]
        volume = sum(batch.volume_l for batch in inside)
        done += volume
        rows.append(
            PourStrip(
                strip=number,
                bay=inside[0].bay,
                batches=(inside[0].n, inside[-1].n),
                volume_l=volume,
                share=volume / total,
                share_end=min(1.0, done / total),
                markers=tuple(markers.get(number, [])),
            )
        )
    return tuple(rows)


def _assumptions(made: Forecast, ground: Ground, units: Units) -> Iterator[str]:
    crew = made.crew
    yield crew.times.assumption(units)
    yield words.edge_counts(crew.working_s, crew.times.mix_s)
    yield words.batch_size(crew.bags_per_batch, ground.mix_way_mm, units)
    if crew.pace.hands_sd:
        yield words.pace_doubted(crew.pace.hands_sd)
    if crew.times.slake_s == 0:
        yield words.NO_SLAKING
    if crew.strip_mm is None:
        yield words.strips_chosen(made.strip_mm, units)
    if crew.buckets is None:
        yield words.buckets_chosen(made.buckets)


def _of_past(past: Expectation, wish: PourWish, yield_l: float, units: Units) -> Iterator[str]:
    yield words.yield_by_past(yield_l, past.log_sd, past.jobs.crew, past.jobs.product, units)
    pace = past.pace
    if pace is not None and not wish.timed:
        yield words.pace_by_past(pace.p50, pace.doubt, pace.pours, pace.others)


def _too_deep(job: "Job", taken: Takes, sheet: Sheet) -> Iterator[str]:
    """Say where one pour takes more than the job or the sheet allows in one go."""
    limits = ((say("the job"), job.settings.max_cover_mm), (say("the sheet"), sheet.max_cover_mm))
    for whose, limit_mm in limits:
        if limit_mm is not None and taken.deepest_mm > limit_mm:
            yield words.too_deep(taken.deepest_mm - limit_mm, limit_mm, whose, job.units)


def _warnings(made: Forecast, sheet: Sheet) -> Iterator[str]:
    times = made.crew.times
    if sheet.pot_life_s is not None and made.bucket_age_p95_s > sheet.pot_life_s:
        yield words.bucket_too_old(made.bucket_age_p95_s, sheet.pot_life_s)
    if times.mix_s + times.slake_s >= made.crew.working_s:
        yield words.MIX_TOO_LONG
    idle = made.crew.mixers - made.roles.mixing
    if idle > 0:
        yield words.idle_mixers(idle, made.crew.mixers)


def _where(outline: Outline, x_mm: float, y_mm: float, units: Units) -> str:
    if not contains(outline, np.array([x_mm]), np.array([y_mm]))[0]:
        return say("at {x}, {y}", x=units.place(x_mm), y=units.place(y_mm))
    return where(outline, x_mm, y_mm, units)
