"""The checks of laser and rod: from readings to a judged result, and to what a person is told.

A result is kept in the job as its JSON and read back here.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypeVar, assert_never

from rig.errors import JobUnusable
from rig.record import Record, from_json
from rig.survey.laser.verdict import checked_limit, judge, judge_spread, judge_tilt
from rig.units import Units
from rig.words import checks as words
from rig.words import say

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.survey.laser.cross import Turn
    from rig.survey.laser.two_peg import PegSight

Word = Literal["in", "out", "unsure"]

# By noise alone sights disagree as much so rarely: beyond three sigma of a normal.
RARE = 0.0027


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoPegCheck(Record):
    """How far the line climbs with distance; `chance_agree` is None without redundancy."""

    error_mm_per_m: float
    stderr_mm_per_m: float
    rise_mm: float
    residuals_mm: tuple[float, ...]
    redundancy: int
    chance_agree: float | None
    limit_mm_per_m: float
    chance_in: float
    verdict: Word
    ok: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected(Record):
    """The slope that is taken off a set-up's shots, along the plan's x and y."""

    setup: str
    slope_mm_per_m: tuple[float, float]
    stderr_mm_per_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossCheck(Record):
    """The line's tilt along the laser's own axes, and whether the readings agree (`Cross`)."""

    tilt_mm_per_m: tuple[float, float]
    stderr_mm_per_m: float
    closure_mm: float
    closure_allowed_mm: float
    return_mm: float | None
    return_allowed_mm: float | None
    cone_mm_per_m: float | None
    cone_stderr_mm_per_m: float | None
    left_mm_per_m: float | None = None
    corrected: Corrected | None = None
    limit_mm_per_m: float
    chance_in: float
    verdict: Word
    ok: bool

    @property
    def closes(self) -> bool:
        """Say whether the readings agree with each other within their noise."""
        from rig.survey.laser.cross import agree

        return agree(
            self.closure_mm, self.closure_allowed_mm, self.return_mm, self.return_allowed_mm
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatCheck(Record):
    """How readings of one place scatter; per metre where the distance is known."""

    n: int
    mean_mm: float
    mean_stderr_mm: float
    sd_mm: float
    sd_ci95_mm: tuple[float, float]
    sd_mm_per_m: float | None
    limit_mm: float
    limit_mm_per_m: float | None
    chance_in: float
    verdict: Word
    ok: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftCheck(Record):
    """How the line wandered over a watch (`Drift`)."""

    seconds: float
    n: int
    change_mm: float
    stderr_mm: float
    rate_mm_per_h: float
    rate_stderr_mm_per_h: float
    noise_mm: float
    warm_up_mm: float | None
    warm_up_s: float | None
    limit_mm_per_h: float
    limit_mm_per_m: None = None
    chance_in: float
    verdict: Word
    ok: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaning(Record):
    """What a rod that leans so far reads too much."""

    tilt_deg: float
    error_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RodResult(Record):
    """The rod against a tape (`RodCheck`), and what being out of plumb does at that height."""

    zero_offset_mm: float
    stderr_mm: float
    scale_mm_per_m: float | None
    scale_stderr_mm_per_m: float | None
    sd_mm: float | None
    plumb: tuple[Leaning, ...]
    limit_mm: float
    chance_in: float
    verdict: Word
    ok: bool

    @property
    def reach_mm(self) -> float:
        """The mean reading, at which leaning is reckoned."""
        most = self.plumb[-1]
        return most.error_mm / (1.0 - math.cos(math.radians(most.tilt_deg)))


CheckResult = TwoPegCheck | CrossCheck | RepeatCheck | DriftCheck | RodResult
KINDS: dict[str, type[CheckResult]] = {
    "two-peg": TwoPegCheck,
    "cross": CrossCheck,
    "repeat": RepeatCheck,
    "drift": DriftCheck,
    "rod": RodResult,
}
C = TypeVar("C", TwoPegCheck, CrossCheck, RepeatCheck, DriftCheck, RodResult)


def foot_of(job: "Job", foot_mm: float) -> float:
    """Return how well a rod finds one place again, one standard deviation, in mm.

    The last `rig check repeat` knows it where its readings scatter more than the rod's profile
    says: what its stands differ by holds foot, lean and slow noise together.
    """
    from rig.survey.laser.repeat import FEW

    found = last_check(job, RepeatCheck)
    return foot_mm if found is None or found.n < FEW else max(foot_mm, found.sd_mm)


def last_check(job: "Job", kind: type[C]) -> C | None:
    """Return the job's last check of a kind, or None.

    Raises
    ------
    JobUnusable
        It is not as this program, or an older one, writes it.
    """
    name = next(name for name, one in KINDS.items() if one is kind)
    kept = [check for check in job.checks() if check.kind == name]
    if not kept:
        return None
    try:
        return from_json(kind, kept[-1].result)
    except ValueError as error:
        raise JobUnusable(
            say(
                "{path}: its last {name} check is not as floor-rig writes it; make it again: "
                "rig check {name}",
                path=job.path,
                name=name,
            )
        ) from error


def keep_check(
    job: "Job", result: CheckResult, inputs: Mapping[str, object], session_id: int | None
) -> None:
    """Keep a check in the job, with what it was made from and the session that it was read in."""
    job.add_check(kind_of(result), inputs, result.as_json(), result.ok, session_id=session_id)


def kind_of(result: CheckResult) -> str:
    """Return the word by which a check is called."""
    return next(name for name, kind in KINDS.items() if type(result) is kind)


def two_peg_check(
    sights: "Sequence[PegSight]",
    *,
    limit_mm_per_m: float,
    rise_mm: float | None = None,
    weighted: bool = False,
) -> TwoPegCheck:
    """Find the radial error of a line and judge it; see `two_peg`."""
    from rig.survey.laser.two_peg import two_peg

    found = two_peg(sights, rise_mm, weighted)
    limit = checked_limit(limit_mm_per_m)
    judged = judge(found.error_mm_per_m, found.stderr_mm_per_m, limit)
    return TwoPegCheck(
        error_mm_per_m=found.error_mm_per_m,
        stderr_mm_per_m=found.stderr_mm_per_m,
        rise_mm=found.rise_mm,
        residuals_mm=tuple(float(one) for one in found.residuals_mm),
        redundancy=found.redundancy,
        chance_agree=found.agree,
        limit_mm_per_m=limit,
        chance_in=judged.chance_in,
        verdict=judged.word,
        ok=judged.ok,
    )


def cross_check(
    turns: "Sequence[Turn]", *, limit_mm_per_m: float, rise_mm: float = 0.0
) -> CrossCheck:
    """Find the tilt of a line and judge its steepest slope; see `cross`.

    It is good enough only where its readings agree.
    """
    from rig.survey.laser.cross import cross

    found = cross(turns, rise_mm)
    limit = checked_limit(limit_mm_per_m)
    judged = judge_tilt(*found.tilt_mm_per_m, found.stderr_mm_per_m, limit)
    return CrossCheck(
        tilt_mm_per_m=found.tilt_mm_per_m,
        stderr_mm_per_m=found.stderr_mm_per_m,
        closure_mm=found.closure_mm,
        closure_allowed_mm=found.closure_allowed_mm,
        return_mm=found.return_mm,
        return_allowed_mm=found.return_allowed_mm,
        cone_mm_per_m=found.cone_mm_per_m,
        cone_stderr_mm_per_m=found.cone_stderr_mm_per_m,
        left_mm_per_m=found.left_mm_per_m,
        limit_mm_per_m=limit,
        chance_in=judged.chance_in,
        verdict=judged.word,
        ok=judged.ok and found.closes,
    )


def correct_cross(
    job: "Job",
    check: CrossCheck,
    *,
    setup: str,
    laser: tuple[float, float],
    towards: tuple[float, float],
    clockwise: bool,
) -> CrossCheck:
    """Take the tilt off every shot of a set-up from now on; return the check that says so.

    Parameters
    ----------
    laser, towards : (float, float)
        Where the laser stands on the plan, and the way from it to the target, mm.
    clockwise : bool
        Which way it was turned, seen from above.
    """
    from rig.study.lasers import correct_tilt
    from rig.survey.laser.cross import on_plan

    assert check.left_mm_per_m is not None
    slope = on_plan(check.tilt_mm_per_m, towards, clockwise)
    correct_tilt(job, setup, laser, slope, check.left_mm_per_m)
    corrected = Corrected(setup=setup, slope_mm_per_m=slope, stderr_mm_per_m=check.left_mm_per_m)
    return replace(check, corrected=corrected)


def repeat_check(
    readings_mm: Sequence[float], *, limit_mm: float, dist_mm: float | None = None
) -> RepeatCheck:
    """Judge how readings of one place scatter; see `repeat`."""
    from rig.survey.laser.repeat import repeat

    found = repeat(readings_mm)
    judged = judge_spread(found.sd_mm, found.n - 1, limit_mm)
    away_m = None if dist_mm is None else dist_mm / 1000.0
    return RepeatCheck(
        n=found.n,
        mean_mm=found.mean_mm,
        mean_stderr_mm=found.stderr_mm,
        sd_mm=found.sd_mm,
        sd_ci95_mm=(found.sd_low_mm, found.sd_high_mm),
        sd_mm_per_m=None if away_m is None else found.sd_mm / away_m,
        limit_mm=limit_mm,
        limit_mm_per_m=None if away_m is None else limit_mm / away_m,
        chance_in=judged.chance_in,
        verdict=judged.word,
        ok=judged.ok,
    )


def drift_check(
    times_s: Sequence[float], readings_mm: Sequence[float], *, limit_mm_per_h: float
) -> DriftCheck:
    """Judge how a line wanders with time; see `drift`."""
    from rig.survey.laser.drift import drift

    found = drift(times_s, readings_mm)
    judged = judge(found.rate_mm_per_h, found.rate_stderr_mm_per_h, limit_mm_per_h, found.freedom)
    return DriftCheck(
        seconds=found.seconds,
        n=found.n,
        change_mm=found.change_mm,
        stderr_mm=found.stderr_mm,
        rate_mm_per_h=found.rate_mm_per_h,
        rate_stderr_mm_per_h=found.rate_stderr_mm_per_h,
        noise_mm=found.noise_mm,
        warm_up_mm=found.warm_up_mm,
        warm_up_s=found.warm_up_s,
        limit_mm_per_h=limit_mm_per_h,
        chance_in=judged.chance_in,
        verdict=judged.word,
        ok=judged.ok,
    )


def rod_check(
    pairs_mm: Sequence[tuple[float, float]], *, stderr_mm: float, limit_mm: float
) -> RodResult:
    """Judge a rod's zero against a tape; see `against_tape`."""
    from rig.survey.laser.rod import PLUMB_DEG, against_tape, out_of_plumb_mm

    found = against_tape(pairs_mm, stderr_mm)
    judged = judge(found.zero_offset_mm, found.stderr_mm, limit_mm)
    reach_mm = sum(rod for rod, _ in pairs_mm) / len(pairs_mm)
    return RodResult(
        zero_offset_mm=found.zero_offset_mm,
        stderr_mm=found.stderr_mm,
        scale_mm_per_m=found.scale_mm_per_m,
        scale_stderr_mm_per_m=found.scale_stderr_mm_per_m,
        sd_mm=found.sd_mm,
        plumb=tuple(
            Leaning(tilt_deg=tilt, error_mm=out_of_plumb_mm(reach_mm, tilt)) for tilt in PLUMB_DEG
        ),
        limit_mm=limit_mm,
        chance_in=judged.chance_in,
        verdict=judged.word,
        ok=judged.ok,
    )


def check_words(check: CheckResult, units: Units, whose: str = "--limit") -> list[str]:
    """Say what a check found, a sentence a line; `whose` says who set the limit of a line."""
    match check:
        case TwoPegCheck():
            return _two_peg_words(check, units, whose)
        case CrossCheck():
            return _cross_words(check, units, whose)
        case RepeatCheck():
            return _repeat_words(check, units)
        case DriftCheck():
            return _drift_words(check, units)
        case RodResult():
            return _rod_words(check, units)
        case _:
            assert_never(check)


def _judged(check: CheckResult, limit: str, whose: str) -> str:
    return words.verdict(check.ok, check.verdict, check.chance_in, limit, whose)


def _two_peg_words(check: TwoPegCheck, units: Units, whose: str) -> list[str]:
    said = [
        words.climb(check.error_mm_per_m, check.stderr_mm_per_m, units),
        _judged(check, units.tilt(check.limit_mm_per_m), whose),
    ]
    if check.chance_agree is not None and check.chance_agree < RARE:
        said.append(words.sights_disagree())
    return [*said, words.TWO_PEG_BLIND, words.STAND_HALF_WAY]


def _cross_words(check: CrossCheck, units: Units, whose: str) -> list[str]:
    x, y = check.tilt_mm_per_m
    steepest = (x * x + y * y) ** 0.5
    keeps = math.hypot(x, y) <= check.limit_mm_per_m  # the line; `ok` asks the readings too
    limit = units.tilt(check.limit_mm_per_m)
    said = [
        words.tilt(x, y, check.stderr_mm_per_m, steepest, units),
        words.verdict(keeps, check.verdict, check.chance_in, limit, whose),
    ]
    if check.closes:
        said.append(words.closes(check.closure_mm, check.closure_allowed_mm, units))
    else:
        said.append(
            words.does_not_close(
                check.closure_mm,
                check.closure_allowed_mm,
                check.return_mm,
                check.return_allowed_mm,
                units,
            )
        )
    if check.return_mm is None:
        said.append(words.READ_AGAIN)
    if check.cone_mm_per_m is None or check.cone_stderr_mm_per_m is None:
        said.append(words.CROSS_BLIND)
    else:
        said.append(words.cone(check.cone_mm_per_m, check.cone_stderr_mm_per_m, units))
    if check.corrected is not None:
        slope = check.corrected.slope_mm_per_m
        doubt = check.corrected.stderr_mm_per_m
        said.append(words.tilt_taken_off(check.corrected.setup, *slope, doubt, units))
    return said


def _repeat_words(check: RepeatCheck, units: Units) -> list[str]:
    from rig.survey.laser.repeat import FEW

    said = [
        words.scatter(check.n, check.sd_mm, *check.sd_ci95_mm, units),
        _judged(check, units.fine(check.limit_mm), say("for how they scatter")),
        words.REPEAT_BLIND,
    ]
    if check.n < FEW:
        said.append(words.too_few(check.n, FEW))
    if check.sd_mm == 0.0:
        said.append(words.ALL_THE_SAME)
    return said


def _drift_words(check: DriftCheck, units: Units) -> list[str]:
    said = [
        words.moved(check.seconds, check.change_mm, check.stderr_mm, units),
        words.wanders(check.rate_mm_per_h, check.rate_stderr_mm_per_h, check.noise_mm, units),
    ]
    if check.warm_up_mm is not None and check.warm_up_s is not None:
        said.append(words.warms_up(check.warm_up_mm, check.warm_up_s, units))
    judged = _judged(
        check,
        say("{limit_mm_per_h} an hour", limit_mm_per_h=units.fine(check.limit_mm_per_h)),
        "--limit",
    )
    return [*said, judged, words.DRIFT_BLIND]


def _rod_words(check: RodResult, units: Units) -> list[str]:
    said = [
        words.zero(check.zero_offset_mm, check.stderr_mm, units),
        _judged(check, units.fine(check.limit_mm), say("for the zero")),
    ]
    if check.scale_mm_per_m is not None and check.scale_stderr_mm_per_m is not None:
        said.append(words.scale(check.scale_mm_per_m, check.scale_stderr_mm_per_m, units))
    said.append(words.out_of_plumb(units.length(check.reach_mm)))
    said += [words.leaning(one.tilt_deg, one.error_mm, units) for one in check.plumb]
    return [*said, words.ROCK]
