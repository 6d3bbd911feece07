"""What a session begins with: the settings of a kind, made from a wish and a job as it stands."""

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from rig.record import Record, from_json
from rig.session.kinds.set import SetSettings
from rig.session.kinds.survey import LineBefore, ShotKind, SurveySettings
from rig.session.places import WALKED, Place, last_shot, places_to_shoot
from rig.session.source import (
    Complain,
    Source,
    SourceWish,
    begin_now,
    open_source,
    setup_of,
    typed_into,
)
from rig.session.source import complain as aloud
from rig.study.lasers import set_place
from rig.study.line_before import line_of
from rig.study.rooms import everywhere, in_room
from rig.study.sense import is_sense_known
from rig.survey.laser.line_watch import EVERY_S

if TYPE_CHECKING:
    import asyncio
    from collections.abc import Callable

    from rig.devices.clock import Clock
    from rig.devices.typed import TypedUnit
    from rig.job.store import Job
    from rig.session.kind import Beginning
    from rig.session.kinds.drag import DragSettings
    from rig.session.kinds.pour import PourSettings
    from rig.study.pour_answer import PourWish
    from rig.study.pour_plan import ToLog


@dataclass(frozen=True, kw_only=True)
class Hand:
    """What stands in for the usual in a session's source.

    Attributes
    ----------
    clock : Clock or None
        In place of the rod's own.
    lines : callable or None
        Makes the queue of what is typed, in place of standard input.
    kept : callable
        Hears what unit typed numbers are in, once that is settled.
    complain : callable
        Hears what is wrong with what comes.
    """

    clock: "Clock | None" = None
    lines: "Callable[[], asyncio.Queue[str]] | None" = None
    kept: "Callable[[TypedUnit], None]" = lambda unit: None
    complain: Complain = aloud


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyWish(Record):
    """What a survey is asked for; lengths in mm, times in s."""

    kind: ShotKind = "floor"
    labels: tuple[str, ...] = ()
    at: tuple[float, float] | None = None
    laser: tuple[float, float] | None = None
    setup: str | None = None
    rock: bool = False
    skip_check: bool = False
    log_limit: int | None = None
    dwell: float = 1.0
    walk: float = 1.0
    still: float = 0.5
    room: str | None = None


def _places(job: "Job", wish: SurveyWish) -> "list[Place]":
    """Return the places to shoot, of one room where it was named; lines are the whole job's."""
    with everywhere(job):
        return places_to_shoot(in_room(job, wish.room), wish.kind, wish.labels, wish.at)


def begin_survey(
    job: "Job", wish: SurveyWish, wanted: SourceWish, hand: Hand
) -> "tuple[Beginning[SurveySettings], Source]":
    """Return what a survey begins with, its source open.

    Raises
    ------
    RigError
        A place that is none, nothing left to shoot, a source that is not there.
    """
    units = job.units.system
    points = _places(job, wish)
    setup = setup_of(job, wish.setup)
    walked = [one for one in job.sessions() if one.capture.get("kind") in WALKED]
    asks_sense = wish.kind in WALKED and not walked and not is_sense_known(job, setup)
    lines = typed_into(job, setup, wanted.unit, asks_sense, hand.lines, hand.kept)
    source = open_source(wanted, units, hand.clock, lines, hand.complain)
    kept = line_of(job, setup, wish.kind, source.utc_s())
    line = None if kept is None else from_json(LineBefore, kept)
    opens = line is not None and _begins_with_sight(line, wish, points[0][0])
    if wish.laser is not None and not (opens and setup in job.settings.laser_places):
        set_place(job, setup, wish.laser)  # else the first sight tells which set-up it is
    settings = SurveySettings(
        dwell_s=wish.dwell,
        walk_s=wish.walk,
        still_mm=wish.still,
        rock=wish.rock,
        kind=wish.kind,
        units=units,  # of what is typed, should the job's change
        points=tuple(points),
        resumes_from=last_shot(job, wish.kind, setup),
        line=line,
        checks=wish.kind in WALKED and not wish.skip_check,
        undoes_skips=True,
        opens=opens,
        clamp_mm=source.profile.clamp_mm if source.profile else None,
    )
    return begin_now(job, settings, setup, source), source


def _begins_with_sight(line: LineBefore, wish: SurveyWish, label: str) -> bool:
    """Whether the line is looked at before anything is shot from it.

    A benchmark is a sight itself, where it is the one that the set-up is known by; a single
    threshold trusts a sight of just now.
    """
    if wish.skip_check or not line.opens:
        return False
    if wish.kind == "benchmark":
        return line.known.label == label
    return wish.kind in WALKED or line.known.checked_s <= -EVERY_S


@dataclass(frozen=True, slots=True, kw_only=True)
class DragWish(Record):
    """What a slide of the rod is asked for: the labels of its ends; times in s."""

    drag: tuple[str, str]
    setup: str | None = None
    log_limit: int | None = None
    dwell: float = 1.0
    walk: float = 1.0
    still: float = 0.5
    room: str | None = None


def begin_drag(
    job: "Job", wish: DragWish, wanted: SourceWish, hand: Hand
) -> "tuple[Beginning[DragSettings], Source]":
    """Return what a slide begins with, its source open.

    Raises
    ------
    RigError
        An end without a shot, a source that is not there or no rod.
    """
    from rig.errors import BadInput
    from rig.language import say
    from rig.session.kinds.drag import DragSettings
    from rig.study.dragged import rise_between

    if wanted.typed:
        raise BadInput(say("A tape does not slide: --drag needs a rod (--serial, --ble)."))
    both, rise_mm, stderr_mm = rise_between(in_room(job, wish.room), *wish.drag)
    setup = setup_of(job, wish.setup)
    source = open_source(wanted, job.units.system, hand.clock, complain=hand.complain)
    start, end = ((both.labels[n], float(both.x_mm[n]), float(both.y_mm[n])) for n in (0, 1))
    settings = DragSettings(
        dwell_s=wish.dwell,
        walk_s=wish.walk,
        still_mm=wish.still,
        start=start,
        end=end,
        rise_mm=rise_mm,
        rise_stderr_mm=stderr_mm,
        units=job.units.system,
        clamp_mm=source.profile.clamp_mm if source.profile else None,
    )
    return begin_now(job, settings, setup, source), source


@dataclass(frozen=True, slots=True, kw_only=True)
class SetWish(Record):
    """What a setting is asked for; lengths in mm, times in s."""

    tolerance: float = 1.0
    laser: tuple[float, float] | None = None
    setup: str | None = None
    marker: str | None = None
    skip_check: bool = False
    log_limit: int | None = None
    dwell: float = 1.0
    walk: float = 1.0
    still: float = 0.5


Way = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckWish(Record):
    """A check that is to be read live.

    Attributes
    ----------
    ways_mm : tuple of (float, float)
        Two pegs: how far the laser stands from A and B, once a sight.
    away_mm : float
        The cross: from the laser to the target.
    count : int
        How often one place is read.
    seconds : float
        How long the line is watched.
    """

    check: Literal["two-peg", "cross", "repeat", "drift"]
    setup: str | None = None
    ways_mm: tuple[Way, ...] = ()
    away_mm: float = 0.0
    count: int = 10
    seconds: float = 600.0
    dwell: float = 1.0
    walk: float = 1.0
    still: float = 0.5


def begin_setting(
    job: "Job", wish: SetWish, wanted: SourceWish, hand: Hand
) -> "tuple[Beginning[SetSettings], Source]":
    """Return what the setting of markers begins with, its source open."""
    units = job.units.system
    setup = setup_of(job, wish.setup)
    lines = typed_into(job, setup, wanted.unit, False, hand.lines, hand.kept)
    source = open_source(wanted, units, hand.clock, lines, hand.complain)
    if wish.laser is not None:
        set_place(job, setup, wish.laser)
    settings = SetSettings(
        dwell_s=wish.dwell,
        walk_s=wish.walk,
        still_mm=wish.still,
        tolerance_mm=wish.tolerance,
        marker=wish.marker,
        skip_check=wish.skip_check,
        units=units,
        clamp_mm=source.profile.clamp_mm if source.profile else None,
    )
    return begin_now(job, settings, setup, source), source


def begin_pour(
    job: "Job",
    bags: float | None = None,
    wish: "PourWish | None" = None,
    heard: "Callable[[ToLog], None]" = lambda found: None,
) -> "Beginning[PourSettings]":
    """Return what the log of a pour begins with: the pour under way, else that of the last plan.

    Parameters
    ----------
    job : Job
        Open for writing.
    bags : float, optional
        On site; the plan's, to be 95 % sure, unless said.
    wish : PourWish, optional
        Makes a plan first, where it says something and no pour is under way.
    heard : callable, optional
        Hears which pour it is.
    """
    from rig.session.kinds.pour import PourSettings
    from rig.session.pouring import bags_on_site
    from rig.study.pour_answer import PourWish
    from rig.study.pour_plan import pour_to_log
    from rig.study.room import outline_of

    found = pour_to_log(job, outline_of(job), wish or PourWish(), time.time())
    heard(found)
    settings = PourSettings(pour_plan=found.pour.id, bags=bags_on_site(found.pour, bags))
    return begin_now(job, settings, setup_of(job, None))
