"""Puts the acts of several sessions of one pour on one clock, that of the session now beginning.

Within a session the machine's steady clock counts, which nobody sets. From one session to the next
it is the steady clock too where the machine was not restarted between, else the time of day as it
was last known on either side; where that went backwards it says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rig.devices.clock import SET_S
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
    day_at_0 = _days(stretches, boot_id, utc_s - monotonic_s)
    begins: list[float] = []  # of each stretch, by the clock that begins now
    following: tuple[str, float | None, float] = (boot_id, monotonic_s, utc_s)
    follows_at = 0.0
    for n, stretch in reversed([*enumerate(stretches)]):
        boot, steady, day = following
        begun = day_at_0.get(stretch.boot_id, 0.0) + (stretch.monotonic_s or 0.0)
        if stretch.monotonic_s is None:
            begun = stretch.last_utc_s - stretch.last_s
        if boot == stretch.boot_id and steady is not None and stretch.monotonic_s is not None:
            gap = steady - stretch.monotonic_s - stretch.last_s
        else:
            gap = day - begun - stretch.last_s
            if gap < 0:
                notes.append(words.clock_set_back(-gap))
        gap = max(gap, 0.0)
        drift = stretch.last_utc_s - stretch.utc_s - stretch.last_s
        if abs(drift) > SET_S:
            learnt = drift > 0 and any(one.boot_id != stretch.boot_id for one in stretches[:n])
            notes.append(words.clock_learnt(drift) if learnt else words.clock_was_set(drift))
        follows_at = follows_at - gap - stretch.last_s
        begins.append(follows_at)
        following = (stretch.boot_id, stretch.monotonic_s, begun)
    begins.reverse()
    acts = [
        (begin + time_s, name, argument)
        for begin, stretch in zip(begins, stretches, strict=True)
        for time_s, name, argument in stretch.acts
    ]
    return acts, notes[::-1]


def before_this_start(stretches: Sequence[Stretch], boot_id: str) -> int:
    """Return how many of all acts are from before this start of the computer.

    Only the time of day says how long ago those were, and it may be learnt late.
    """
    earlier = [n for n, one in enumerate(stretches, 1) if one.boot_id != boot_id]
    return sum(len(one.acts) for one in stretches[: max(earlier, default=0)])


def _days(stretches: Sequence[Stretch], boot_id: str, day_s: float) -> dict[str, float]:
    """Return the time of day when each start's steady clock stood at 0, as last known in it."""
    days = {
        one.boot_id: one.last_utc_s - one.last_s - one.monotonic_s
        for one in stretches
        if one.monotonic_s is not None
    }
    return {**days, boot_id: day_s}
