"""What the checks of laser and rod found, one sentence each."""

from rig.words import say

TWO_PEG_BLIND = (
    "A tilt of the line along the pegs looks like a rise of one peg over the other: it stays "
    "invisible here, unless each sight is the mean of the laser's headings 0 and 180. "
    "rig check cross finds it."
)
CROSS_BLIND = (
    "What is the same at every heading (a cone, the radial error) stays invisible from one "
    "distance: rig check two-peg finds it."
)
REPEAT_BLIND = (
    "An error that all these readings share (tilt, cone, the rod's zero) stays invisible: "
    "rig check two-peg, cross and rod."
)
DRIFT_BLIND = "Rod and laser cannot be told apart here: a clamp that slips drifts too."
STAND_HALF_WAY = (
    "Good habits: stand the laser in the middle, or as far from A as from B, and the radial error "
    "drops out."
)
READ_AGAIN = (
    "Read heading 0 again at the end (a fifth --reading): a laser knocked half-way closes all the "
    "same, and looks tilted."
)
NOT_CORRECTED = "! Nothing is corrected by readings that do not agree."
ALL_THE_SAME = "! All are the same to the last digit: the display is coarser than noise."
ROCK = "rig survey --rock waves the rod through plumb and takes the vertex."
NO_ERROR_TAKEN = "No error is taken off the shots any more."

_STANDS = {
    "in": "surely within the limit",
    "out": "surely beyond the limit",
    "unsure": "too close to tell",
}


def verdict(ok: bool, word: str, chance_in: float, limit: str, whose: str) -> str:
    """Say how an error stands against its limit, and how sure that is."""
    message = (
        "GOOD ENOUGH: the limit is {limit} ({whose}); {stands}, {chance} likely within it."
        if ok
        else "NOT GOOD ENOUGH: the limit is {limit} ({whose}); {stands}, {chance} likely within it."
    )
    said = say(message, limit=limit, whose=whose, stands=_STANDS[word], chance=_share(chance_in))
    return f"{said} More sights, farther apart, would settle it." if word == "unsure" else said


def climb(error_mm_per_m: float, stderr_mm_per_m: float, in_5_m: str) -> str:
    """Say how the line climbs or falls with distance."""
    message = (
        "The line climbs {error:.3f} mm for each metre from the laser (± {doubt:.3f}): {far} in "
        "5 m."
        if error_mm_per_m >= 0
        else "The line falls {error:.3f} mm for each metre from the laser (± {doubt:.3f}): {far} "
        "in 5 m."
    )
    return say(message, error=abs(error_mm_per_m), doubt=2 * stderr_mm_per_m, far=in_5_m)


def sights_disagree(sigmas: float) -> str:
    """Say that sights contradict each other."""
    return say(
        "! The sights disagree more than their doubt allows ({sigmas:g} sigma): a misread staff "
        "or a peg that moved? The doubt is widened by it.",
        sigmas=sigmas,
    )


def climb_taken_off(error_mm_per_m: float) -> str:
    """Say what is corrected from now on."""
    return say(
        "From now on {error:+.3f} mm/m of distance from the laser are taken off every shot of "
        "this job where it is known where the laser stood. Plan again: rig plan",
        error=error_mm_per_m,
    )


def tilt(x: float, y: float, stderr: float, steepest: float, in_5_m: str) -> str:
    """Say how the line is tilted; all in mm per m."""
    return say(
        "Tilt: {x:+.3f} mm/m towards heading 0, {y:+.3f} mm/m towards heading 90 (each ± "
        "{doubt:.3f}); at its steepest {steepest:.3f} mm/m, {far} in 5 m.",
        x=x,
        y=y,
        doubt=2 * stderr,
        steepest=steepest,
        far=in_5_m,
    )


def closes(closure_mm: float, allowed_mm: float) -> str:
    """Say that the four headings agree."""
    return say(
        "The readings close within {closure:.2f} mm; noise allows {allowed:.2f} mm.",
        closure=abs(closure_mm),
        allowed=allowed_mm,
    )


def does_not_close(
    closure_mm: float,
    allowed_mm: float,
    return_mm: float | None,
    return_allowed_mm: float | None,
) -> str:
    """Say that the headings contradict each other, or a heading itself."""
    values = {"closure": closure_mm, "allowed": allowed_mm}
    if return_mm is None or return_allowed_mm is None:
        return say(
            "! They do not agree: r0 + r180 - r90 - r270 is {closure:+.2f} mm and noise allows "
            "{allowed:.2f} mm. Laser or rod moved meanwhile, or one reading is wrong: do the check "
            "again.",
            **values,
        )
    return say(
        "! They do not agree: r0 + r180 - r90 - r270 is {closure:+.2f} mm and noise allows "
        "{allowed:.2f} mm; a heading read again differs by {again:+.2f} mm, {again_allowed:.2f} mm "
        "allowed. Laser or rod moved meanwhile, or one reading is wrong: do the check again.",
        again=return_mm,
        again_allowed=return_allowed_mm,
        **values,
    )


def cone(mm_per_m: float, stderr_mm_per_m: float) -> str:
    """Say what the second distance showed."""
    return say(
        "Cone: the line climbs {cone:+.3f} mm/m with distance (± {doubt:.3f}), if both targets "
        "stand as said against the laser (--rise).",
        cone=mm_per_m,
        doubt=2 * stderr_mm_per_m,
    )


def tilt_taken_off(setup: str, x: float, y: float, stderr: float) -> str:
    """Say what slope is corrected from now on; all in mm per m."""
    return say(
        "From now on {x:+.3f} mm/m along x and {y:+.3f} mm/m along y are taken off the shots of "
        "set-up {setup} (each ± {doubt:.3f}). This holds only while the laser stays at heading 0 "
        "as it stands now: not turned, not levelled anew, not switched off. Shoot with --setup "
        "{setup}; a laser that was touched is a new set-up.",
        x=x,
        y=y,
        setup=setup,
        doubt=2 * stderr,
    )


def tilt_kept(setup: str) -> str:
    """Say that no slope is corrected."""
    return say("No tilt is taken off the shots of set-up {setup} any more.", setup=setup)


def scatter(n: int, sd_mm: float, low_mm: float, high_mm: float) -> str:
    """Say how readings of one place repeat."""
    return say(
        "{n} readings: one scatters by {sd:.3f} mm (standard deviation; with 95 % confidence "
        "between {low:.3f} and {high:.3f} mm).",
        n=n,
        sd=sd_mm,
        low=low_mm,
        high=high_mm,
    )


def too_few(n: int, enough: int) -> str:
    """Say that a spread is badly known."""
    return say("! {n} readings tell a spread badly; take {enough} or more.", n=n, enough=enough)


def moved(seconds: float, change_mm: float, stderr_mm: float) -> str:
    """Say how the line moved over a watch."""
    return say(
        "In {minutes:.1f} minutes the line moved {change:+.2f} mm (± {doubt:.2f}); up is plus.",
        minutes=seconds / 60,
        change=change_mm,
        doubt=2 * stderr_mm,
    )


def wanders(rate_mm_per_h: float, stderr_mm_per_h: float, noise_mm: float) -> str:
    """Say how the line wanders lately, and how a resting rod scatters."""
    return say(
        "Lately it wanders {rate:+.2f} mm an hour (± {doubt:.2f}); one resting reading scatters "
        "by {noise:.2f} mm.",
        rate=rate_mm_per_h,
        doubt=2 * stderr_mm_per_h,
        noise=noise_mm,
    )


def warms_up(change_mm: float, time_constant_s: float) -> str:
    """Say how long a laser warms up: after three time constants 5 % is left."""
    return say(
        "It warms up: {change:+.2f} mm in all, 95 % of it after {minutes:.0f} minutes. Let it run "
        "so long before the survey.",
        change=change_mm,
        minutes=3 * time_constant_s / 60,
    )


def zero(offset_mm: float, stderr_mm: float) -> str:
    """Say how the rod's zero stands against a tape."""
    message = (
        "The rod reads {off:.2f} mm more than the tape (± {doubt:.2f}); zero_offset_mm = "
        "{mend:.2f} in its profile makes them agree."
        if offset_mm >= 0
        else "The rod reads {off:.2f} mm less than the tape (± {doubt:.2f}); zero_offset_mm = "
        "{mend:.2f} in its profile makes them agree."
    )
    return say(message, off=abs(offset_mm), doubt=2 * stderr_mm, mend=-offset_mm)


def scale(mm_per_m: float, stderr_mm_per_m: float) -> str:
    """Say how the rod's scale is off."""
    return say(
        "Its scale is off by {scale:+.2f} mm in each metre (± {doubt:.2f}).",
        scale=mm_per_m,
        doubt=2 * stderr_mm_per_m,
    )


def out_of_plumb(reach: str) -> str:
    """Begin the list of what leaning does."""
    return say("Out of plumb, a reading of {reach} is too long by:", reach=reach)


def leaning(tilt_deg: float, error_mm: float) -> str:
    """Say what leaning so far does."""
    return say("  {tilt:.1f}°: {error:.2f} mm", tilt=tilt_deg, error=error_mm)


def _share(chance: float) -> str:
    if chance > 0.995:
        return "over 99 %"
    return "under 1 %" if chance < 0.005 else f"{chance * 100:.0f} %"
