"""Checks of the laser, typed in: two pegs, the cross, how well one place repeats."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from rig.devices.typed import TAPE_RESOLUTION_MM, typed_stderr_mm
from rig.errors import BadInput
from rig.language import say
from rig.page.steps.source import SourceView, keep_profile, source_of, source_view
from rig.page.visit import NO_ACT, Form, Step, Visit
from rig.page.work import Wanted
from rig.record import Record
from rig.session.begin import CheckWish
from rig.study.checks import (
    CheckResult,
    CrossCheck,
    DriftCheck,
    RepeatCheck,
    TwoPegCheck,
    check_words,
    cross_check,
    keep_check,
    last_check,
    repeat_check,
    two_peg_check,
)
from rig.study.lasers import limit_of
from rig.study.room import outline_of
from rig.survey.laser.cross import HEADINGS, Turn
from rig.survey.laser.two_peg import PegSight
from rig.units import parse_duration
from rig.words import checks as words

SIGHTS, REPEATS = 2, 10
REPEAT_LIMIT_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked(Record):
    """What a check found when it was last made."""

    ok: bool
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LaserView(Record):
    """What the page of the laser's checks shows: by its key what each found last."""

    last: Mapping[str, Checked]
    unit: str
    units: Mapping[str, str]
    sights: tuple[int, ...]
    headings: tuple[int, ...]
    repeats: tuple[int, ...]
    source: SourceView


class _Laser(Step):
    key = "laser"
    of_job = True

    def view(self, visit: Visit) -> LaserView:
        kinds = {"two-peg": TwoPegCheck, "cross": CrossCheck, "repeat": RepeatCheck,
                 "drift": DriftCheck}  # fmt: skip
        last = {}
        for key, kind in kinds.items():
            found = last_check(visit.job, kind)
            if found is not None:
                lines = check_words(found, visit.units, _limit(visit)[1])
                last[key] = Checked(ok=found.ok, lines=tuple(lines))
        return LaserView(
            last=last,
            unit=_unit(visit),
            units=words.UNITS,
            sights=tuple(range(1, SIGHTS + 1)),
            headings=HEADINGS,
            repeats=tuple(range(1, REPEATS + 1)),
            source=source_view(visit, simulated=False),
        )

    def act(self, visit: Visit, act: str) -> "str | Wanted | None":
        if keep_profile(visit, act):
            return None
        if act.startswith("live "):
            return _live(visit, act.removeprefix("live "))
        match act:
            case "two-peg":
                result, inputs = _two_peg(visit)
            case "cross":
                result, inputs = _cross(visit)
            case "repeat":
                result, inputs = _repeat(visit)
            case _:
                raise BadInput(NO_ACT)
        keep_check(visit.job, result, inputs, None)
        return ""


def _live(visit: Visit, check: str) -> Wanted:
    """Return the check that is to be read with the rod."""
    form = visit.form
    setup = form.name("setup", say("The set-up"), needed=False)
    match check:
        case "two-peg":
            typed = [_away(visit, f"to_{peg}{n}") for n in range(1, SIGHTS + 1) for peg in "ab"]
            a1, b1, a2, b2 = _all(form, typed)
            wish = CheckWish(check="two-peg", setup=setup, ways_mm=((a1, b1), (a2, b2)))
        case "cross":
            (away_mm,) = _all(form, [_away(visit, "away")])
            wish = CheckWish(check="cross", setup=setup, away_mm=away_mm)
        case "repeat":
            wish = CheckWish(check="repeat", setup=setup)
        case "drift":
            watched = form.read("watched", partial(parse_duration, bare="min"), say("How long?"))
            (seconds,) = _all(form, [watched])
            wish = CheckWish(check="drift", setup=setup, seconds=seconds)
        case _:
            raise BadInput(NO_ACT)
    source = source_of(visit)
    form.check()
    return Wanted(wish=wish, source=source, back="laser")


def _unit(visit: Visit) -> str:
    return visit.job.settings.typed_unit or visit.cover_unit


def _limit(visit: Visit) -> tuple[float, str]:
    return limit_of(visit.job, outline_of(visit.job), visit.job.last_setup() or "1")


def _stderr_mm(visit: Visit) -> float:
    metric = _unit(visit) not in ("in", "ft")
    return typed_stderr_mm(TAPE_RESOLUTION_MM["mm" if metric else "in"])


def _read(visit: Visit, name: str, what: str, needed: str | None = None) -> float | None:
    asks = say("What does it read?") if needed is None else needed
    return visit.form.length(name, what, _unit(visit), needed=asks, above=0.0)


def _away(visit: Visit, name: str) -> float | None:
    needed = say("How far is it?")
    return visit.form.length(name, say("The distance"), visit.room_unit, needed=needed, above=0.0)


def _all(form: Form, values: Sequence[float | None]) -> Iterator[float]:
    """Yield what was typed, or refuse the form where one is missing."""
    form.check()
    for value in values:
        assert value is not None
        yield value


def _two_peg(visit: Visit) -> tuple[CheckResult, dict[str, object]]:
    form, sights = visit.form, []
    for n in range(1, SIGHTS + 1):
        typed = [
            _read(visit, f"a{n}", say("Peg A")),
            _read(visit, f"b{n}", say("Peg B")),
            _away(visit, f"to_a{n}"),
            _away(visit, f"to_b{n}"),
        ]
        sights.append(typed)
    read = []
    for typed in sights:
        a_mm, b_mm, to_a_mm, to_b_mm = _all(form, typed)
        read.append(PegSight(a_mm, b_mm, to_a_mm, to_b_mm, _stderr_mm(visit)))
    check = two_peg_check(read, limit_mm_per_m=_limit(visit)[0])
    told = [[s.a_mm, s.b_mm, s.dist_a_mm, s.dist_b_mm, s.stderr_mm] for s in read]
    return check, {"sights": told, "rise_mm": None, "weighted": False}


def _cross(visit: Visit) -> tuple[CheckResult, dict[str, object]]:
    typed = [_away(visit, "away"), *(_read(visit, f"at{h}", say("The target")) for h in HEADINGS)]
    away_mm, *read_mm = _all(visit.form, typed)
    doubt_mm = _stderr_mm(visit)
    turns = [Turn(h, mm, away_mm, doubt_mm) for h, mm in zip(HEADINGS, read_mm, strict=True)]
    check = cross_check(turns, limit_mm_per_m=_limit(visit)[0])
    told = [[t.heading_deg, t.reading_mm, t.dist_mm, t.stderr_mm] for t in turns]
    return check, {"readings": told}


def _repeat(visit: Visit) -> tuple[CheckResult, dict[str, object]]:
    typed = [_read(visit, f"r{n}", say("The reading"), needed="") for n in range(1, REPEATS + 1)]
    visit.form.check()
    values = [mm for mm in typed if mm is not None]
    if len(values) < 2:
        raise BadInput(words.TWO_READINGS)
    return repeat_check(values, limit_mm=REPEAT_LIMIT_MM), {"readings_mm": values}


STEP = _Laser()
