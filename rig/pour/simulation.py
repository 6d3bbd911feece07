"""Simulates pours: a recursion over batches, vectorised over runs.

Batches keep their order at every step, so each step is a queue with several servers in the manner
of Kiefer and Wolfowitz: a batch starts when it is ready, the one before it has started, and the
first of the servers is free. Nothing is scheduled by events; a run is a few maxima a batch.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rig.errors import BadInput
from rig.language import say
from rig.pour.crew import Roles, Steps, Work

Floats = NDArray[np.float64]
Shape = Literal["lognormal", "exponential", "fixed"]
Drawn = Steps[Floats]
"""Seconds of each step, arrays of shape (batches, runs)."""


class Servers:
    """A pool of like servers, in every run at once.

    Parameters
    ----------
    count : int
    runs : int
    """

    def __init__(self, count: int, runs: int) -> None:
        self._free = np.zeros((runs, count))
        self._rows = np.arange(runs)
        self._taken = np.zeros(runs, dtype=np.intp)
        self._last = np.zeros(runs)
        self.busy_s = np.zeros(runs)
        self.count = count

    def start(self, ready_s: Floats) -> Floats:
        """Take the first free server for the next batch; return when it starts."""
        if self.count == 1:
            free = self._free[:, 0]
        else:
            self._taken = np.argmin(self._free, axis=1)
            free = self._free[self._rows, self._taken]
        self._last = np.maximum(np.maximum(ready_s, free), self._last)
        return self._last

    def release(self, end_s: Floats) -> None:
        """Say when the server last taken is free again."""
        self.busy_s += end_s - self._last
        self._free[self._rows, self._taken] = end_s


@dataclass(frozen=True, eq=False)
class Run:
    """What happened: times in seconds, arrays of shape (batches, runs).

    Attributes
    ----------
    begun_s, wet_s, mixed_s, poured_s, spread_s, done_s : array
        Work on a batch begins, water meets powder, mixing ends, pouring begins, the share is
        spread, the bucket is back.
    busy : dict of str to (runs,) array
        Share of the time until the last spreading in which those with a role had their hands full.
    """

    begun_s: Floats
    wet_s: Floats
    mixed_s: Floats
    poured_s: Floats
    spread_s: Floats
    done_s: Floats
    busy: dict[str, Floats]


def draw(
    work: Work,
    runs: int,
    rng: np.random.Generator,
    by_hand: float,
    by_clock: float,
    shape: Shape = "lognormal",
) -> Drawn:
    """Draw the seconds of every step of every batch in every run.

    Parameters
    ----------
    work : Work
        The means.
    runs : int
    rng : Generator
        The same one gives the same draws batch by batch, so that changes are compared on like luck.
    by_hand, by_clock : float
        Coefficients of variation; mixing and slaking go by the clock.
    shape : {'lognormal', 'exponential', 'fixed'}
        Lognormal times are skewed as times of manual work are, and never negative.
    """

    def drawn(seconds: list[float], cv: float) -> Floats:
        mean = np.asarray(seconds, dtype=np.float64)[:, None]
        if shape == "fixed":
            return np.broadcast_to(mean, (len(mean), runs))
        if shape == "exponential":
            luck: Floats = rng.standard_exponential((len(mean), runs))
            return mean * luck
        log_sd = np.sqrt(np.log1p(cv**2))
        luck = rng.standard_normal((len(mean), runs))
        times: Floats = mean * np.exp(log_sd * luck - log_sd**2 / 2)
        return times

    spread = Steps(*(by_hand,) * len(work))._replace(mix=by_clock, slake=by_clock)
    return Steps(*(drawn(seconds, cv) for seconds, cv in zip(work, spread, strict=True)))


def simulate(drawn: Drawn, roles: Roles, buckets: int) -> Run:
    """Run pours through the crew.

    Parameters
    ----------
    drawn : Steps of (batches, runs) arrays
        From `draw`.
    roles : Roles
    buckets : int
        A batch holds one from its water to its rinsing.
    """
    batches, runs = drawn.mix.shape
    if buckets < 1:
        raise BadInput(say("A pour needs at least one bucket to mix in."))
    at = np.empty((6, batches, runs))
    vessels = Servers(buckets, runs)
    crew = _Alone(runs) if roles.alone else _Line(roles, runs)
    nothing = np.zeros(runs)
    for n in range(batches):
        step = Steps(*(times[n] for times in drawn))
        begun, wet, mixed = crew.mix(vessels.start(nothing), step)
        poured, spread, done = crew.place(mixed + step.slake, step)
        vessels.release(done)
        at[:, n] = begun, wet, mixed, poured, spread, done
    begun, wet, mixed, poured, spread, done = at
    whole = np.maximum(spread.max(axis=0), 1e-9)
    busy = {role: pool.busy_s / (pool.count * whole) for role, pool in crew.pools.items()}
    return Run(begun, wet, mixed, poured, spread, done, busy)


class _Alone:
    """One person who does everything."""

    def __init__(self, runs: int) -> None:
        self._crew = Servers(1, runs)
        self.pools = {"crew": self._crew}

    def mix(self, ready_s: Floats, step: Steps[Floats]) -> tuple[Floats, Floats, Floats]:
        """Return when work begins, water meets powder, and mixing ends."""
        begun = self._crew.start(ready_s)
        wet = begun + step.water
        return begun, wet, wet + step.powder + step.mix

    def place(self, ready_s: Floats, step: Steps[Floats]) -> tuple[Floats, Floats, Floats]:
        """Return when pouring begins, the share is spread, and the bucket is back."""
        poured = ready_s + step.carry
        spread = poured + step.pour + step.spread
        done = spread + step.deair + step.back
        self._crew.release(done)
        return poured, spread, done


class _Line:
    """The roles as pools of servers."""

    def __init__(self, roles: Roles, runs: int) -> None:
        self._mixing, self._carrying = Servers(roles.mixing, runs), Servers(roles.carrying, runs)
        self._helpers = Servers(roles.helpers, runs) if roles.helpers else None
        self._spreading = Servers(roles.spreading, runs) if roles.spreading else None
        pools = {
            "helpers": self._helpers,
            "mixing": self._mixing,
            "carrying": self._carrying,
            "spreading": self._spreading,
        }
        self.pools = {role: pool for role, pool in pools.items() if pool is not None}

    def mix(self, ready_s: Floats, step: Steps[Floats]) -> tuple[Floats, Floats, Floats]:
        """Return when work begins, water meets powder, and mixing ends."""
        if self._helpers is None:
            begun = self._mixing.start(ready_s)
            wet = begun + step.water
        else:
            begun = self._helpers.start(ready_s)
            measured = begun + step.water
            self._helpers.release(measured)
            wet = self._mixing.start(measured)
        mixed = wet + step.powder + step.mix
        self._mixing.release(mixed)
        return begun, wet, mixed

    def place(self, ready_s: Floats, step: Steps[Floats]) -> tuple[Floats, Floats, Floats]:
        """Return when pouring begins, the share is spread, and the bucket is back."""
        poured = self._carrying.start(ready_s) + step.carry
        emptied = poured + step.pour
        if self._spreading is None:
            spread = emptied + step.spread
            done = spread + step.deair + step.back
        else:
            spread = self._spreading.start(emptied) + step.spread
            self._spreading.release(spread + step.deair)
            done = emptied + step.back
        self._carrying.release(done)
        return poured, spread, done


def seam_ages(run: Run, seams: Sequence[tuple[int, int]]) -> Floats:
    """Age of the wet edge at each seam when it is closed, shape (seams, runs).

    From water on the powder of the earlier batch until the later one is spread against it.
    """
    if not seams:
        return np.zeros((0, run.wet_s.shape[1]))
    earlier, later = np.asarray(seams).T
    ages: Floats = run.spread_s[later] - run.wet_s[earlier]
    return ages


def makespan(run: Run) -> Floats:
    """When the last share is spread, in each run."""
    whole: Floats = run.spread_s.max(axis=0)
    return whole
