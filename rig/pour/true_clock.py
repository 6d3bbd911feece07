"""Puts the acts of several sessions of one pour on one clock, that of the session now beginning.

Within a session the machine's steady clock counts, which nobody sets. From one session to the next
it is the steady clock too where the machine was not restarted between, else the time of day, told
by the last item before and the start after; where that went backwards it says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rig.words import pour as words

Act = tuple[float, str, str | None]


@dataclass(frozen=True)
class Stretch:
    """A session: its clock's origin, its acts by that clock, and its last sign of life.

    Attributes
    ----------
    boot_id : str
    monotonic_s : float or None
        The machine's steady clock at time 0.
    utc_s : float
        The time of day at time 0.
    acts : tuple of (time_s, act, argument)
    last_s, last_utc_s : float
        Of the last thing that was logged, which knows of a clock that was set meanwhile.
    """

    boot_id: str
    monotonic_s: float | None
    utc_s: float
    acts: tuple[Act, ...]
    last_s: float
    last_utc_s: float


def on_one_clock(
    stretches: Sequence[Stretch], boot_id: str, monotonic_s: float, utc_s: float
) -> tuple[list[Act], list[str]]:
    """Return all acts by the clock that begins now, all before 0, and what must be said.

    Parameters
    ----------
    stretches : sequence of Stretch
        Earlier sessions in their order.
    boot_id, monotonic_s, utc_s
        Of the session that begins now.
    """
    notes: list[str] = []
    begins: list[float] = []  # of each stretch, by the clock that begins now
    following: tuple[str, float | None, float] = (boot_id, monotonic_s, utc_s)
    follows_at = 0.0
    for stretch in reversed(stretches):
        boot, steady, day = following
        if boot == stretch.boot_id and steady is not None and stretch.monotonic_s is not None:
            gap = steady - stretch.monotonic_s - stretch.last_s
        else:
            gap = day - stretch.last_utc_s
            if gap < 0:
                notes.append(words.clock_set_back(-gap))
        gap = max(gap, 0.0)
        drift = stretch.last_utc_s - stretch.utc_s - stretch.last_s
        if abs(drift) > 2.0:
            notes.append(words.clock_was_set(drift))
        follows_at = follows_at - gap - stretch.last_s
        begins.append(follows_at)
        following = (stretch.boot_id, stretch.monotonic_s, stretch.utc_s)
    begins.reverse()
    acts = [
        (begin + time_s, name, argument)
        for begin, stretch in zip(begins, stretches, strict=True)
        for time_s, name, argument in stretch.acts
    ]
    return acts, notes[::-1]
