"""From a job's plan to the plan of its pour, and what a job knows of a pour."""

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from rig.errors import CannotAnswer
from rig.pour.advice import advise
from rig.pour.clock_text import minutes
from rig.pour.estimate import YIELD_DOUBT, yield_known
from rig.pour.forecast import RUNS, Crew, Forecast, Ground, forecast
from rig.pour.order import Order, floor_of, order_of_pour, place_on
from rig.pour.prepour import CAUTIONS, STEPS
from rig.pour.sheet import Sheet
from rig.pour.true_clock import Stretch
from rig.room import Outline, contains, raster_of, where
from rig.study.lasers import shots_of
from rig.study.planning import grind_first
from rig.surface.gaussian_process import GaussianProcess
from rig.survey.heights import heights_of
from rig.target.level import Plane
from rig.units import counted, format_length, format_off, format_place, format_volume

if TYPE_CHECKING:
    from rig.job.rows import Plan, StoredEvent
    from rig.job.store import Job

CELLS_PER_BATCH = 40
FEWEST_CELLS, MOST_CELLS = 1_500, 6_000
LEARNT_YIELD_DOUBT = 0.05
"""What is left of a yield's doubt once this crew has poured (our own figure, no source)."""
FORGOTTEN_S = 12 * 3600.0


@dataclass(frozen=True)
class Learnt:
    """What a crew's last pour taught: how its hands compare with the figures, and its yield.

    `yield_l` is None where that pour left it unknown.
    """

    hands: float
    yield_l: float | None
    text: str


def ground_of(
    job: "Job",
    outline: Outline,
    plan: "Plan",
    exit_mm: tuple[float, float] | None,
    start_mm: tuple[float, float] | None,
    mix_way_mm: float,
) -> Ground:
    """Lay the plan's cover over the floor, ready to be shared out to batches.

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
    units = job.settings.units
    place_on(outline, "exit", *exit_mm, units)
    if start_mm is not None:
        place_on(outline, "start", *start_mm, units)
    bags = int(plan.result["bags"]["p50"])
    cells = raster_of(outline, min(max(CELLS_PER_BATCH * bags, FEWEST_CELLS), MOST_CELLS))
    heights = heights_of(shots_of(job), "floor", job.setups(), outline)
    surface = GaussianProcess().fit(heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
    z, _ = surface.predict(cells.x_mm, cells.y_mm)
    cover = Plane(plan.a, plan.b, plan.c).at(cells.x_mm, cells.y_mm) - z
    volume_l = float(plan.result["volume_l"]["mean"])
    return Ground(floor_of(outline, cells, cover), exit_mm, start_mm, volume_l, bags, mix_way_mm)


def learnt_from(job: "Job", units: str) -> Learnt | None:
    """Return what the last pour of a job taught, or None; `units` are those it is said in."""
    done = job.events(["pour_done"])
    if not done:
        return None
    last = done[-1].data
    if not last["planned_interval_s"] or not last["interval_s"] or last["share"] <= 0:
        return None
    hands = min(max(last["planned_interval_s"] / last["interval_s"], 0.5), 2.0)
    yield_l, bag = None, "what a bag made was not known"
    if yield_known(last["yield_l"], last.get("yield_stderr_l", 0.0)):
        yield_l = last["yield_l"]
        bag = f"{format_volume(yield_l, units)} a bag on the floor"
    return Learnt(
        hands,
        yield_l,
        f"From this crew's last pour: a batch every {minutes(last['interval_s'])} (planned "
        f"{minutes(last['planned_interval_s'])}), {bag}.",
    )


def pour_result(
    job: "Job",
    outline: Outline,
    plan: "Plan",
    ground: Ground,
    crew: Crew,
    sheet: Sheet,
    temperature_c: float | None,
    learnt: Learnt | None = None,
    runs: int = RUNS,
) -> dict[str, Any]:
    """Plan the pour, as `rig pour plan --json` prints it."""
    units = job.settings.units
    if learnt is not None:
        crew = replace(crew, times=crew.times.faster_by(learnt.hands))
    made = forecast(ground, crew, runs)
    advice = advise(made, ground, runs)
    too_deep = _too_deep(job, plan, sheet)
    of_temperature = sheet.warnings(temperature_c, units)
    against = [*([] if sheet.allows(temperature_c) else of_temperature), *too_deep]
    per_bag_l = sheet.water_per_bag_l
    if per_bag_l is None:
        (compound,) = (x for x in plan.result["materials"] if x["item"] == "compound")
        per_bag_l = float(compound["water_per_bag_l"])
    batches = _batch_rows(made, outline, units, per_bag_l)
    run = made.run
    poured = np.median(run.poured_s, axis=1)
    yield_l = None if learnt is None else learnt.yield_l
    yield_doubt = LEARNT_YIELD_DOUBT
    if yield_l is None:
        yield_l = float(plan.result["volume_l"]["per_bag"])
        yield_l /= 1.0 + float(plan.result["bags"]["waste_share"])
        yield_doubt = YIELD_DOUBT
    return {
        "batches": batches,
        "strips": _strip_rows(job, made, ground),
        "wet_edge_age_s": {"max": float(made.oldest_s.max()), "p95": made.age_p95_s},
        "margin_s": made.margin_s,
        "feasible": made.feasible and not against,
        "allowed_by_sheet": sheet.allows(temperature_c),
        "advice": against[0] if against else advice.text,
        "binds": advice.binds,
        "changes": advice.changes,
        "chance_edge_dies": made.chance_edge_dies,
        "rate_bags_per_h": made.bags_per_h,
        "duration_s": {
            "p50": float(np.median(made.duration_s)),
            "p95": float(np.quantile(made.duration_s, 0.95)),
        },
        "bucket_age_s": {"p95": made.bucket_age_p95_s},
        "idle": made.idle(),
        "roles": {
            "mixing": made.roles.mixing,
            "carrying": made.roles.carrying,
            "spreading": made.roles.spreading,
            "helpers": made.roles.helpers,
            "text": made.roles.text(),
        },
        "mixers": crew.mixers,
        "crew": crew.people,
        "buckets": made.buckets,
        "bags": ground.bags,
        "bays": crew.bays,
        "strip_mm": made.strip_mm,
        "working_time_s": crew.working_s,
        "mix_time_s": crew.times.mix_s,
        "exit": {"x_mm": ground.exit_mm[0], "y_mm": ground.exit_mm[1]},
        "start": {"x_mm": batches[0]["x_mm"], "y_mm": batches[0]["y_mm"]},
        "runs": runs,
        "interval_s": float(np.median(np.diff(poured))) if len(poured) > 1 else 0.0,
        "lead_s": float(np.mean(run.poured_s - run.wet_s)) + crew.times.pour_s,
        "yield_l": yield_l,
        "yield_doubt": yield_doubt,
        "sheet": sheet.as_dict(),
        "prepour": [
            {"key": s.key, "text": s.text, "why": s.why, "ticked": s.key in ticked_of(job)}
            for s in STEPS
        ],
        "assumptions": [
            *crew.times.assumptions(units),
            *_said_of(made, ground, units),
            *([learnt.text] if learnt else []),
        ],
        "warnings": [*grind_first(plan), *of_temperature, *too_deep, *_warnings(made, sheet)],
        "cautions": list(CAUTIONS),
    }


def _batch_rows(
    made: Forecast, outline: Outline, units: str, per_bag_l: float
) -> list[dict[str, Any]]:
    # A schedule goes by the batches' order, though two that begin together may change places.
    wet, poured = (
        np.maximum.accumulate(np.median(times, axis=1))
        for times in (made.run.wet_s, made.run.poured_s)
    )
    ages = made.edge_age_p95_s()
    return [
        {
            "n": batch.n,
            "bags": batch.bags,
            "water_l": batch.bags * per_bag_l,
            "volume_l": batch.volume_l,
            "mix_s": float(wet[k]),
            "pour_s": float(poured[k]),
            "x_mm": batch.x_mm,
            "y_mm": batch.y_mm,
            "strip": batch.strip,
            "bay": batch.bay,
            "area_m2": batch.area_m2,
            "reach_mm": batch.reach_mm,
            "deep": batch.deep,
            "edge_age_p95_s": ages[k],
            "meets": [later + 1 for earlier, later in made.order.seams if earlier == k],
            "where": _where(outline, batch.x_mm, batch.y_mm, units),
        }
        for k, batch in enumerate(made.order.batches)
    ]


def _strip_rows(job: "Job", made: Forecast, ground: Ground) -> list[dict[str, Any]]:
    batches, floor = made.order.batches, ground.floor
    markers: dict[int, list[str]] = {}
    for marker in job.markers():
        cell = floor.nearest(marker.x_mm, marker.y_mm)
        strip = batches[int(made.order.batch_of[cell])].strip
        markers.setdefault(strip, []).append(marker.label)
    rows: list[dict[str, Any]] = []
    total = sum(batch.volume_l for batch in batches)
    done = 0.0
    for number in sorted({batch.strip for batch in batches}):
        inside = [batch for batch in batches if batch.strip == number]
        volume = sum(batch.volume_l for batch in inside)
        done += volume
        rows.append(
            {
                "strip": number,
                "bay": inside[0].bay,
                "batches": [inside[0].n, inside[-1].n],
                "volume_l": volume,
                "share": volume / total,
                "share_end": min(1.0, done / total),
                "markers": markers.get(number, []),
            }
        )
    return rows


def order_again(
    job: "Job", outline: Outline, plan: "Plan", told: dict[str, Any]
) -> tuple[Ground, Order] | None:
    """Share the floor out anew as a stored pour plan did, for its drawing.

    None where it does not come out the same: an older version made it, say.
    """
    result, start = told["result"], told["inputs"].get("start")
    exit_mm = (result["exit"]["x_mm"], result["exit"]["y_mm"])
    start_mm = None if start is None else (float(start[0]), float(start[1]))
    ground = ground_of(job, outline, plan, exit_mm, start_mm, 0.0)
    rows = result["batches"]
    order = order_of_pour(
        ground.floor,
        exit_mm,
        start_mm,
        [row["bags"] for row in rows],
        ground.volume_l,
        result["strip_mm"],
        result["bays"],
    )
    same = len(order.batches) == len(rows) and all(
        abs(batch.x_mm - row["x_mm"]) + abs(batch.y_mm - row["y_mm"]) < 1.0
        for batch, row in zip(order.batches, rows, strict=True)
    )
    return (ground, order) if same else None


def _said_of(made: Forecast, ground: Ground, units: str) -> list[str]:
    crew = made.crew
    said = [
        f"The edge's age counts from water on the powder until the next batch is spread against "
        f"it; working time {minutes(crew.working_s)}, mixing {minutes(crew.times.mix_s)} as given.",
        f"{counted(crew.bags_per_batch, 'bag')} a batch; the mixers stand "
        f"{format_place(ground.mix_way_mm, units)} from the exit, outside.",
    ]
    if crew.times.slake_s == 0:
        said.append("No slaking (rest after mixing): the sheet rules (--slake-time).")
    if crew.strip_mm is None:
        said.append(
            f"Strips {format_place(made.strip_mm, units)} deep, chosen so that the edge stays "
            "young (--strip)."
        )
    if crew.buckets is None:
        said.append(
            f"{counted(made.buckets, 'bucket')} in use, no more: a batch that waits grows old "
            "(--buckets)."
        )
    return said


def _too_deep(job: "Job", plan: "Plan", sheet: Sheet) -> list[str]:
    """Say where one pour takes more than the job or the sheet allows in one go."""
    units, denominator = job.settings.units, job.settings.denominator
    deepest = float(plan.result["cover_mm"]["max"])
    limits = [("the job", job.settings.max_cover_mm), ("the sheet", sheet.max_cover_mm)]
    return [
        f"The deepest place takes {format_off(deepest - limit, units, denominator)} more than the "
        f"{format_length(limit, units, denominator)} that {whose} allows in one go: fill the deep "
        "places first, let them set and survey again, or pour in lifts, each planned by itself."
        for whose, limit in limits
        if limit is not None and deepest > limit
    ]


def _warnings(made: Forecast, sheet: Sheet) -> list[str]:
    said = []
    if sheet.pot_life_s is not None and made.bucket_age_p95_s > sheet.pot_life_s:
        said.append(
            f"A batch may be {minutes(made.bucket_age_p95_s)} old in its bucket, over the pot life "
            f"of {minutes(sheet.pot_life_s)}: mix no faster than you pour, use fewer buckets."
        )
    if made.crew.times.mix_s + made.crew.times.slake_s >= made.crew.working_s:
        said.append("Mixing takes as long as the mix keeps: check both times on the sheet.")
    idle = made.crew.mixers - made.roles.mixing
    if idle > 0:
        said.append(f"{idle} of {made.crew.mixers} mixers would stand idle with this crew.")
    return said


def _where(outline: Outline, x_mm: float, y_mm: float, units: str) -> str:
    if not contains(outline, np.array([x_mm]), np.array([y_mm]))[0]:
        return f"at {format_place(x_mm, units)}, {format_place(y_mm, units)}"
    return where(outline, x_mm, y_mm, units)


# --- the live log ---------------------------------------------------------------------------


def current_pour_plan(job: "Job", plan: "Plan") -> "StoredEvent":
    """Return the pour plan that stands, refusing one of another plan."""
    made = job.events(["pour_plan"])
    if not made:
        raise CannotAnswer("The pour has no plan yet. Make one first: rig pour plan")
    if made[-1].data["plan_id"] != plan.id:
        raise CannotAnswer(
            "The plan of the pour is stale: rig plan was run since. Run rig pour plan again."
        )
    return made[-1]


def plan_of_pour(job: "Job", pour_plan_id: int) -> "tuple[StoredEvent, Plan]":
    """Return the pour plan that a pour was begun by, and the plan under it, whatever came since.

    Raises
    ------
    CannotAnswer
        Where the job no longer holds them.
    """
    told = next((e for e in job.events(["pour_plan"]) if e.id == pour_plan_id), None)
    plan = None if told is None else job.plan(told.data["plan_id"])
    if told is None or plan is None:
        raise CannotAnswer("The job does not hold the plan of this pour any more.")
    return told, plan


def open_pour(job: "Job", utc_s: float) -> "StoredEvent | None":
    """Return the plan of the pour that is under way: batches are logged, and it was not ended."""
    made = job.events(["pour_plan"])
    if not made:
        return None
    stretches = stretches_of(job, made[-1].id)
    poured = any(name == "batch" for stretch in stretches for _, name, _ in stretch.acts)
    if not poured or utc_s - max(one.last_utc_s for one in stretches) > FORGOTTEN_S:
        return None
    return made[-1]


def ticked_of(job: "Job", in_sessions: bool = True) -> list[str]:
    """Return the steps ticked since the last pour was done, those of the live log too or not."""
    ticked: list[str] = []
    for event in job.events(["tick", "ticked", "unticked", "pour_done"]):
        match event.kind:
            case "pour_done":
                ticked = []
            case "tick":
                ticked.append(event.data["step"])
            case "ticked" if in_sessions:
                ticked.append(event.data["step"])
            case "unticked" if event.data["step"] in ticked and in_sessions:
                ticked.remove(event.data["step"])
    return ticked


def after_text(sheet: dict[str, Any], done_utc_s: float) -> Sequence[str]:
    """Say what comes after the pour, by the sheet."""

    def at(seconds: float) -> str:
        return time.strftime("%a %H:%M", time.localtime(done_utc_s + seconds))

    lines = []
    if "walk_on_s" in sheet:
        lines.append(f"Walk on from {at(sheet['walk_on_s'])} (the sheet's time).")
    else:
        lines.append("Walk on when the sheet says (about 4 hours: common practice, no source).")
    if "cover_after_s" in sheet:
        lines.append(f"Cover from {at(sheet['cover_after_s'])} (the sheet's time).")
    else:
        lines.append("Cover when the sheet says; measure the moisture first.")
    lines += [
        "Now: rinse mixers, buckets, rake and roller before they set; no wash water into drains.",
        "Keep sun and draught off. Then shoot the finished floor: rig survey --kind finished",
    ]
    return lines


def stretches_of(job: "Job", pour_plan_id: int) -> list[Stretch]:
    """Return the sessions of the pour that is under way, none where it was stopped."""
    found: list[Stretch] = []
    for session in job.sessions():
        if session.kind != "pour" or session.capture.get("pour_plan") != pour_plan_id:
            continue
        acts: list[tuple[float, str, str | None]] = []
        last = (0.0, session.utc_s)
        stopped = False
        for message in job.stored_messages(session.id):
            if message.what == "event" and message.kind == "end":
                continue  # it bears the time of day of what came before it
            time_s = message.time_s or 0.0
            last = (max(time_s, last[0]), message.utc_s)
            if message.what == "reading" and message.status == "button":
                acts.append((time_s, "batch", None))
            elif message.what == "event" and message.kind == "act":
                acts.append((time_s, message.data["act"], message.data["argument"]))
                stopped |= message.data["act"] == "stop"
        found.append(
            Stretch(
                session.boot_id, session.monotonic_s, session.utc_s, tuple(acts), last[0], last[1]
            )
        )
        if stopped:
            found = []
    return found
