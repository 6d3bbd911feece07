"""What is said of the laser's share in the doubt, and of what would make it less."""

from rig.units import Units, counted, format_chance
from rig.words import say


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


def unbalanced_sights(mark: str, near: str, near_m: float, far: str, far_m: float) -> str:
    """Say that a benchmark is much farther from one set-up than from another."""
    return say(
        "Balance the sights: {mark} is {near_m} m from set-up {near} and {far_m} m from {far}; a "
        "benchmark half-way ties them free of the climb with distance.",
        mark=mark,
        near=near,
        near_m=f"{near_m:.1f}",
        far=far,
        far_m=f"{far_m:.1f}",
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
        "Set-up {setup}: its line stands {apart} above that of set-up {first} (± {doubt})."
        if line_mm >= 0
        else "Set-up {setup}: its line stands {apart} below that of set-up {first} (± {doubt})."
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
    return say("No sight is beyond need: a wrong one would not show. Shoot one more.")


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
        "{sights} beyond need disagree {misfit} times as much as their doubt says (chance "
        "{chance}); the largest residual is {residual}, {benchmark} from set-up {setup}.",
        sights=counted(redundancy, "sight"),
        misfit=f"{misfit:.1f}",
        chance=format_chance(chance_agree),
        residual=f"{sign}{shown}",
        benchmark=benchmark,
        setup=setup,
    )
