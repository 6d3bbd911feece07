"""Shots from before a break that no closing sight vouches for, and which of them to look at again.

The laser was set up again, so its line is another one. Did it stand until then? A point read again
under the new line tells: one that reads as it did was shot, and all before it, under the line as it
was first seen.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from rig.events import ShotTaken
from rig.survey.laser.line_watch import Found
from rig.survey.laser.verdict import SIGMAS
from rig.survey.reading import REFOUND_MM
from rig.survey.stand import HeldReading, Stand

MOST_LOOKS = 2
"""So many points are asked for again; what they leave open is set aside."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """What is open of an earlier set-up.

    Attributes
    ----------
    setup : str
        That the shots were made from.
    open : tuple of ShotTaken
        In the order in which the line may have moved between them: the first ones are the surest.
    change_mm, stderr_mm : float
        What the line of today reads more than theirs.
    gone : tuple of ShotTaken
        Shot after the line moved.
    looks : int
        Points asked for so far.
    passed : frozenset of str
        Labels of those that were skipped.
    """

    setup: str
    open: tuple[ShotTaken, ...]
    change_mm: float
    stderr_mm: float
    gone: tuple[ShotTaken, ...] = ()
    looks: int = 0
    passed: frozenset[str] = frozenset()

    @property
    def point(self) -> ShotTaken | None:
        """The shot to look at again; None where all is told, or enough was asked.

        The last one first, which mostly settles it; after that the middle, which halves the rest.
        """
        left = [shot for shot in self.open if shot.label not in self.passed]
        if not left or self.looks >= MOST_LOOKS:
            return None
        return left[-1] if not self.looks or self.passed else left[len(left) // 2]

    @property
    def unsure(self) -> tuple[ShotTaken, ...]:
        """Shots that are not vouched for, as far as was looked."""
        return self.open + self.gone

    def expected_mm(self, shot: ShotTaken) -> float:
        """What a point reads under the line of today if the line had not moved before its shot."""
        return shot.reading_mm + self.change_mm

    def noise_mm(self, shot: ShotTaken) -> float:
        """Doubt of that, the new sight's own left out."""
        return math.hypot(shot.stderr_mm, self.stderr_mm, REFOUND_MM)

    def compare(self, shot: ShotTaken, held: HeldReading) -> Found:
        """Say whether a new sight of a point reads as its shot, so that the line had stood."""
        change_mm = held.reading_mm - self.expected_mm(shot)
        noise_mm = math.hypot(self.noise_mm(shot), held.stderr_mm)
        allowed_mm = SIGMAS * noise_mm
        stood = abs(change_mm) <= allowed_mm
        return Found("held" if stood else "set up", change_mm, noise_mm, allowed_mm, 0.0)

    def skip(self, shot: ShotTaken) -> "Doubt":
        """Do without a look at a point."""
        return replace(self, looks=self.looks + 1, passed=self.passed | {shot.label})

    def seen(self, shot: ShotTaken, stood: bool) -> "Doubt":
        """Go by what a look at a point said; where the line had moved, its shot is taken anew."""
        at = self.open.index(shot)
        if stood:
            return replace(self, open=self.open[at + 1 :], looks=self.looks + 1)
        later = self.open[at + 1 :]
        return replace(self, open=self.open[:at], gone=later + self.gone, looks=self.looks + 1)


@dataclass(frozen=True, slots=True)
class Begun:
    """How a session finds its line.

    Attributes
    ----------
    opens : bool
        It begins with a sight.
    anew : str
        Name of a set-up that the laser is found in at another height.
    line_mm : float or None
        The line as it was first, over that of set-up 1.
    doubt : Doubt or None
        What an earlier session left open.
    undoes_skips : bool
        As `Round` has it.
    by_tape : bool
        Readings are typed, so that nobody holds a rod.
    stays : bool
        The rod stands where it was shot last, and nothing was missed since.
    """

    opens: bool = False
    anew: str = ""
    line_mm: float | None = None
    doubt: Doubt | None = None
    undoes_skips: bool = True
    by_tape: bool = False
    stays: bool = False


@dataclass(frozen=True, slots=True)
class Pending:
    """A sight that is being asked for.

    Attributes
    ----------
    stand : Stand
    until_s : float
        Nobody waits longer.
    is_opening, is_closing : bool
        Whether it is the first of a session or after a break, or the last.
    point : ShotTaken or None
        The earlier shot that is looked at; a benchmark else.
    first : HeldReading or None
        A look that says the line moved: one more is asked for.
    """

    stand: Stand
    until_s: float
    is_opening: bool = False
    is_closing: bool = False
    point: ShotTaken | None = None
    first: HeldReading | None = None


class AsideByJolt:
    """What a jolt set aside, in the order of time, and what of it was sound after all.

    Parameters
    ----------
    shots : iterable of ShotTaken
    change_mm : float
        By how much the line moved.
    """

    def __init__(self, shots: Iterable[ShotTaken], change_mm: float) -> None:
        self.shots = sorted(shots, key=lambda shot: shot.time_s)
        self._change_mm = change_mm

    def vouched_for(self, again: ShotTaken) -> tuple[ShotTaken, ...]:
        """Return the shots before one that was shot again, where that reads as it did.

        The line had not moved yet then: it could not have read so under the line as it is now.
        """
        labels = [shot.label for shot in self.shots]
        if again.label not in labels:
            return ()
        at = labels.index(again.label)
        old = self.shots[at]
        allowed_mm = SIGMAS * math.hypot(old.stderr_mm, again.stderr_mm, REFOUND_MM)
        reads_so = abs(again.reading_mm - old.reading_mm) <= allowed_mm
        return tuple(self.shots[:at]) if reads_so and abs(self._change_mm) > 2 * allowed_mm else ()
