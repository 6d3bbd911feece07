"""The sights back to a benchmark in a survey: asked for, taken, told, and what follows of them.

Goes with `rig.survey.capture.Capture`, which knows the rod; `LineWatch` knows the laser.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from rig.events import Ask, Check, Drifted, Event, Jolted, LineChecked, ShotTaken, Trouble
from rig.survey.laser.line_watch import GIVE_UP_S, GIVE_UP_TYPED_S, Found, Known, LineWatch
from rig.survey.laser.verdict import SIGMAS
from rig.survey.stand import HeldReading, Stand
from rig.units import counted

RESTLESS = "restless"


@dataclass(frozen=True, slots=True)
class Pending:
    """A sight that is being asked for; `first` is one that says the line moved."""

    stand: Stand
    at_end: bool
    until_s: float
    first: HeldReading | None = None


class BackSights:
    """What a survey knows of its line.

    Parameters
    ----------
    known : Known or None
        What a benchmark read under this line before; without one nothing is ever asked.
    asks : bool
        Whether the walk goes back to the benchmark.
    kind : str
        Of the survey's shots.
    show : callable
        Writes a length for people.
    earlier : iterable of ShotTaken
        Shots since the line was last seen to be good, from before this session.

    Attributes
    ----------
    pending : Pending or None
        The sight that is being asked for.
    """

    def __init__(
        self,
        known: Known | None,
        asks: bool,
        kind: str,
        show: Callable[[float], str],
        earlier: Iterable[ShotTaken] = (),
    ) -> None:
        self.pending: Pending | None = None
        self._line = LineWatch(known) if known is not None else None
        self._asks, self._kind, self._show = asks, kind, show
        # Several of one label where it was shot again: the last counts, an undone one no more.
        self._since: dict[str, list[ShotTaken]] = {shot.label: [shot] for shot in earlier}
        self._wait_s = GIVE_UP_TYPED_S

    @property
    def offset_mm(self) -> float:
        """What today's line reads more than when the set-up was new."""
        return self._line.offset_mm if self._line is not None else 0.0

    @property
    def deadline_s(self) -> float:
        """When nobody waits for the sight any longer."""
        return self.pending.until_s if self.pending is not None else math.inf

    def hear_rod(self) -> None:
        """Know that a rod is read, not a tape: less patience is needed."""
        self._wait_s = GIVE_UP_S

    def wait_from(self, time_s: float) -> None:
        """Begin to wait for the sight anew: the rod is on its way."""
        if self.pending is not None:
            self.pending = replace(self.pending, until_s=time_s + self._wait_s)

    def shot(self, shot: ShotTaken) -> ShotTaken:
        """Return a shot as the line would have read it when the set-up was new, and keep it."""
        if self._line is None:  # nothing will ever be spread over it
            return shot
        shot = replace(
            shot,
            reading_mm=shot.reading_mm - self._line.offset_mm,
            stderr_mm=math.hypot(shot.stderr_mm, self._line.offset_stderr_mm),
        )
        self._since.setdefault(shot.label, []).append(shot)
        return shot

    def undo(self, label: str) -> None:
        """Forget a shot; the sight is asked for again later."""
        self.pending = None
        if label in self._since:
            self._since[label].pop()
            if not self._since[label]:
                del self._since[label]

    @property
    def can_ask(self) -> bool:
        """Whether there is a benchmark to go back to."""
        return self._line is not None and self._asks

    def due(self, time_s: float, points_left: bool) -> bool:
        """Say whether to go back to the benchmark now."""
        if self._line is None or not self._asks:
            return False
        if points_left:
            return self._line.due(time_s)
        return self._line.due_at_end(time_s, len(self._since))

    def ask(self, time_s: float, at_end: bool) -> Check:
        """Ask for the sight."""
        assert self._line is not None
        known = self._line.known
        stand = Stand(known.label, known.x_mm, known.y_mm, known.where)
        self.pending = Pending(stand, at_end, time_s + self._wait_s)
        text = f"back to {stand.text}: is the line still where it was? Skip if you must"
        return Check(
            label=stand.label,
            x_mm=stand.x_mm,
            y_mm=stand.y_mm,
            expected_mm=self._line.expected_mm,
            text=text,
        )

    def put_off(self, time_s: float) -> None:
        """Go on without the sight."""
        assert self._line is not None
        assert self.pending is not None
        self._line.put_off(time_s, self.pending.at_end)
        self.pending = None

    def give_up(self, time_s: float) -> Trouble:
        """Go on without the sight since nobody came."""
        assert self.pending is not None
        label = self.pending.stand.label
        self.put_off(time_s)
        text = (
            f"nobody came to {label}: the line is not checked. Later: rig survey --kind benchmark "
            f"--label {label}"
        )
        return Trouble(text=text, reason="unchecked")

    def look(self, held: HeldReading, now_s: float, sure: bool) -> list[Event]:
        """Take the sight; one that says that the line moved is taken twice, or confirmed.

        `pending` is None afterwards unless a second look is asked for.
        """
        assert self._line is not None
        assert self.pending is not None
        label, first = self.pending.stand.label, self.pending.first
        found = self._line.compare(held.reading_mm, held.stderr_mm, held.time_s)
        again = first is not None and abs(held.reading_mm - first.reading_mm) <= (
            SIGMAS * math.hypot(held.stderr_mm, first.stderr_mm)
        )
        if found.word == "held" or sure or again:
            self.pending = None
            return self._go_by(found, held, label)
        self.pending = replace(self.pending, first=held, until_s=now_s + self._wait_s)
        way = "more" if found.change_mm > 0 else "less"
        text = (
            f"{label} reads {self._show(abs(found.change_mm))} {way} than before: is the rod on "
            f"{label}? Press, or lift it and stand it there again"
        )
        return [Ask(label=label, text=text)]

    def _go_by(self, found: Found, held: HeldReading, label: str) -> list[Event]:
        """Tell what the line did, and what becomes of the shots since it was last seen."""
        line = self._line
        assert line is not None
        since, self._since = [shots[-1] for shots in self._since.values()], {}
        spread = tuple(self._spread(found, shot, held.time_s) for shot in since)
        restless = found.word == "jolt" and line.unsettled
        line.follow(found, held.time_s)
        text = self._in_words(found, label)
        checked = LineChecked(
            label=label,
            difference_mm=found.change_mm,
            allowed_mm=found.allowed_mm,
            ok=found.word == "held",
            reading_mm=held.reading_mm,
            stderr_mm=held.stderr_mm,
            n=held.n,
            time_s=held.time_s,
            text=text,
            found=found.word,
            offset_mm=line.offset_mm,
            offset_stderr_mm=line.offset_stderr_mm,
        )
        if found.word == "drift":
            return [checked, self._drifted(found, label, spread, text)]
        if found.word == "jolt":
            told: list[Event] = [checked, self._jolted(found, label, since, text)]
            return [*told, _restless()] if restless else told
        return [checked]

    def _in_words(self, found: Found, label: str) -> str:
        if found.word == "held":
            return f"the line stands where it was, within {self._show(found.allowed_mm)}"
        way = "up" if found.change_mm > 0 else "down"
        moved = (
            f"the line went {self._show(abs(found.change_mm))} {way} since it was last seen at "
            f"{label}"
        )
        if found.word == "drift":
            return f"{moved}: slowly enough for drift"
        return f"{moved}: more than a laser drifts, it was knocked"

    def _spread(self, found: Found, shot: ShotTaken, now_s: float) -> ShotTaken:
        assert self._line is not None
        reading_mm, stderr_mm = self._line.spread(
            found, shot.reading_mm, shot.stderr_mm, shot.time_s, now_s
        )
        return replace(shot, reading_mm=reading_mm, stderr_mm=stderr_mm)

    def _drifted(
        self, found: Found, label: str, spread: tuple[ShotTaken, ...], text: str
    ) -> Drifted:
        doubt_mm = 2.0 * max((shot.stderr_mm for shot in spread), default=found.stderr_mm)
        hours = max(found.hours, 1e-9)
        return Drifted(
            label=label,
            change_mm=found.change_mm,
            stderr_mm=found.stderr_mm,
            rate_mm_per_h=found.change_mm / hours,
            rate_stderr_mm_per_h=found.stderr_mm / hours,
            shots=spread,
            text=f"drift: {text}. Spread over the {counted(len(spread), 'shot')} since, "
            f"each now with its doubt (up to ± {self._show(doubt_mm)})",
        )

    def _jolted(self, found: Found, label: str, since: list[ShotTaken], text: str) -> Jolted:
        aside = ""
        if since:
            are, them = ("is", "it") if len(since) == 1 else ("are", "them")
            aside = (
                f"{counted(len(since), 'shot')} since {are} set aside (kept, not used): shoot "
                f"{them} again. "
            )
        return Jolted(
            label=label,
            change_mm=found.change_mm,
            stderr_mm=found.stderr_mm,
            kind=self._kind,
            labels=tuple(shot.label for shot in since),
            text=f"jolt: {text}. {aside}The line is tied anew at {label}",
        )


def _restless() -> Trouble:
    text = (
        "the line does not hold: give the laser a firm stand and time to settle, see rig check "
        "drift, then go on with rig survey"
    )
    return Trouble(text=text, reason=RESTLESS)
