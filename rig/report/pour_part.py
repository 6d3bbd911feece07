"""The part of a report on the pour: its plan, and what was logged of it."""

from typing import Any

from rig.drawing.work import Shares, pour_drawing
from rig.errors import RigError
from rig.pour.clock_text import clock, minutes
from rig.pour.estimate import yield_known
from rig.report.document import Facts, Figure, Section, Table, Words, bullets, section
from rig.report.source import Source
from rig.study.pour_plan import order_again
from rig.units import counted


def pour_section(source: Source) -> Section | None:
    """Plan and log of the pour, where there is a plan."""
    made = source.job.events(["pour_plan"])
    if not made:
        if source.plan is None:
            return None
        return section("pour", "The pour", Words("Not planned yet (rig pour plan)."))
    told = made[-1].data
    result = told["result"]
    stale = source.plan is None or told["plan_id"] != source.plan.id
    edge = result["wet_edge_age_s"]
    rows = [
        ("Batches", f"{len(result['batches'])} in {counted(len(result['strips']), 'strip')}"),
        ("Bags", str(result["bags"])),
        ("Crew", f"{result['crew']}: {result['roles']['text']}"),
        ("Mixers and buckets", f"{result['mixers']} and {result['buckets']}"),
        ("A batch in place", source.volume(result["batches"][0]["volume_l"])),
        ("Water in it", source.volume(result["batches"][0]["water_l"], liquid=True)),
        (
            "Takes",
            f"{minutes(result['duration_s']['p50'])}; 95 times in 100 under "
            f"{minutes(result['duration_s']['p95'])}",
        ),
        (
            "Oldest wet edge",
            f"{minutes(edge['p95'])} in 95 of 100 pours; it keeps "
            f"{minutes(result['working_time_s'])}, so {minutes(result['margin_s'])} are left",
        ),
    ]
    if result["feasible"]:
        verdict = Words(f"Can be poured in one go. {result['advice']}")
    else:
        # A plan of an older version says nothing of the temperature.
        how = "in one pour" if result.get("allowed_by_sheet", True) else "at this temperature"
        verdict = Words(f"Not feasible {how}. {result['advice']}", "warning")
    batches = tuple(
        (
            str(row["n"]),
            str(row["strip"]),
            f"{row['bags']:g}",
            clock(row["mix_s"]),
            clock(row["pour_s"]),
            row["where"] + (" (deep: first)" if row["deep"] else ""),
        )
        for row in result["batches"]
    )
    return section(
        "pour",
        "The pour",
        verdict,
        Words("This pour plan is stale: rig plan was run since.", "warning") if stale else None,
        None if stale else _figure(source, told),
        Facts(tuple(rows)),
        *_log(source),
        Table(
            "Schedule, from the first water on powder",
            ("Batch", "Strip", "Bags", "Mix", "Pour", "Where"),
            batches,
            right=(0, 1, 2, 3, 4),
        ),
        *_before(source, result),
        Words("Assumed:") if result["assumptions"] else None,
        bullets(result["assumptions"]),
        bullets(result["warnings"], "warning"),
        new_page=True,
    )


def _figure(source: Source, told: dict[str, Any]) -> Figure:
    plan, result = source.plan, told["result"]
    assert plan is not None
    try:
        again = order_again(source.job, source.outline, plan, told)
    except RigError:
        again = None  # the drawing then goes without the batches' shares of the floor
    shares = None
    if again is not None:
        ground, order = again
        floor = ground.floor
        shares = Shares(floor.x_mm, floor.y_mm, floor.step_mm, order.batch_of)
    poured = {batch.n for batch in source.job.batches() if batch.poured_utc_s is not None}
    exit_mm = (result["exit"]["x_mm"], result["exit"]["y_mm"])
    return Figure(
        "pour",
        pour_drawing(source.outline, source.look, result["batches"], exit_mm, shares, poured),
    )


def _log(source: Source) -> list[Any]:
    poured = [batch for batch in source.job.batches() if batch.poured_utc_s is not None]
    done = source.job.events(["pour_done"])
    if not poured and not done:
        return [Words("Nothing has been poured yet.")]
    if not done:
        return [Words(f"Under way: {counted(len(poured), 'batch', 'batches')} poured.", "lead")]
    # A stop without a batch is a slip after the pour, not another one.
    end = [event for event in done if event.data["batches"]][-1:] or done[-1:]
    last = end[0].data
    known = yield_known(last["yield_l"], last.get("yield_stderr_l", 0.0))
    rows = [
        ("Ended (UTC)", source.time(end[0].utc_s)),
        (
            "Poured",
            f"{counted(last['batches'], 'batch', 'batches')}, {counted(last['bags_used'], 'bag')}",
        ),
        ("Told covered", f"{last['share']:.0%} of the floor"),
        ("A bag made", source.volume(last["yield_l"]) if known else "not known"),
    ]
    if last["interval_s"]:
        planned = last["planned_interval_s"]
        rows.append(("A batch every", f"{minutes(last['interval_s'])}, planned {minutes(planned)}"))
    said: list[Any] = [Words("Poured.", "lead"), Facts(tuple(rows))]
    if last["unticked"]:
        names = ", ".join(last["unticked"])
        said.append(Words(f"Never ticked before the pour: {names}.", "warning"))
    return said


def _before(source: Source, result: dict[str, Any]) -> list[Any]:
    from rig.study.pour_plan import ticked_of

    done = source.job.events(["pour_done"])
    # Once it is poured the list is closed; before that, ticks of the list and of the log count.
    ticked = set() if done else set(ticked_of(source.job))
    rows = tuple(
        ("" if done else "yes" if step["key"] in ticked else "no", step["text"], step["why"])
        for step in result["prepour"]
    )
    head = ("Ticked", "Before the pour", "because it can't be made good later")
    if done:
        return []
    return [Table("Before the pour", head, rows)]
