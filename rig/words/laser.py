"""What is said of the laser's share in the doubt, and of what would make it less."""

from collections.abc import Sequence

from rig.units import Units, format_chance
from rig.words import join, numeral, say, say_many


def not_counted() -> str:
    """Say that nobody told where the laser stood."""
    return say(
        "The laser's own error is not in these numbers, and more shots do not average it out: "
        "say where it stood (--laser X,Y) and check it (rig check two-peg, rig check cross)."
    )


def same_slope() -> str:
    """Say when the slope of a line drops out of cover and volume."""
    return say(
        "Markers set with the laser where it stood, not turned, carry the same slope: then it "
        "drops out of cover and volume, though not out of level."
    )


def set_up_in_the_middle(now_mm: float, then_mm: float, units: Units) -> str:
    """Say what setting up in the middle of the floor would bring."""
    return say(
        "Set up in the middle of the floor: the laser's share at the farthest place falls from "
        "{now} to {then}.",
        now=units.off(now_mm),
        then=units.off(then_mm),
    )


def balance_the_sights() -> str:
    """Say why benchmarks should have places."""
    return say(
        "Balance the sights: a benchmark as far from one set-up as from the other ties them free "
        "of the climb with distance. Say where it is (--at X,Y) to count that."
    )


def unbalanced_sights(
    mark: str, near: str, near_m: float, far: str, far_m: float, units: Units
) -> str:
    """Say that a benchmark is much farther from one set-up than from another."""
    return say(
        "Balance the sights: {mark} is {near_m} from set-up {near} and {far_m} from {far}; a "
        "benchmark half-way ties them free of the climb with distance.",
        mark=mark,
        near=near,
        near_m=units.place(1000.0 * near_m),
        far=far,
        far_m=units.place(1000.0 * far_m),
    )


def correct_the_climb() -> str:
    """Say that a clear error can be taken off."""
    return say(
        "The two-peg test found a clear error: rig check two-peg with --correct takes its radial "
        "part off every shot."
    )


def line_over(setup: str, line_mm: float, stderr_mm: float, first: str, units: Units) -> str:
    """Say how a set-up's line stands to that of the first."""
    message = (
        say("Set-up {setup}: its line stands {apart} above that of set-up {first} (± {doubt}).")
        if line_mm >= 0
        else say(
            "Set-up {setup}: its line stands {apart} below that of set-up {first} (± {doubt})."
        )
    )
    return say(
        message,
        setup=setup,
        first=first,
        apart=units.length(abs(line_mm)),
        doubt=units.doubt(2.0 * stderr_mm),
    )


def no_spare_sight() -> str:
    """Say that a wrong sight between set-ups would not show."""
    return say(
        "Each set-up hangs on a single sight: a wrong one would not show. Shoot a second benchmark "
        "from both."
    )


def sights_disagree(
    redundancy: int,
    misfit: float,
    chance_agree: float,
    worst: tuple[str, str, float],
    units: Units,
) -> str:
    """Say how well sights beyond need agree; `worst` is benchmark, set-up and residual in mm."""
    benchmark, setup, residual_mm = worst
    shown = units.length(residual_mm)
    sign = "+" if residual_mm > 0 and not shown.startswith("0 ") else ""
    return say(
        "{sights} more than the ties need: they disagree {misfit} times as much as their doubt "
        "says (chance {chance}); farthest off is {benchmark} from set-up {setup}, by {residual}.",
        sights=say_many("{count} sight", "{count} sights", redundancy),
        misfit=numeral(misfit, ".1f"),
        chance=format_chance(chance_agree),
        residual=f"{sign}{shown}",
        benchmark=benchmark,
        setup=setup,
    )


PUT_BACK = say("If that was a mistake, rig undo puts them in use again.")
"""How shots that were set aside come back."""


def back_to(place: str) -> str:
    """Ask for a look at the benchmark on the way."""
    return say("back to {place}: is the line still where it was? Skip if you must", place=place)


def first_to(place: str) -> str:
    """Ask for the sight that a session begins with."""
    return say("first to {place}: does the line stand where it did? Skip if you must", place=place)


def last_to(place: str) -> str:
    """Ask for the sight that a session ends with."""
    return say(
        "back to {place} before you go: is the line still where it was? It vouches for what was "
        "shot. Skip if you must",
        place=place,
    )


def back_to_a_point(place: str, shots: int) -> str:
    """Ask for a look at a point that was shot before the laser was set up again."""
    if not place:
        return say_many(
            "once more: did the line stand when it was shot? No sight vouches for {count} shot "
            "from before",
            "once more: did the line stand until it was shot? No sight vouches for {count} shots "
            "from before",
            shots,
        )
    return say_many(
        "once more, {place}: did the line stand when it was shot? No sight vouches for {count} "
        "shot from before",
        "once more, {place}: did the line stand until it was shot? No sight vouches for {count} "
        "shots from before",
        shots,
        place=place,
    )


def set_up_again(name: str, label: str, open_shots: int) -> str:
    """Say that the laser stands anew, and what becomes of what was shot before."""
    text = say(
        "the laser is set up again: from now on its line is that of set-up {name}, tied at "
        "{label}.",
        label=label,
        name=name,
    )
    before = say_many(
        "No closing sight vouches for {count} shot from before: one look tells",
        "No closing sight vouches for {count} shots from before: one or two points tell",
        open_shots,
    )
    return join(" ", [text, before if open_shots else say("What was shot before stays in use")])


def put_back(label: str, labels: Sequence[str]) -> str:
    """Say which shots count again after a jolt, and why."""
    return say(
        "{label} reads as it did before the jolt, so what was shot before it is in use again: "
        "{labels}",
        label=label,
        labels=join(", ", labels),
    )


def line_stood(label: str, shots: int) -> str:
    """Say that shots from before a break are good."""
    return say_many(
        "{label} reads as it did: the line moved only after that, its shot stays in use",
        "{label} reads as it did: the line moved only after that, {shots} shots stay in use",
        shots,
        label=label,
        shots=shots,
    )


def line_had_moved(label: str, off: str) -> str:
    """Say that the line had moved before a point was shot."""
    return say(
        "{label} reads {off} off what it did: the line had moved before it was shot; this reading "
        "takes its place",
        label=label,
        off=off,
    )


def set_aside_open(labels: Sequence[str]) -> str:
    """Say which shots nothing vouches for."""
    return _aside(labels, say("no sight says that the line had not moved yet when they were shot"))


def set_aside_unseen(labels: Sequence[str]) -> str:
    """Say which shots were made between a break and the sight that found the line elsewhere."""
    return _aside(labels, say("they were shot after the break, before the line was looked at"))


def _aside(labels: Sequence[str], why: str) -> str:
    return say(
        "set aside (kept, not used): {labels}, for {why}. Shoot them again. {back}",
        labels=join(", ", labels),
        why=why,
        back=PUT_BACK,
    )


def restless() -> str:
    """Say what to do about a line that does not hold."""
    return say(
        "the line does not hold: give the laser a firm stand and time to settle, see rig "
        "check drift, then go on with rig survey"
    )


def nobody_came(label: str) -> str:
    """Say that a sight was waited for in vain."""
    return say(
        "nobody came to {label}: the line is not checked. Later: rig survey --kind "
        "benchmark --label {label}",
        label=label,
    )


def drifted(found: str, shots: int, doubt: str) -> str:
    """Say over which shots a drift was spread."""
    return say_many(
        "drift: {found}. Spread over the {count} shot since, now with its doubt (up to ± {doubt})",
        "drift: {found}. Spread over the {count} shots since, each now with its doubt (up to ± "
        "{doubt})",
        shots,
        found=found,
        doubt=doubt,
    )


def jolted(found: str, shots: int, label: str) -> str:
    """Say what becomes of the shots before a jolt, of which there may be none."""
    if not shots:
        return say("jolt: {found}. The line is tied anew at {label}", found=found, label=label)
    return say_many(
        "jolt: {found}. {count} shot since is set aside (kept, not used): shoot it again. {back} "
        "The line is tied anew at {label}",
        "jolt: {found}. {count} shots since are set aside (kept, not used): shoot them again. "
        "{back} The line is tied anew at {label}",
        shots,
        found=found,
        back=PUT_BACK,
        label=label,
    )


def untied(setup: str) -> str:
    """Say that nobody can tell whether a set-up's line still stands where it did."""
    return say(
        "Set-up {setup} has shots and no benchmark: nobody can tell whether its line still "
        "stands where it did. If the laser was neither moved nor switched off, shoot a "
        "benchmark now (--kind benchmark --label BM1), so that it can be checked; else begin "
        "anew under a new --setup.",
        setup=setup,
    )
