"""From a job's plan to the plan of its pour: who is there, what the floor takes, how it goes."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rig.errors import BadInput, CannotAnswer
from rig.pour.advice import advise
from rig.pour.crew import Times, check_crew, check_gear
from rig.pour.estimate import YIELD_DOUBT
from rig.pour.forecast import Crew, Forecast, Ground, forecast
from rig.pour.order import Order, exit_on, floor_of, order_of_pour, place_on
from rig.pour.pace import TIMED, UNKNOWN, Pace, interval_s
from rig.pour.prepour import CAUTIONS
from rig.pour.sheet import Sheet, ask_for, parse_temperature, read_sheet
from rig.room import Outline, contains, raster_of, where
from rig.study.fresh import fresh_plan
from rig.study.lasers import shots_of
from rig.study.lifting import Takes as Takes
from rig.study.lifting import one_lift, poured_cells
from rig.study.lifting import takes as takes
from rig.study.plan_answer import grind_first, read_plan
from rig.study.pour_answer import (
    BucketAge,
    EdgeAge,
    KeptPour,
    Place,
    PourBatch,
    PourPace,
    PourPlan,
    PourRoles,
    PourStrip,
    PourWish,
    Spell,
)
from rig.study.pour_log import (
    Learnt,
    StandingPour,
    current_pour_plan,
    learnt_from,
    open_pour,
    prepour_of,
)
from rig.study.rooms import exit_of
from rig.study.site_log import floor_temperature, site_log
from rig.surface.gaussian_process import GaussianProcess
from rig.survey.heights import heights_of
from rig.target.level import Plane
from rig.units import Units
from rig.words import pour as words

if TYPE_CHECKING:
    from rig.job.rows import Plan
    from rig.job.store import Job

CELLS_PER_BATCH = 40
FEWEST_CELLS, MOST_CELLS, FINEST_CELLS = 1_500, 6_000, 20_000
LEARNT_YIELD_DOUBT = 0.05
"""What is left of a yield's doubt once this crew has poured (our own figure, no source)."""


@dataclass(frozen=True)
class ToLog:
    """A pour that is to be logged: made now, or begun before, maybe by another plan than asked."""

    pour: StandingPour
    is_new: bool = False
    goes_on_by_another: bool = False


def make_pour_plan(job: "Job", outline: Outline, wish: PourWish, utc_s: float) -> PourPlan:
    """Plan the pour of the job's plan and keep it in the job; see `pour_plan`.

    Parameters
    ----------
    job : Job
        Open for writing.
    outline : Outline
    wish : PourWish
    utc_s : float
        Now: a pour that is under way then is not planned anew.
    """
    if open_pour(job, utc_s) is not None:
        raise CannotAnswer(
            "A pour is under way, and a new plan would forget its batches. Go on with it: rig pour "
            "run; or end it there with stop, then plan again."
        )
    plan = fresh_plan(job, bags=True)
    if job.room is not None:
        exit_mm = exit_of(job) if wish.exit_mm is None else wish.exit_mm
        wish = replace(wish, room=job.room.number, exit_mm=exit_mm)
    made = pour_plan(job, outline, plan, wish)
    kept = KeptPour(plan_id=plan.id, inputs=wish, result=made)
    job.save_pour_plan([batch.as_json() for batch in made.batches], kept.as_json())
    return made


def pour_to_log(job: "Job", outline: Outline, wish: PourWish, utc_s: float) -> ToLog:
    """Return the pour that is under way now (UTC, s), else that of the plan that stands.

    A wish that says something makes a plan first, where no pour is under way.
    """
    begun = open_pour(job, utc_s)
    if begun is not None:
        other = wish.is_made or job.current_plan() != begun.plan
        return ToLog(begun, goes_on_by_another=other)
    plan = fresh_plan(job, bags=True)
    if wish.is_made:
        make_pour_plan(job, outline, wish, utc_s)
    standing = current_pour_plan(job, plan)
    if wish.lift is not None and wish.lift != standing.wish.lift:
        raise CannotAnswer(words.other_lift(standing.wish.lift, wish.lift))
    return ToLog(standing, is_new=wish.is_made)


def pour_plan(job: "Job", outline: Outline, plan: "Plan", wish: PourWish) -> PourPlan:
    """Plan the pour of a plan: order of batches, crew and mixers, age of the wet edge.

    Parameters
    ----------
    job : Job
    outline : Outline
    plan : Plan
        Of the job.
    wish : PourWish

    Raises
    ------
    BadInput
        What is missing, cannot be, or lies off the floor.
    CannotAnswer
        Where there is neither an exit nor a door.
    """
    units = job.units
    if wish.mixers is None:
        raise BadInput("Say how many there are: --mixers 2.")
    if wish.crew is None:
        raise BadInput("Say how many there are: --crew 3.")
    check_crew(wish.crew, wish.mixers)
    notes = check_gear(wish.bags_per_batch, wish.buckets, wish.strip_mm, units)
    if wish.exit_mm is not None:
        exit_on(outline, *wish.exit_mm, units)
    sheet = _sheet(job) if wish.sheet_path is None else read_sheet(wish.sheet_path)
    temperature_c = floor_temperature(job)
    if wish.temperature is not None:
        temperature_c = parse_temperature(wish.temperature, "--temperature")
    working_s = wish.working_time_s
    if working_s is None:
        working_s, note = sheet.working_time(temperature_c, units)
        notes += [note] if note else []
    crew = _crew(wish, wish.crew, wish.mixers, sheet, working_s)
    pace = _pace_before(wish)
    learnt = _learnt(job, wish, crew.times, pace, units)
    crew = replace(crew, pace=pace if learnt is None else learnt.pace)
    ground = ground_of(
        job,
        outline,
        plan,
        wish.exit_mm,
        wish.start_mm,
        mix_way_mm=wish.mix_distance_mm,
        lift=wish.lift,
    )
    made = forecast(ground, crew, wish.runs)
    answer = _answer(job, outline, plan, made, ground, wish, sheet, temperature_c, learnt)
    told = read_plan(plan).answer
    notes += [ask.text for ask in site_log(job).asks if ask.is_open]
    if wish.lift is not None:
        notes += words.before_lift(wish.lift, told.lifts, sheet.walk_on_s)
    return replace(answer, warnings=(*answer.warnings, *notes), lift=wish.lift)


def _sheet(job: "Job") -> Sheet:
    """What the sheet of the job's own compound says, as far as it was named."""
    used = job.settings.product
    if used is None:
        return Sheet()
    one = used.compound
    return Sheet(
        text=", ".join(part for part in (one.name, one.edition) if part),
        water_per_bag_l=one.bag_water_l,
        mixing_time_s=one.mix_time_s,
        slake_time_s=one.slake_time_s,
        working_time_s=one.working_time_s,
        min_temperature_c=one.min_temperature_c,
        max_temperature_c=one.max_temperature_c,
        max_cover_mm=one.max_cover_mm,
        walk_on_s=one.walk_on_s,
        cover_after_s=one.cover_after_s,
        working_time_at=one.working_time_at,
    )


def _crew(wish: PourWish, people: int, mixers: int, sheet: Sheet, working_s: float | None) -> Crew:
    mix_s = wish.mix_time_s if wish.mix_time_s is not None else sheet.mixing_time_s
    if mix_s is None:
        raise ask_for("mixing_time")
    if working_s is None:
        raise ask_for("working_time")
    given = {
        "slake_s": wish.slake_time_s if wish.slake_time_s is not None else sheet.slake_time_s,
        "water_s": wish.water_time_s,
        "powder_s": wish.powder_time_s,
        "pour_s": wish.pour_time_s,
        "spread_s_m2": wish.spread_time_s_m2,
        "deair_s_m2": wish.deair_time_s_m2,
    }
    return Crew(
        people=people,
        mixers=mixers,
        times=Times(mix_s, **{name: s for name, s in given.items() if s is not None}),
        working_s=working_s,
        buckets=wish.buckets,
        bags_per_batch=wish.bags_per_batch,
        strip_mm=wish.strip_mm,
        bays=wish.bays,
    )


def _pace_before(wish: PourWish) -> Pace:
    """Tell what is known of a pace before any pour: more, where all steps were timed."""
    timed = (
        wish.water_time_s,
        wish.powder_time_s,
        wish.pour_time_s,
        wish.spread_time_s_m2,
        wish.deair_time_s_m2,
    )
    return UNKNOWN if None in timed else TIMED


def _learnt(job: "Job", wish: PourWish, times: Times, before: Pace, units: Units) -> Learnt | None:
    if wish.crew_from is None:
        return learnt_from(job, times, before, units)
    from rig.job.store import Job

    with Job.open(wish.crew_from) as other:
        learnt = learnt_from(other, times, before, units)
    if learnt is None:
        raise BadInput(f"{wish.crew_from} holds no pour that was logged to its end.")
    return learnt


def ground_of(
    job: "Job",
    outline: Outline,
    plan: "Plan",
    exit_mm: tuple[float, float] | None,
    start_mm: tuple[float, float] | None,
    *,
    mix_way_mm: float,
    lift: int | None = None,
) -> Ground:
    """Lay the plan's cover, or one lift of it, over the floor, ready to be shared out to batches.

    Raises
    ------
    CannotAnswer
        Where there is neither an exit nor a door.
    BadInput
        Where exit or start are not on the floor.
    """
    if exit_mm is None:
        if not outline.doors:
            raise CannotAnswer(
                "The room has no door: say where the crew leaves, as --exit 4ft,0ft, or add the "
                "door with rig edit --door."
            )
        exit_mm = outline.doors[0].middle
    place_on(outline, "exit", *exit_mm, job.units)
    if start_mm is not None:
        place_on(outline, "start", *start_mm, job.units)
    taken, one = takes(plan, lift), one_lift(read_plan(plan).answer, lift)
    many = min(max(CELLS_PER_BATCH * taken.bags, FEWEST_CELLS), MOST_CELLS)
    if one is not None:  # as many cells on what it is poured on as on a whole floor
        many = min(int(many * outline.area_m2 / max(one.answer.area_m2, 0.01)), FINEST_CELLS)
    cells = raster_of(outline, many)
    heights = heights_of(shots_of(job), "floor", job.setups(), outline)
    surface = GaussianProcess().fit(heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
    z, _ = surface.predict(cells.x_mm, cells.y_mm)
    if one is None:
        cover = Plane(plan.a, plan.b, plan.c).at(cells.x_mm, cells.y_mm) - z
    else:
        cells, cover = poured_cells(cells, one.thickness_mm(cells.x_mm, cells.y_mm, z))
    floor = floor_of(outline, cells, cover)
    return Ground(floor, exit_mm, start_mm, taken.volume_l, taken.bags, mix_way_mm)


def order_again(job: "Job", outline: Outline, made: StandingPour) -> tuple[Ground, Order] | None:
    """Share the floor out anew as a stored pour plan did, for its drawing.

    None where it does not come out the same: an older version made it, say.
    """
    answer, start_mm = made.answer, made.wish.start_mm
    exit_mm = (answer.exit.x_mm, answer.exit.y_mm)
    ground = ground_of(
        job, outline, made.plan, exit_mm, start_mm, mix_way_mm=0.0, lift=made.wish.lift
    )
    order = order_of_pour(
        ground.floor,
        exit_mm,
        start_mm,
        [batch.bags for batch in answer.batches],
        ground.volume_l,
        answer.strip_mm,
        answer.bays,
    )
    same = len(order.batches) == len(answer.batches) and all(
        abs(one.x_mm - other.x_mm) + abs(one.y_mm - other.y_mm) < 1.0
        for one, other in zip(order.batches, answer.batches, strict=True)
    )
    return (ground, order) if same else None


def _answer(
    job: "Job",
    outline: Outline,
    plan: "Plan",
    made: Forecast,
    ground: Ground,
    wish: PourWish,
    sheet: Sheet,
    temperature_c: float | None,
    learnt: Learnt | None,
) -> PourPlan:
    units, taken, runs = job.units, takes(plan, wish.lift), wish.runs
    crew, roles, run = made.crew, made.roles, made.run
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
        roles=PourRoles(
            mixing=roles.mixing,
            carrying=roles.carrying,
            spreading=roles.spreading,
            helpers=roles.helpers,
            text=roles.text(),
        ),
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
        pace=PourPace(
            hands=crew.pace.hands,
            mixing=crew.pace.mixing,
            hands_doubt=crew.pace.hands_sd,
            mixing_doubt=crew.pace.mixing_sd,
            pours=0 if learnt is None else learnt.pours,
        ),
        lead_s=float(np.mean(run.poured_s - run.wet_s)) + crew.times.pour_s,
        yield_l=yield_l,
        yield_doubt=yield_doubt,
        sheet=sheet,
        prepour=prepour_of(job).prepour,
        assumptions=(
            *_assumptions(made, ground, units),
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


def _too_deep(job: "Job", taken: Takes, sheet: Sheet) -> Iterator[str]:
    """Say where one pour takes more than the job or the sheet allows in one go."""
    limits = (("the job", job.settings.max_cover_mm), ("the sheet", sheet.max_cover_mm))
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
        return f"at {units.place(x_mm)}, {units.place(y_mm)}"
    return where(outline, x_mm, y_mm, units)
