"""The few words that a prompt says.

A phrase says what to do with the marker, never what is wrong with it, and never which marker it
is: it must be read at two metres and heard over a mixer.
"""

from rig.events import AskMarker, Move
from rig.language import say
from rig.units import MM_PER_IN, Units

SET = say("set")
SHOWN_STEP_MM = 0.5
"""Metric amounts are shown in half millimetres."""


def move(residual_mm: float, tolerance_mm: float) -> Move:
    """Say what to do with a marker whose top stands `residual_mm` too high (negative: too low)."""
    if abs(residual_mm) <= tolerance_mm:
        return "hold"
    return "lower" if residual_mm > 0 else "raise"


def shown_step_mm(units: Units) -> float:
    """Return the smallest amount that a prompt can show, in mm."""
    return SHOWN_STEP_MM if units.is_metric else MM_PER_IN / units.denominator


def prompt(what: Move, by_mm: float, units: Units) -> str:
    """Put a move into words: "raise 3/16", "lower 4.5 mm", "hold".

    Parameters
    ----------
    what : {"raise", "lower", "hold"}
        The move.
    by_mm : float
        Its unsigned amount; anything that would be shown as nothing is shown as the smallest
        step, because a marker out of tolerance has to move.
    units : Units
        Of the job.
    """
    if what == "hold":
        return say("hold")
    step = shown_step_mm(units)
    by = units.amount(by_mm if round(by_mm / step) else step)
    return say("raise {by}", by=by) if what == "raise" else say("lower {by}", by=by)


def ask(label: str) -> AskMarker:
    """Ask whether a marker that was never seen out of height is the one meant."""
    return AskMarker(marker=label, text=say("already at height: is this {label}?", label=label))
