"""From a job's plan to the plan of its pour: who is there, what the floor takes, how it goes."""

import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rig.errors import BadInput, CannotAnswer
from rig.pour.crew import Times, check_crew, check_gear
from rig.pour.forecast import Crew, Ground, forecast
from rig.pour.order import Order, exit_on, floor_of, order_of_pour, place_on
from rig.pour.pace import TIMED, UNKNOWN, Pace
from rig.pour.sheet import Sheet, ask_for, read_sheet
from rig.quantities.expected import Expectation
from rig.room import Outline, raster_of
from rig.study.fresh import fresh_plan
from rig.study.lasers import shots_of
from rig.study.lifting import one_lift, poured_cells
from rig.study.lifting import takes as takes
from rig.study.plan_answer import read_plan, wish_of
from rig.study.pour_answer import KeptPour, PourPlan, PourWish
from rig.study.pour_log import (
    Learnt,
    StandingPour,
    current_pour_plan,
    learnt_from,
    open_pour,
)
from rig.study.pour_told import told_plan
from rig.study.rooms import exit_of
from rig.study.site_log import last_read, site_log
from rig.surface.gaussian_process import GaussianProcess
from rig.survey.heights import heights_of
from rig.target.level import Plane
from rig.units import Units, parse_temperature
from rig.words import join, say
from rig.words import pour as words

if TYPE_CHECKING:
    from rig.job.rows import Plan
    from rig.job.store import Job

CELLS_PER_BATCH = 40
_ALL_TIMES = 5
FEWEST_CELLS, MOST_CELLS, FINEST_CELLS = 1_500, 6_000, 20_000


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
            say(
                "A pour is under way, and a new plan would forget its batches. Go on with it: "
                "rig pour run; or end it there with stop, then plan again."
            )
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
        raise BadInput(say("Say how many there are: --mixers 2."))
    if wish.crew is None:
        raise BadInput(say("Say how many there are: --crew 3."))
    check_crew(wish.crew, wish.mixers)
    notes = check_gear(wish.bags_per_batch, wish.buckets, wish.strip_mm, units)
    if wish.exit_mm is not None:
        exit_on(outline, *wish.exit_mm, units)
    sheet = _sheet(job) if wish.sheet_path is None else read_sheet(wish.sheet_path)
    site = site_log(job)
    temperature_c = last_read(site.entries, "floor", time.time())
    if wish.temperature is not None:
        temperature_c = parse_temperature(wish.temperature, "--temperature")
    working_s = wish.working_time_s
    if working_s is None:
        working_s, note = sheet.working_time(temperature_c, units)
        notes += [note] if note else []
    crew = _crew(wish, wish.crew, wish.mixers, sheet, working_s)
    past = wish_of(plan.inputs).history
    pace = _pace_before(wish, past)
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
    answer = told_plan(job, outline, plan, made, ground, wish, sheet, temperature_c, learnt, past)
    told = read_plan(plan).answer
    notes += [ask.text for ask in site.asks if ask.is_open]
    if wish.lift is not None:
        notes += words.before_lift(wish.lift, told.lifts, sheet.walk_on_s)
    return replace(answer, warnings=(*answer.warnings, *notes), lift=wish.lift)


def _sheet(job: "Job") -> Sheet:
    """What the sheet of the job's own compound says, as far as it was named."""
    one = job.settings.compound
    if one is None:
        return Sheet()
    return Sheet(
        text=join(", ", (part for part in (one.name, one.edition) if part)),
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


def _pace_before(wish: PourWish, past: Expectation | None) -> Pace:
    """Tell what is known of a pace before this job's pours.

    All steps timed tell most; next the past of the crew, which is held against the usual figures
    and tells nothing of others.
    """
    if wish.timed == _ALL_TIMES:
        return TIMED
    if past is None or past.pace is None or wish.timed:
        return UNKNOWN
    return replace(UNKNOWN, hands=past.pace.p50, hands_sd=past.pace.doubt)


def _learnt(job: "Job", wish: PourWish, times: Times, before: Pace, units: Units) -> Learnt | None:
    if wish.crew_from is None:
        return learnt_from(job, times, before, units)
    from rig.job.store import Job

    with Job.open(wish.crew_from) as other:
        learnt = learnt_from(other, times, before, units)
    if learnt is None:
        raise BadInput(
            say("{crew_from} holds no pour that was logged to its end.", crew_from=wish.crew_from)
        )
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
                say(
                    "The room has no door: say where the crew leaves, as --exit 4ft,0ft, or "
                    "add the door with rig edit --door."
                )
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
