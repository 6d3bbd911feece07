"""The checks of the laser read live: where the rod is to stand, and what is made of its sights."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, assert_never

from rig.errors import BadInput
from rig.language import join, say
from rig.session.begin import CheckWish, Way
from rig.session.check_log import CheckLog
from rig.session.kinds.drift import CheckSettings
from rig.session.source import (
    Source,
    SourceWish,
    begin_now,
    open_source,
    setup_of,
    typed_into,
)
from rig.study.checks import (
    CheckResult,
    check_words,
    cross_check,
    drift_check,
    keep_check,
    repeat_check,
    two_peg_check,
)
from rig.study.lasers import limit_of
from rig.survey.capture import Capture, Stand
from rig.survey.laser.cross import HEADINGS, Turn
from rig.survey.laser.two_peg import PegSight, two_peg
from rig.survey.laser.watch import Watch
from rig.units import Units

if TYPE_CHECKING:
    from rig.events import ShotTaken
    from rig.job.store import Job
    from rig.session.begin import Hand
    from rig.session.kind import Beginning
    from rig.session.scene import Scene

REPEAT_LIMIT_MM = DRIFT_LIMIT_MM = 0.5
"""Of a standard deviation, and of what the line may wander in an hour."""
TITLES: Mapping[str, str] = {
    "two-peg": say("Two pegs"),
    "cross": say("The cross"),
    "repeat": say("One place, again and again"),
    "drift": say("How the line wanders"),
}


def peg_stands(ways_mm: Sequence[Way], units: Units, rise_mm: float | None = None) -> list[Stand]:
    """Return where the rod stands for two pegs; refused now rather than after the walk."""
    two_peg([PegSight(0.0, 0.0, a, b, 1.0) for a, b in ways_mm], rise_mm)
    stands = []
    for n, (a, b) in enumerate(ways_mm, 1):
        laser = say("laser {a} from A and {b} from B", a=units.place(a), b=units.place(b))
        stands += [
            Stand(f"A{n}", where=say("peg A, {laser}", laser=laser)),
            Stand(f"B{n}", where=say("peg B")),
        ]
    return stands


def peg_sights(taken: "Sequence[ShotTaken]", ways_mm: Sequence[Way]) -> list[PegSight]:
    """Return the sights of two pegs, of which A was read before B."""
    read = []
    for on_a, on_b, way in zip(taken[::2], taken[1::2], ways_mm, strict=True):
        doubt = ((on_a.stderr_mm**2 + on_b.stderr_mm**2) / 2.0) ** 0.5
        read.append(PegSight(on_a.reading_mm, on_b.reading_mm, *way, doubt))
    return read


def cross_stands(away_mm: Sequence[float], units: Units, turned: str | None = None) -> list[Stand]:
    """Return how the laser stands for each reading of a cross, at heading 0 again in the end."""
    round_to = say("turn the laser {turned}", turned=turned) if turned else say("turn the laser")
    stands = [
        Stand(
            say("{heading} at {dist}", heading=heading, dist=units.place(dist_mm)),
            where=say(
                "{round_to} to heading {heading}, the rod stays {dist} off",
                round_to=round_to,
                heading=heading,
                dist=units.place(dist_mm),
            ),
        )
        for dist_mm in away_mm
        for heading in HEADINGS
    ]
    back = say(
        "{round_to} on to heading 0 again, the rod stays {off} off",
        round_to=round_to,
        off=units.place(away_mm[-1]),
    )
    return [*stands, Stand("0 again", where=back)]


def cross_turns(taken: "Sequence[ShotTaken]", away_mm: Sequence[float]) -> list[Turn]:
    """Return the readings of a cross, with the last at heading 0."""
    order = [(heading, dist_mm) for dist_mm in away_mm for heading in HEADINGS]
    return [
        Turn(heading, sight.reading_mm, dist_mm, sight.stderr_mm)
        for sight, (heading, dist_mm) in zip(taken, [*order, (0, away_mm[-1])], strict=True)
    ]


def repeat_stands(count: int) -> list[Stand]:
    """Return how the rod stands for each reading of one place."""
    where = say("the same spot, the rod lifted and stood anew")
    return [Stand(f"R{n}", where=where) for n in range(1, count + 1)]


def all_taken(stands: Sequence[Stand], sights: "Sequence[ShotTaken]") -> "list[ShotTaken]":
    """Return the sight of each stand.

    Raises
    ------
    BadInput
        Where the check ended before every stand had its sight.
    """
    taken = {sight.label: sight for sight in sights}
    missing = [stand.label for stand in stands if stand.label not in taken]
    if missing:
        raise BadInput(
            say("The check ended without a sight of {missing}; run it again.", missing=missing[0])
        )
    return [taken[stand.label] for stand in stands]


@dataclass(frozen=True)
class LiveCheck:
    """A check about to be read: what runs, and what ends it.

    `done` judges what was read, keeps that in the job and says it; it refuses where readings lack.
    """

    machine: Capture | Watch
    log: CheckLog
    scene: "Scene"
    opened: Source
    done: Callable[[], str]


def begin_check(job: "Job", wish: CheckWish, wanted: SourceWish, hand: "Hand") -> LiveCheck:
    """Return a check about to be read, its source open.

    Raises
    ------
    RigError
        Distances that tell nothing, a line watched with a tape, a source that is not there.
    """
    from rig.session.scene import Scene
    from rig.session.sections import plan_of

    if wish.check == "drift" and wanted.typed:
        raise BadInput(say("The line is watched with a rod that stands still, not with a tape."))
    stands = _stands(wish, job.units)
    setup = setup_of(job, wish.setup)
    lines = typed_into(job, setup, wanted.unit, False, hand.lines, hand.kept)
    opened = open_source(wanted, job.units.system, hand.clock, lines, hand.complain)
    drift = wish.check == "drift"
    settings = CheckSettings(
        dwell=wish.dwell, walk=wish.walk, still=wish.still, seconds=wish.seconds if drift else None
    )
    begun = begin_now(job, settings, setup, opened)
    machine = Watch(wish.seconds, job.units) if drift else _capture(wish, stands, begun)
    log = CheckLog(job, partial(_started, begun, f"check {wish.check}", opened.name))
    acts = ("quit",) if drift else ("accept", "undo", "quit")
    scene = Scene(
        "survey", TITLES[wish.check], job.units, plan_of(begun.outline), acts=acts,
        by_tape=begun.by_tape,
    )  # fmt: skip
    if drift:
        scene.show("wait", say("leave the rod where it stands"))

    def done() -> str:
        result, inputs = _result(job, wish, setup, stands, log, machine)
        keep_check(job, result, inputs, log.session)
        return join(" ", check_words(result, job.units, limit_of(job, begun.outline, setup)[1]))

    return LiveCheck(machine, log, scene, opened, done)


def _stands(wish: CheckWish, units: Units) -> list[Stand]:
    match wish.check:
        case "two-peg":
            return peg_stands(wish.ways_mm, units)
        case "cross":
            return cross_stands([wish.away_mm], units)
        case "repeat":
            return repeat_stands(wish.count)
        case "drift":
            return []
    assert_never(wish.check)


def _capture(
    wish: CheckWish, stands: Sequence[Stand], begun: "Beginning[CheckSettings]"
) -> Capture:
    return Capture(
        stands,
        kind="check",
        dwell_s=wish.dwell,
        walk_s=wish.walk,
        still_mm=wish.still,
        resolution_mm=begun.resolution_mm,
        foot_mm=begun.foot_mm,
        show=begun.units.length,
    )


def _started(begun: "Beginning[CheckSettings]", kind: str, source: str) -> int:
    return begun.job.start_session(
        kind=kind,
        setup=begun.setup,
        source=source,
        profile_text=begun.rod.text_toml if begun.rod else "",
        capture=begun.settings.as_json(),
        boot_id=begun.boot_id,
        utc_s=begun.utc_s,
    )


def _result(
    job: "Job",
    wish: CheckWish,
    setup: str,
    stands: Sequence[Stand],
    log: CheckLog,
    machine: Capture | Watch,
) -> tuple[CheckResult, dict[str, object]]:
    """Judge what was read; return that, and the readings as the job keeps them."""
    from rig.study.room import outline_of

    if isinstance(machine, Watch):
        times_s, readings_mm = machine.times_s, machine.readings_mm
        watched = drift_check(times_s, readings_mm, limit_mm_per_h=DRIFT_LIMIT_MM)
        return watched, {"times_s": times_s, "readings_mm": readings_mm}
    taken = all_taken(stands, log.sights)
    limit = limit_of(job, outline_of(job), setup)[0]
    if wish.check == "two-peg":
        sights = peg_sights(taken, wish.ways_mm)
        told = [[s.a_mm, s.b_mm, s.dist_a_mm, s.dist_b_mm, s.stderr_mm] for s in sights]
        inputs: dict[str, object] = {"sights": told, "rise_mm": None, "weighted": False}
        return two_peg_check(sights, limit_mm_per_m=limit), inputs
    if wish.check == "cross":
        turns = cross_turns(taken, [wish.away_mm])
        read = [[t.heading_deg, t.reading_mm, t.dist_mm, t.stderr_mm] for t in turns]
        return cross_check(turns, limit_mm_per_m=limit), {"readings": read}
    values = [sight.reading_mm for sight in taken]
    return repeat_check(values, limit_mm=REPEAT_LIMIT_MM), {"readings_mm": values}
