"""Doubts whether what a table says can be so: told, never acted upon."""

from collections.abc import Callable, Iterable, Mapping
from statistics import median

from rig.language import say, say_many, some
from rig.survey.mirrored import LARGEST_RANGE_MM
from rig.units import MM_PER_IN

SHORTEST_TYPED_MM, LONGEST_TYPED_MM = 1.0, 5000.0
"""What a tape may read under a line (common practice, no source)."""
UNIT_SPREAD = 1.25
"""How far from 25.4 times a mixed-up unit may seem: the floor itself is not level."""


def doubts_of_table(
    readings: Iterable[tuple[str, str, float]],
    earlier: Mapping[str, Iterable[float]],
    unit: str,
    show: Callable[[float], str],
) -> list[str]:
    """Say what no floor reads in a table that is well written otherwise; nothing is refused.

    Parameters
    ----------
    readings : iterable of (set-up, label, reading_mm)
        Of the floor, before or after the pour.
    earlier : mapping of set-up to readings in mm
        What was read under the same lines before.
    unit : str
        That the table is said to be in.
    show : callable
        Writes a length for people.
    """
    setups: dict[str, list[tuple[str, float]]] = {}
    for setup, label, reading_mm in readings:
        setups.setdefault(setup, []).append((label, reading_mm))
    told = []
    for setup, rows in setups.items():
        before = list(earlier.get(setup, ()))
        usual_mm = median([*before, *(reading_mm for _, reading_mm in rows)])
        beyond, mixed, sound = [], [], []
        for label, reading_mm in rows:
            if not SHORTEST_TYPED_MM <= reading_mm <= LONGEST_TYPED_MM:
                beyond.append(label)
            elif times_apart(reading_mm, usual_mm):
                mixed.append(label)
            else:
                sound.append((reading_mm, label))
        if beyond:
            told.append(
                say_many(
                    "{count} reading is outside what a tape reads under a line ({least} to "
                    "{most}): {labels}; is --unit {unit} right?",
                    "{count} readings are outside what a tape reads under a line ({least} to "
                    "{most}): {labels}; is --unit {unit} right?",
                    len(beyond),
                    least=show(SHORTEST_TYPED_MM),
                    most=show(LONGEST_TYPED_MM),
                    labels=_some(beyond),
                    unit=unit,
                )
            )
        if mixed:
            told.append(
                say_many(
                    "{count} reading is some 25.4 times off the others: {labels}. Inches among "
                    "millimetres? Is --unit {unit} right?",
                    "{count} readings are some 25.4 times off the others: {labels}. Inches among "
                    "millimetres? Is --unit {unit} right?",
                    len(mixed),
                    labels=_some(mixed),
                    unit=unit,
                )
            )
        if sound and (range_mm := max(sound)[0] - min(sound)[0]) > LARGEST_RANGE_MM:
            told.append(
                say(
                    "The readings range over {range}, from {least} at {lowest} to {most} at "
                    "{highest}, and few floors are that far out of level: is --unit {unit} right?",
                    range=show(range_mm),
                    least=show(min(sound)[0]),
                    lowest=min(sound)[1],
                    most=show(max(sound)[0]),
                    highest=max(sound)[1],
                    unit=unit,
                )
            )
    return told


def times_apart(value_mm: float, usual_mm: float) -> bool:
    """Whether one of two readings is about 25.4 times the other."""
    if value_mm <= 0.0 or usual_mm <= 0.0:
        return False
    times = max(value_mm / usual_mm, usual_mm / value_mm)
    return MM_PER_IN / UNIT_SPREAD <= times <= MM_PER_IN * UNIT_SPREAD


def _some(labels: list[str]) -> str:
    return some(labels, 5)
