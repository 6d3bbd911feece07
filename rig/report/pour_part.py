"""The part of a report on the pour: its plan, and what was logged of it."""

from collections.abc import Iterator, Sequence

from rig.drawing.pour import Shares, pour_drawing
from rig.errors import RigError
from rig.language import put
from rig.report.document import Block, Bullets, Facts, Figure, Section, Table, Words, section
from rig.report.source import Source
from rig.study.pour_answer import PourPlan, PrepourStep
from rig.study.pour_log import (
    StandingPour,
    last_pour_plan,
    pours_ended,
    prepour_of,
)
from rig.study.pour_plan import order_again
from rig.units import Units
from rig.words import join, numeral, say, say_many
from rig.words import pour as words
from rig.words.clock import clock, minutes


def pour_section(source: Source) -> Section | None:
    """Plan and log of the pour, where there is a plan."""
    made = last_pour_plan(source.job)
    if made is None:
        if source.plan is None:
            return None
        return section("pour", say("The pour"), Words(words.NOT_PLANNED))
    pour_plan_id, kept = made
    answer, units = kept.result, source.job.units
    drawn: Block = Words(words.STALE, "warning")
    if source.plan is not None and kept.plan_id == source.plan.row.id:
        standing = StandingPour(pour_plan_id, kept.inputs, answer, source.plan.row)
        drawn = _figure(source, standing)
    # Once it is poured the list is closed; before that, ticks of the list and of the log count.
    steps = () if pours_ended(source.job) else prepour_of(source.job).prepour
    return section(
        "pour",
        say("The pour"),
        _verdict(answer),
        drawn,
        *_facts(answer, units),
        *_log(source),
        _schedule(answer, units),
        *_before(steps),
        *_notes(answer),
    )


def pour_plan_section(answer: PourPlan, units: Units, *, first: bool) -> Section:
    """The plan of a pour alone, as it was just made; with `first` the cautions are told in full."""
    cautions = Bullets(
        tuple(answer.cautions),
        told="answer" if first else "why",
        reminder="" if first else words.CAUTION,
    )
    return section(
        "pour",
        say("The pour"),
        _verdict(answer),
        *_facts(answer, units),
        _schedule(answer, units),
        *_before(answer.prepour),
        *_notes(answer),
        Words(say("Cautions:"), told="answer" if first else "why"),
        cautions,
    )


def _verdict(answer: PourPlan) -> Words:
    said = words.verdict(answer.feasible, answer.allowed_by_sheet)
    return Words(
        put("{said} {advice}", said=said, advice=answer.advice),
        "plain" if answer.feasible else "warning",
        told="answer",
    )


def _facts(answer: PourPlan, units: Units) -> Iterator[Facts]:
    edge, first = answer.wet_edge_age_s, answer.batches[0]
    strips = say_many("{count} strip", "{count} strips", len(answer.strips))
    yield Facts(
        (
            (
                say("Batches"),
                say(
                    "{batches} in {strips} {strip} deep, {bags}",
                    batches=len(answer.batches),
                    strips=strips,
                    strip=units.place(answer.strip_mm),
                    bags=say_many("{count} bag", "{count} bags", answer.bags),
                ),
            ),
            (say("Crew"), put("{crew}: {roles}", crew=answer.crew, roles=answer.roles.text)),
            (
                say("Takes"),
                say(
                    "{p50}; 95 times in 100 under {p95}",
                    p50=minutes(answer.duration_s.p50),
                    p95=minutes(answer.duration_s.p95),
                ),
            ),
            (
                say("Oldest wet edge"),
                say(
                    "{p95} in 95 of 100 pours; it keeps {working_time}, so {margin} are left",
                    p95=minutes(edge.p95),
                    working_time=minutes(answer.working_time_s),
                    margin=minutes(answer.margin_s),
                ),
            ),
        ),
        told="answer",
    )
    idle = words.idle(answer.idle)
    yield Facts(
        (
            (
                say("Mixers and buckets"),
                say("{mixers} and {buckets}", mixers=answer.mixers, buckets=answer.buckets),
            ),
            (say("A batch in place"), units.volume(first.volume_l)),
            (say("Water in it"), units.volume(first.water_l, liquid=True)),
            (
                say("Pace"),
                say(
                    "{rate_bags_per_h} bags an hour",
                    rate_bags_per_h=numeral(answer.rate_bags_per_h, ".0f"),
                ),
            ),
            (say("Waiting"), idle),
            (
                say("Edge at its worst"),
                say(
                    "{max} in the worst of {runs} pours tried; {edge_dies}",
                    max=minutes(edge.max),
                    runs=answer.runs,
                    edge_dies=words.edge_dies(answer.chance_edge_dies),
                ),
            ),
        )
    )


def _schedule(answer: PourPlan, units: Units) -> Table:
    rows: list[tuple[str, ...]] = []
    bay = 1
    for one in answer.batches:
        if one.bay != bay:
            bay = one.bay
            rows.append(
                (
                    "",
                    "",
                    "",
                    "",
                    "",
                    say("Stop: let bay {bay} set, then bay {bay_2}", bay=bay - 1, bay_2=bay),
                    "",
                )
            )
        rows.append(
            (
                str(one.n),
                str(one.strip),
                numeral(one.bags, "g"),
                clock(one.mix_s),
                clock(one.pour_s),
                say("{where} (deep: first)", where=one.where) if one.deep else one.where,
                units.place(one.reach_mm),
            )
        )
    return Table(
        say("Schedule, from the first water on powder"),
        (
            say("Batch"),
            say("Strip"),
            say("Bags"),
            say("Mix"),
            say("Pour"),
            say("Where"),
            say("Reach"),
        ),
        tuple(rows),
        right=(0, 1, 2, 3, 4, 6),
    )


def _before(steps: Sequence[PrepourStep]) -> Iterator[Table]:
    if not steps:
        return
    left = [step.key for step in steps if not step.ticked]
    rows = tuple(("yes" if step.ticked else "no", step.text, step.why) for step in steps)
    head = (say("Ticked"), say("Before the pour"), say("because it can't be made good later"))
    yield Table(say("Before the pour"), head, rows, reminder=words.not_ticked(left) if left else "")


def _notes(answer: PourPlan) -> Iterator[Block]:
    if answer.changes:
        yield Words(say("Changes that were tried:"))
        yield Bullets(
            tuple(
                say("{change}: margin {margin}", change=one.change, margin=minutes(one.margin_s))
                for one in answer.changes
            )
        )
    if answer.assumptions:
        yield Words(say("Assumed:"))
        yield Bullets(answer.assumptions)
    warnings = tuple(text for text in answer.warnings if text != answer.advice)
    if warnings:
        yield Bullets(warnings, "warning", told="answer")


def _figure(source: Source, made: StandingPour) -> Figure:
    answer = made.answer
    try:
        again = order_again(source.job, source.outline, made)
    except RigError:
        again = None  # the drawing then goes without the batches' shares of the floor
    shares = None
    if again is not None:
        ground, order = again
        floor = ground.floor
        shares = Shares(floor.x_mm, floor.y_mm, floor.step_mm, order.batch_of)
    poured = {batch.n for batch in source.job.batches() if batch.poured_utc_s is not None}
    poured |= _told_covered(source, answer)
    exit_mm = (answer.exit.x_mm, answer.exit.y_mm)
    return Figure(
        "pour",
        pour_drawing(source.outline, source.look, answer.batches, exit_mm, shares, poured),
    )


def _told_covered(source: Source, answer: PourPlan) -> set[int]:
    """Batches of the plan that lie behind the front as it was told last, however many were mixed.

    A crew may mix larger batches than planned: the floor is covered all the same.
    """
    ended = [one for _, one in pours_ended(source.job) if one.batches]
    if not ended:
        return set()
    whole = sum(batch.volume_l for batch in answer.batches)
    covered, behind = set(), 0.0
    for batch in answer.batches:
        behind += batch.volume_l
        if behind <= (ended[-1].share + 1e-6) * whole + 0.5 * batch.volume_l:
            covered.add(batch.n)
    return covered


def _log(source: Source) -> Iterator[Block]:
    poured = [batch for batch in source.job.batches() if batch.poured_utc_s is not None]
    ended = pours_ended(source.job)
    if not poured and not ended:
        yield Words(words.NOTHING_POURED)
        return
    if not ended:
        yield Words(
            say(
                "Under way: {batchs} poured.",
                batchs=say_many("{count} batch", "{count} batches", len(poured)),
            ),
            "lead",
        )
        return
    # A stop without a batch is a slip after the pour, not another one.
    utc_s, last = ([one for one in ended if one[1].batches] or ended)[-1]
    made_l, batches = last.known_yield_l, say_many("{count} batch", "{count} batches", last.batches)
    rows = [
        (say("Ended (UTC)"), source.time(utc_s)),
        (
            say("Poured"),
            put(
                "{batches}, {bags}",
                batches=batches,
                bags=say_many("{count} bag", "{count} bags", last.bags_used),
            ),
        ),
        (say("Told covered"), say("{share} of the floor", share=numeral(last.share, ".0%"))),
        (say("A bag made"), say("not known") if made_l is None else source.volume(made_l)),
    ]
    if last.interval_s:
        planned = minutes(last.planned_interval_s)
        rows.append(
            (
                say("A batch every"),
                say(
                    "{interval}, planned {planned}",
                    interval=minutes(last.interval_s),
                    planned=planned,
                ),
            )
        )
    yield Words(say("Poured."), "lead")
    yield Facts(tuple(rows))
    if last.unticked and source.options.audience == "crew":
        names = join(", ", last.unticked)
        yield Words(say("Never ticked before the pour: {names}.", names=names), "warning")
