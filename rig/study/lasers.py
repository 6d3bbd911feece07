"""What a job knows of its laser: where it stood at each set-up, and what the job asks of it."""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rig.errors import BadInput, CannotAnswer
from rig.job.settings import Place, RadialError, SetupTilt
from rig.language import say
from rig.study.acts import standing
from rig.study.checks import CrossCheck, TwoPegCheck, last_check
from rig.survey.laser.verdict import NEED_MM, USUAL_LIMIT_MM_PER_M
from rig.survey.setups import stand_of

if TYPE_CHECKING:
    from rig.job.rows import Shot
    from rig.job.store import Job
    from rig.room import Outline
    from rig.survey.laser.share import Trust
    from rig.survey.setups import Ties

FARTHEST_MM = 200_000.0
FAR_MM = 30_000.0
SAME_STAND_MM = 100.0
"""A place of the laser that is told within this of another is the same (common practice)."""


@dataclass(frozen=True, slots=True)
class Tilt:
    """Slope of one set-up's line along the plan's x and y, as a cross check found it.

    Attributes
    ----------
    slope_mm_per_m : (float, float)
        The line's rise along the plan's x and y.
    stderr_mm_per_m : float
        Of each, for a laser that has not been touched since.
    place : (x_mm, y_mm)
        Where the laser stands.
    until_shot : int or None
        The last shot before the line was found to have moved: from then on its slope is unknown.
    """

    slope_mm_per_m: tuple[float, float]
    stderr_mm_per_m: float
    place: Place
    until_shot: int | None

    def climb_mm(self, x_mm: float, y_mm: float) -> float:
        """What a shot reads too much over a place."""
        right, up = x_mm - self.place[0], y_mm - self.place[1]
        return (self.slope_mm_per_m[0] * right + self.slope_mm_per_m[1] * up) / 1000.0


def set_place(job: "Job", setup: str, place: Place) -> None:
    """Keep where the laser stands; the change is an event like any edit."""
    if max(map(abs, place)) > FARTHEST_MM:
        raise BadInput(
            say("The laser's place is more than 200 m off the room's corner; check --laser.")
        )
    settings = job.settings
    tilt = settings.laser_tilt.get(setup)
    if tilt is not None and math.dist(tilt.place, place) > SAME_STAND_MM:
        raise BadInput(
            say(
                "The slope of set-up {setup} is corrected for a laser at another place. A "
                "laser that stands elsewhere is another set-up: --setup with a new name; or "
                "forget the correction: rig check cross --no-correct --setup {setup}",
                setup=setup,
            )
        )
    if settings.laser_places.get(setup) != place:
        places = {**settings.laser_places, setup: place}
        job.update_settings(replace(settings, laser_places=places))


def correct_radial(job: "Job", error: RadialError | None) -> None:
    """Take a climb with distance off every shot from now on, or none any more."""
    job.update_settings(replace(job.settings, laser_correction=error))


def tilts_of(job: "Job") -> dict[str, Tilt]:
    """Return the slopes that are taken off the shots of a set-up, where that is asked."""
    known = job.settings.laser_tilt
    if not known:
        return {}
    moved: dict[str, int] = {}
    for event in standing(job, ["checked"]):
        told = event.data
        setup = told.get("setup")
        if setup not in known and isinstance(setup, str):
            setup = stand_of(setup)  # one rod's of several, which all go by one laser
        if (
            _has_moved(told)
            and setup is not None
            and setup in known
            and event.id > known[setup].after_event
        ):
            moved.setdefault(setup, told["after_shot"])
    found = {
        setup: Tilt(one.slope_mm_per_m, one.stderr_mm_per_m, one.place, moved.get(setup))
        for setup, one in known.items()
    }
    rods = (name for name in job.setups() if name not in found and stand_of(name) in found)
    return found | {name: found[stand_of(name)] for name in rods}


def _has_moved(told: Mapping[str, object]) -> bool:
    # A jolt in a survey; in marker setting a sight that does not fit has no other word. What
    # drifts with the temperature goes up and down, and is taken to keep its slope.
    return told.get("found") == "jolt" or ("found" not in told and told.get("ok") is False)


def _place_of(places: Mapping[str, Place], setup: str) -> Place | None:
    """Return where a set-up's laser stands, where that was told of it or of its stand."""
    return places.get(setup, places.get(stand_of(setup)))


def correct_tilt(
    job: "Job", setup: str, place: Place, slope_mm_per_m: tuple[float, float], stderr: float
) -> None:
    """Take a slope off every shot of a set-up from now on.

    Raises
    ------
    CannotAnswer
        Where the set-up has shots: nobody knows which way the laser faced for them.
    """
    refuse_shot(job, setup)
    set_place(job, setup, place)
    settings = job.settings
    tilt = SetupTilt(
        slope_mm_per_m=slope_mm_per_m,
        stderr_mm_per_m=stderr,
        place=place,
        after_event=max((event.id for event in job.events()), default=0),
    )
    tilts = {**settings.laser_tilt, setup: tilt}
    job.update_settings(replace(settings, laser_tilt=tilts))


def forget_tilt(job: "Job", setup: str) -> None:
    """Take no slope off the shots of a set-up any more."""
    settings = job.settings
    left = {name: tilt for name, tilt in settings.laser_tilt.items() if name != setup}
    job.update_settings(replace(settings, laser_tilt=left))


def refuse_shot(job: "Job", setup: str) -> None:
    """Refuse a set-up that has shots, since its slope is known only for what comes after."""
    if any(setup in (shot.setup, stand_of(shot.setup)) for shot in job.shots()):
        raise CannotAnswer(
            say(
                "Set-up {setup} has shots already, and nobody knows which way its laser faced "
                "for them. Correct a tilt before the first shot, under a new name: --setup NAME",
                setup=setup,
            )
        )


def climb_of(job: "Job", setup: str) -> Callable[[float | None, float | None], float]:
    """Return what a shot of a set-up reads too much at x, y, by the corrections asked for.

    It is for a shot that is taken now. All in mm; it knows the job as it is now and asks it no
    more.
    """
    tilt = tilts_of(job).get(setup)
    if tilt is not None and tilt.until_shot is not None:
        tilt = None
    return _climb(job.settings.laser_correction, _place_of(job.settings.laser_places, setup), tilt)


def shots_of(job: "Job") -> "list[Shot]":
    """Current shots, less the laser's radial error and its slope where these are corrected."""
    shots, correction, tilts = job.shots(), job.settings.laser_correction, tilts_of(job)
    if correction is None and not tilts:
        return shots
    places, corrected = job.settings.laser_places, []
    # A relabelled shot is written again, and has the slope of the line that it was taken by.
    before = {move.new: move.shot for event in job.events(["relabel"]) for move in event.moves}
    for shot in shots:
        tilt = tilts.get(shot.setup)
        if tilt is not None and tilt.until_shot is not None:
            taken = shot.id
            while taken in before:
                taken = before[taken]
            if taken > tilt.until_shot:
                tilt = None
        climb = _climb(correction, _place_of(places, shot.setup), tilt)(shot.x_mm, shot.y_mm)
        corrected.append(replace(shot, reading_mm=shot.reading_mm - climb) if climb else shot)
    return corrected


def _climb(
    correction: RadialError | None, place: Place | None, tilt: Tilt | None
) -> Callable[[float | None, float | None], float]:
    def climb_mm(x_mm: float | None, y_mm: float | None) -> float:
        if x_mm is None or y_mm is None:
            return 0.0
        climb = 0.0
        if correction is not None and place is not None:
            climb = correction.error_mm_per_m * math.dist((x_mm, y_mm), place) / 1000.0
        return climb if tilt is None else climb + tilt.climb_mm(x_mm, y_mm)

    return climb_mm


def correction_warnings(job: "Job", setups: Iterable[str]) -> list[str]:
    """Say which shots a correction leaves as they are, and why."""
    known, tilts, setups = job.settings.laser_places, tilts_of(job), list(setups)
    said = []
    if job.settings.laser_correction is not None:
        said += [
            say(
                "The shots of set-up {name} are not corrected: say where its laser stood "
                "(--laser).",
                name=name,
            )
            for name in setups
            if _place_of(known, name) is None
        ]
    said += [
        say(
            "The line of set-up {name} moved after its slope was measured: shots since then "
            "are not corrected for it. Check a new set-up: rig check cross --correct --setup "
            "NAME",
            name=name,
        )
        for name in setups
        if name in tilts and tilts[name].until_shot is not None
    ]
    if len(setups) > 1:
        said += [
            say(
                "Benchmark {point} has no place, so its sight from set-up {setup} is not "
                "corrected for that set-up's slope: say where it is (--at X,Y).",
                point=shot.point,
                setup=shot.setup,
            )
            for shot in job.shots(kinds=["benchmark"])
            if shot.setup in tilts and (shot.x_mm is None or shot.y_mm is None)
        ]
    return said


def far_lasers(job: "Job", outline: "Outline") -> list[str]:
    """Say which lasers are said to stand farther from the room than anybody sets one up."""
    from shapely import Point

    return [
        say(
            "The laser of set-up {setup} is said to stand {away} from the room, and its error "
            "there counts: is that its place (--laser X,Y)?",
            setup=setup,
            away=job.units.place(away_mm),
        )
        for setup, place in job.settings.laser_places.items()
        if (away_mm := outline.polygon.distance(Point(place))) > FAR_MM
    ]


def trust_of(job: "Job") -> "Trust":
    """How far a job's laser is to be trusted, by its last checks."""
    from rig.survey.laser.share import Trust, unchecked

    two_peg, cross = last_check(job, TwoPegCheck), last_check(job, CrossCheck)
    tilt_words = job.units.tilt
    usual, usual_text = unchecked(job.units)
    correction = job.settings.laser_correction
    if correction is not None:
        radial = correction.stderr_mm_per_m
        told = [
            say(
                "Climb with distance: corrected, ± {tilt_words} left by the two-peg test.",
                tilt_words=tilt_words(radial),
            )
        ]
    elif two_peg is not None:
        # Not corrected, so all of it counts (JCGM 100:2008, F.2.4.5 on why one should).
        radial = math.hypot(two_peg.error_mm_per_m, two_peg.stderr_mm_per_m)
        told = [
            say(
                "Climb with distance: {tilt_words}, by the two-peg test.",
                tilt_words=tilt_words(radial),
            )
        ]
    else:
        radial, told = (
            usual,
            [say("Climb with distance: not checked, {usual_text}.", usual_text=usual_text)],
        )
    if cross is not None:
        x, y = cross.tilt_mm_per_m
        tilt = math.sqrt((x * x + y * y) / 2.0 + cross.stderr_mm_per_m**2)
        told.append(
            say(
                "Slope: {tilt_words} along and across the room, by the cross check.",
                tilt_words=tilt_words(tilt),
            )
        )
    else:
        tilt = usual
        told.append(say("Slope: not checked, {usual_text}.", usual_text=usual_text))
    corrected = {}
    for setup, known in tilts_of(job).items():
        until = known.until_shot
        if until is not None and any(s.setup == setup and s.id > until for s in job.shots()):
            continue  # some of its shots have a slope that nobody knows
        corrected[setup] = known.stderr_mm_per_m
        told.append(
            say(
                "Slope of set-up {setup}: corrected, ± {tilt_words} left by the cross check "
                "while the laser stands as it was left.",
                setup=setup,
                tilt_words=tilt_words(known.stderr_mm_per_m),
            )
        )
    return Trust(radial, tilt, tuple(told), corrected)


def limit_of(job: "Job | None", outline: "Outline | None", setup: str) -> tuple[float, str]:
    """Return the steepest error that is good enough, in mm per m, and whose need that is.

    A job needs its farthest place right within a marker's tolerance; without a job a usual
    maker's figure stands in.
    """
    if job is None or outline is None:
        return USUAL_LIMIT_MM_PER_M, (
            say(
                "a usual maker's figure (common practice, no source; your laser's data sheet "
                "rules: --limit)"
            )
        )
    x0, y0, x1, y1 = outline.polygon.bounds
    place = _place_of(job.settings.laser_places, setup)
    x, y = place or ((x0 + x1) / 2.0, (y0 + y1) / 2.0)
    far_m = max(math.dist((x, y), corner) for corner in outline.walls) / 1000.0
    stands = say("where the laser stands") if place else say("the room's middle")
    return NEED_MM / far_m, (
        say(
            "what this job needs: {need_mm} at its farthest place, {far_m} from {stands}",
            need_mm=job.units.length(NEED_MM),
            far_m=job.units.place(1000.0 * far_m),
            stands=stands,
        )
    )


def tie_warnings(job: "Job", ties: "Ties | None" = None) -> list[str]:
    """Say where the benchmarks of a job contradict each other, whatever else is still untied.

    Fewer than four sights from two set-ups cannot.
    """
    from rig.survey.heights import ties_of
    from rig.survey.setups import contradictions

    if ties is None:
        sights = job.shots(kinds=["benchmark"])
        if len(sights) < 4 or len({sight.setup for sight in sights}) < 2:
            return []
        ties = ties_of(job.shots(), "", job.setups())
    return contradictions(ties, job.units.length)
