"""What the checks of laser and rod found, one sentence each."""

from rig.units import Units
from rig.words import join, put, say

TWO_PEG_BLIND = say(
    "A tilt of the line along the pegs looks like a rise of one peg over the other: it "
    "stays invisible here, unless each sight is the mean of the laser's headings 0 and "
    "180. rig check cross finds it."
)
CROSS_BLIND = say(
    "What is the same at every heading (a cone, the radial error) stays invisible from one "
    "distance: rig check two-peg finds it."
)
REPEAT_BLIND = say(
    "An error that all these readings share (tilt, cone, the rod's zero) stays invisible: "
    "rig check two-peg, cross and rod."
)
DRIFT_BLIND = say("Rod and laser cannot be told apart here: a clamp that slips drifts too.")
STAND_HALF_WAY = say(
    "Good habits: stand the laser in the middle, or as far from A as from B, and the "
    "radial error drops out."
)
READ_AGAIN = say(
    "Read heading 0 again at the end (a fifth --reading): a laser knocked half-way closes "
    "all the same, and looks tilted."
)
NOT_CORRECTED = say("! Nothing is corrected by readings that do not agree.")
ALL_THE_SAME = say("! All are the same to the last digit: the display is coarser than noise.")
ROCK = say("rig survey --rock waves the rod through plumb and takes the vertex.")
NO_ERROR_TAKEN = say("No error is taken off the shots any more.")
UNITS = {
    "in": say("inches"),
    "ft": say("feet"),
    "mm": say("millimetres"),
    "cm": say("centimetres"),
    "m": say("metres"),
}
TWO_READINGS = say("Two readings are the least that can be compared; ten tell well.")

_STANDS = {
    "in": say("surely within the limit"),
    "out": say("surely beyond the limit"),
    "unsure": say("too close to tell"),
}


def verdict(ok: bool, word: str, chance_in: float, limit: str, whose: str) -> str:
    """Say how an error stands against its limit, and how sure that is."""
    message = (
        say("GOOD ENOUGH: the limit is {limit} ({whose}); {stands}, {chance} likely within it.")
        if ok
        else say(
            "NOT GOOD ENOUGH: the limit is {limit} ({whose}); {stands}, {chance} likely within it."
        )
    )
    said = say(message, limit=limit, whose=whose, stands=_STANDS[word], chance=_share(chance_in))
    if word != "unsure":
        return said
    return join(" ", [said, say("More sights, farther apart, would settle it.")])


def climb(error_mm_per_m: float, stderr_mm_per_m: float, units: Units) -> str:
    """Say how the line climbs or falls with distance."""
    message = (
        say("Away from the laser the line climbs {error} (± {doubt}): {far}.")
        if error_mm_per_m >= 0
        else say("Away from the laser the line falls {error} (± {doubt}): {far}.")
    )
    return say(
        message,
        error=units.tilt(abs(error_mm_per_m)),
        doubt=units.tilt(2 * stderr_mm_per_m),
        far=_far(error_mm_per_m, units),
    )


def _far(mm_per_m: float, units: Units) -> str:
    """Say what a slope comes to over the width of a room."""
    over_mm = 5000.0 if units.is_metric else 4572.0
    off = units.off(abs(mm_per_m) * over_mm / 1000.0)
    return say("{off} over {far}", off=off, far=units.place(over_mm))


def sights_disagree() -> str:
    """Say that sights contradict each other."""
    return say(
        "! The sights disagree more than their doubt allows: a misread staff or a peg that moved? "
        "The doubt is widened by it."
    )


def climb_taken_off(error_mm_per_m: float, units: Units) -> str:
    """Say what is corrected from now on."""
    return say(
        "From now on {error} of distance from the laser are taken off every shot of "
        "this job where it is known where the laser stood. Plan again: rig plan",
        error=units.tilt(error_mm_per_m, signed=True),
    )


def tilt(x: float, y: float, stderr: float, steepest: float, units: Units) -> str:
    """Say how the line is tilted; all in mm per m."""
    return say(
        "The line rises {x} the way the laser faces at heading 0 and {y} at heading 90 (each ± "
        "{doubt}); at its steepest {steepest}, {far}.",
        x=units.tilt(x, signed=True),
        y=units.tilt(y, signed=True),
        doubt=units.tilt(2 * stderr),
        steepest=units.tilt(steepest),
        far=_far(steepest, units),
    )


def closes(closure_mm: float, allowed_mm: float, units: Units) -> str:
    """Say that the four headings agree."""
    return say(
        "The four readings agree within {closure}; noise allows {allowed}.",
        closure=units.fine(abs(closure_mm)),
        allowed=units.fine(allowed_mm),
    )


def does_not_close(
    closure_mm: float,
    allowed_mm: float,
    return_mm: float | None,
    return_allowed_mm: float | None,
    units: Units,
) -> str:
    """Say that the headings contradict each other, or a heading itself."""
    values = {
        "closure": units.fine(closure_mm, signed=True),
        "allowed": units.fine(allowed_mm),
    }
    if return_mm is None or return_allowed_mm is None:
        return say(
            "! They do not agree: the readings at 0 and 180 together are {closure} off those at "
            "90 and 270, and noise allows {allowed}. Laser or rod moved meanwhile, or one reading "
            "is wrong: do the check again.",
            **values,
        )
    return say(
        "! They do not agree: the readings at 0 and 180 together are {closure} off those at 90 "
        "and 270, and noise allows {allowed}; a heading read again differs by {again}, "
        "{again_allowed} allowed. Laser or rod moved meanwhile, or one reading is wrong: do the "
        "check again.",
        again=units.fine(return_mm, signed=True),
        again_allowed=units.fine(return_allowed_mm),
        **values,
    )


def cone(mm_per_m: float, stderr_mm_per_m: float, units: Units) -> str:
    """Say what the second distance showed."""
    return say(
        "Cone: away from the laser the line climbs {cone} whichever way it faces (± {doubt}), if "
        "both targets stand as said against the laser (--rise).",
        cone=units.tilt(mm_per_m, signed=True),
        doubt=units.tilt(2 * stderr_mm_per_m),
    )


def tilt_taken_off(setup: str, x: float, y: float, stderr: float, units: Units) -> str:
    """Say what slope is corrected from now on; all in mm per m."""
    return say(
        "From now on {x} along the room's first wall and {y} square to it are taken off the shots "
        "of set-up {setup} (each ± {doubt}). This holds only while the laser stays at heading 0 "
        "as it stands now: not turned, not levelled anew, not switched off. Shoot with --setup "
        "{setup}; a laser that was touched is a new set-up.",
        x=units.tilt(x, signed=True),
        y=units.tilt(y, signed=True),
        setup=setup,
        doubt=units.tilt(2 * stderr),
    )


def tilt_kept(setup: str) -> str:
    """Say that no slope is corrected."""
    return say("No tilt is taken off the shots of set-up {setup} any more.", setup=setup)


def scatter(n: int, sd_mm: float, low_mm: float, high_mm: float, units: Units) -> str:
    """Say how readings of one place repeat."""
    return say(
        "{n} readings of one place: two of three lie within {sd} of their mean (so few readings "
        "tell that well enough to say between {low} and {high}, 19 times in 20).",
        n=n,
        sd=units.fine(sd_mm),
        low=units.fine(low_mm),
        high=units.fine(high_mm),
    )


def too_few(n: int, enough: int) -> str:
    """Say that a spread is badly known."""
    return say("! {n} readings tell a spread badly; take {enough} or more.", n=n, enough=enough)


def moved(seconds: float, change_mm: float, stderr_mm: float, units: Units) -> str:
    """Say how the line moved over a watch."""
    return say(
        "In {minutes:.1f} minutes the line moved {change} (± {doubt}); up is plus.",
        minutes=seconds / 60,
        change=units.fine(change_mm, signed=True),
        doubt=units.fine(2 * stderr_mm),
    )


def wanders(rate_mm_per_h: float, stderr_mm_per_h: float, noise_mm: float, units: Units) -> str:
    """Say how the line wanders lately, and how a resting rod scatters."""
    return say(
        "Lately it wanders {rate} an hour (± {doubt}); one resting reading scatters by {noise}.",
        rate=units.fine(rate_mm_per_h, signed=True),
        doubt=units.fine(2 * stderr_mm_per_h),
        noise=units.fine(noise_mm),
    )


def warms_up(change_mm: float, time_constant_s: float, units: Units) -> str:
    """Say how long a laser warms up: after three time constants 5 % is left."""
    return say(
        "It warms up: {change} in all, 95 % of it after {minutes:.0f} minutes. Let it run so long "
        "before the survey.",
        change=units.fine(change_mm, signed=True),
        minutes=3 * time_constant_s / 60,
    )


def zero(offset_mm: float, stderr_mm: float, units: Units) -> str:
    """Say how the rod's zero stands against a tape."""
    message = (
        say(
            "The rod reads {off} more than the tape (± {doubt}); zero_offset_mm = {mend:.2f} "
            "in its profile makes them agree."
        )
        if offset_mm >= 0
        else say(
            "The rod reads {off} less than the tape (± {doubt}); zero_offset_mm = {mend:.2f} "
            "in its profile makes them agree."
        )
    )
    off, doubt = units.fine(abs(offset_mm)), units.fine(2 * stderr_mm)
    return say(message, off=off, doubt=doubt, mend=-offset_mm)


def scale(mm_per_m: float, stderr_mm_per_m: float, units: Units) -> str:
    """Say how the rod's scale is off."""
    return say(
        "Its scale is off by {scale} (± {doubt}).",
        scale=units.tilt(mm_per_m, signed=True),
        doubt=units.tilt(2 * stderr_mm_per_m),
    )


def out_of_plumb(reach: str) -> str:
    """Begin the list of what leaning does."""
    return say("Out of plumb, a reading of {reach} is too long by:", reach=reach)


def leaning(tilt_deg: float, error_mm: float, units: Units) -> str:
    """Say what leaning so far does."""
    return put("  {tilt:.1f}°: {error}", tilt=tilt_deg, error=units.fine(error_mm))


def _share(chance: float) -> str:
    if chance > 0.995:
        return say("over 99 %")
    return say("under 1 %") if chance < 0.005 else f"{chance * 100:.0f} %"
