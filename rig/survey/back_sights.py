"""The sights back to a benchmark in a survey: asked for, taken, told, and what follows of them.

Goes with `rig.survey.capture.Capture`, which knows the rod; `LineWatch` knows the laser.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from rig.events import (
    Ask,
    Check,
    Drifted,
    Event,
    Jolted,
    LineChecked,
    PutBack,
    SetAside,
    SetUp,
    ShotTaken,
    Skipped,
    Trouble,
)
from rig.survey.doubted import AsideByJolt, Begun, Doubt, Pending
from rig.survey.laser.line_watch import (
    BREAK_S,
    GIVE_UP_S,
    GIVE_UP_TYPED_S,
    Found,
    Known,
    LineWatch,
)
from rig.survey.laser.verdict import SIGMAS
from rig.survey.stand import HeldReading, Stand
from rig.words import laser as words
from rig.words import say
from rig.words.typed import sure_of_place

RESTLESS = "restless"


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
    begun : Begun
        How this session finds the line.
    wheres : mapping of str to str
        How to find a point, by its label.

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
        begun: Begun | None = None,
        wheres: Mapping[str, str] | None = None,
    ) -> None:
        self.pending: Pending | None = None
        self._line = LineWatch(known) if known is not None else None
        self._asks, self._kind, self._show = asks, kind, show
        # Several of one label where it was shot again: the last counts, an undone one no more.
        self._since: dict[str, list[ShotTaken]] = {shot.label: [shot] for shot in earlier}
        self._by_tape, self._wait_s = True, GIVE_UP_TYPED_S
        self._begun, self._wheres = begun or Begun(), wheres or {}
        self._opens, self._doubt = self._begun.opens, self._begun.doubt
        # When the laser may have been set up again: at the end of a break since the last sight.
        self._broke_s: float | None = None
        self._seen_s = math.inf
        self._jolt: AsideByJolt | None = None

    def start(self, time_s: float) -> None:
        """Begin: whatever was shot before is from before a break."""
        self._seen_s = time_s
        if self._knows_breaks:
            self._opens |= self.can_ask and self._line is not None and self._line.due(time_s)
            if self._opens or self._since:
                self._broke_s = time_s

    @property
    def _knows_breaks(self) -> bool:
        """Whether this session knows of a laser set up again; an older floor-rig's does not.

        Its log is replayed as it went: what followed a pause there was no sight.
        """
        return bool(self._begun.anew)

    @property
    def offset_mm(self) -> float:
        """What today's line reads more than when the set-up was new."""
        return self._line.offset_mm if self._line is not None else 0.0

    @property
    def deadline_s(self) -> float:
        """When nobody waits for the sight any longer."""
        return self.pending.until_s if self.pending is not None else math.inf

    @property
    def break_s(self) -> float:
        """When nothing will have been read for so long that the line is to be seen again."""
        waits = self._knows_breaks and self.can_ask and self.pending is None
        return self._seen_s + BREAK_S if waits else math.inf

    def hear_rod(self) -> None:
        """Know that a rod is read, not a tape: less patience is needed."""
        self._by_tape, self._wait_s = False, GIVE_UP_S

    def hear(self, time_s: float) -> None:
        """Hear that something was read."""
        if time_s - self._seen_s >= BREAK_S and self._knows_breaks:
            self._broke_s = time_s
        self._seen_s = time_s

    def wait_from(self, time_s: float) -> None:
        """Begin to wait for the sight anew: the rod is on its way."""
        if self.pending is not None and self.pending.until_s < math.inf:
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

    def put_back(self, shot: ShotTaken) -> list[PutBack]:
        """Tell which shots a point that was shot again after a jolt vouches for: those before."""
        jolt = self._jolt if self._knows_breaks else None
        shots = () if jolt is None else jolt.vouched_for(shot)
        if not shots:
            return []
        self._jolt = None
        labels = tuple(one.label for one in shots)
        text = words.put_back(shot.label, labels)
        return [PutBack(label=shot.label, labels=labels, shots=shots, text=text)]

    @property
    def goes_back(self) -> tuple[str, ...]:
        """Points to shoot again after a jolt, from the last one back: one may vouch for the rest.

        Not by a tape, whose readings may be typed from a list in the order of the walk.
        """
        if self._jolt is None or self._by_tape or not self._knows_breaks:
            return ()
        return tuple(shot.label for shot in reversed(self._jolt.shots))

    def undo(self, label: str) -> None:
        """Forget a shot."""
        if label in self._since:
            self._since[label].pop()
            if not self._since[label]:
                del self._since[label]

    @property
    def can_ask(self) -> bool:
        """Whether there is a benchmark to go back to."""
        return self._line is not None and self._asks

    @property
    def can_close(self) -> bool:
        """Whether a sight would vouch for anything before the end."""
        closing = self.pending is not None and self.pending.is_closing
        opening = self.pending is not None and self.pending.is_opening
        return self.can_ask and bool(self._since) and not (closing or opening)

    def due(self, time_s: float, points_left: bool) -> bool:
        """Say whether to go back to the benchmark, or to an earlier point, now."""
        if self._line is None:
            return False
        if self._opens or (self._doubt is not None and self._doubt.point is not None):
            return True
        if not self._asks:
            return False
        if points_left:
            return self._line.due(time_s)
        return self._line.due_at_end(time_s, len(self._since))

    def ask(self, time_s: float, at_end: bool, after_break: bool = False) -> Check:
        """Ask for the sight."""
        assert self._line is not None
        if after_break and self._knows_breaks:
            self._opens, self._broke_s = True, time_s
        point = self._doubt.point if self._doubt is not None and not self._opens else None
        if point is not None and self._doubt is not None:
            where = self._wheres.get(point.label, "")
            stand = Stand(point.label, point.x_mm, point.y_mm, where)
            self.pending = Pending(stand, math.inf, point=point)
            text = words.back_to_a_point(where, len(self._doubt.open))
            expected_mm = self._doubt.expected_mm(point)
        else:
            known = self._line.known
            stand = Stand(known.label, known.x_mm, known.y_mm, known.where)
            opens, self._opens = self._opens, False
            # A session waits for its first sight as it would for its first point.
            until_s = math.inf if opens else time_s + self._wait_s
            closing = at_end and not opens
            self.pending = Pending(stand, until_s, is_opening=opens, is_closing=closing)
            ask = words.first_to if opens else words.last_to if closing else words.back_to
            text, expected_mm = ask(stand.text), self._line.expected_mm
        return Check(
            label=stand.label,
            x_mm=stand.x_mm,
            y_mm=stand.y_mm,
            expected_mm=expected_mm,
            text=text,
            closing=self.pending.is_closing or None,
        )

    def skip(self, time_s: float) -> list[Event]:
        """Go on without the sight, as told."""
        assert self.pending is not None
        told: list[Event] = [Skipped(label=self.pending.stand.label)]
        point, doubt = self.pending.point, self._doubt
        if point is None or doubt is None:
            self._put_off(time_s)
            return told
        self.pending, self._doubt, self._seen_s = None, doubt.skip(point), time_s
        return [*told, *self._settle()]

    def _put_off(self, time_s: float) -> None:
        assert self._line is not None
        assert self.pending is not None
        self._line.put_off(time_s, self.pending.is_closing)
        self.pending, self._seen_s = None, time_s

    def give_up(self, time_s: float) -> Trouble:
        """Go on without the sight since nobody came."""
        assert self.pending is not None
        label = self.pending.stand.label
        self._put_off(time_s)
        return Trouble(text=words.nobody_came(label), reason="unchecked")

    def look(self, held: HeldReading, now_s: float, sure: bool) -> list[Event]:
        """Take the sight; one that says that the line moved is taken twice, or confirmed.

        Not by a tape that opens a session: who reads it says so. `pending` is None afterwards
        unless a second look is asked for.
        """
        assert self.pending is not None
        pending, doubt = self.pending, self._doubt
        label, first, point = pending.stand.label, pending.first, pending.point
        found = self._compared(held, point)
        sure = sure or (self._by_tape and (pending.is_opening or point is not None))
        again = first is not None and abs(held.reading_mm - first.reading_mm) <= (
            SIGMAS * math.hypot(held.stderr_mm, first.stderr_mm)
        )
        if found.word == "held" or sure or again:
            self.pending = None
            if point is not None and doubt is not None:
                return self._go_by_point(found, held, point, doubt)
            return self._go_by(found, held, label)
        until_s = pending.until_s if pending.until_s == math.inf else now_s + self._wait_s
        self.pending = replace(pending, first=held, until_s=until_s)
        text = say(
            "{label} reads {by} more than before: {sure_of_place}"
            if found.change_mm > 0
            else "{label} reads {by} less than before: {sure_of_place}",
            label=label,
            by=self._show(abs(found.change_mm)),
            sure_of_place=sure_of_place(label, self._begun.by_tape),
        )
        return [Ask(label=label, text=text)]

    def _compared(self, held: HeldReading, point: ShotTaken | None) -> Found:
        assert self._line is not None
        if point is not None and self._doubt is not None:
            return self._doubt.compare(point, held)
        found = self._line.compare(held.reading_mm, held.stderr_mm, held.time_s)
        if found.word != "held" and self._broke_s is not None:
            return replace(found, word="set up")
        return found

    def _go_by(self, found: Found, held: HeldReading, label: str) -> list[Event]:
        """Tell what the line did, and what becomes of the shots since it was last seen."""
        line = self._line
        assert line is not None
        since, self._since = [shots[-1] for shots in self._since.values()], {}
        spread = tuple(self._spread(found, shot, held.time_s) for shot in since)
        restless = found.word == "jolt" and line.unsettled
        line.follow(found, held.time_s)
        text = self._in_words(found, label)
        checked = self._checked(found, held, label, text, found.word)
        if found.word == "set up":
            return [checked, *self._set_up(held, since)]
        self._broke_s = None
        if found.word == "drift":
            return [checked, self._drifted(found, label, spread, text)]
        if found.word == "jolt":
            self._jolt = AsideByJolt(since, found.change_mm)
            told: list[Event] = [checked, self._jolted(found, label, since, text)]
            return [*told, Trouble(text=words.restless(), reason=RESTLESS)] if restless else told
        return [checked]

    def _checked(
        self,
        found: Found,
        held: HeldReading,
        label: str,
        text: str,
        word: str,
        setup: str | None = None,
    ) -> LineChecked:
        assert self._line is not None
        return LineChecked(
            label=label,
            difference_mm=found.change_mm,
            allowed_mm=found.allowed_mm,
            ok=found.word == "held",
            reading_mm=held.reading_mm,
            stderr_mm=held.stderr_mm,
            n=held.n,
            time_s=held.time_s,
            text=text,
            found=word,
            offset_mm=self._line.offset_mm,
            offset_stderr_mm=self._line.offset_stderr_mm,
            setup=setup,
        )

    def _set_up(self, held: HeldReading, since: list[ShotTaken]) -> list[Event]:
        """Tie a set-up of its own, and see what of the one before is open."""
        assert self._line is not None
        assert self._broke_s is not None
        known, begun, name = self._line.known, self._begun, self._begun.anew
        change_mm = held.reading_mm - known.reading_mm
        line_mm = None if begun.line_mm is None else begun.line_mm + change_mm
        before = sorted(
            (s for s in since if s.time_s < self._broke_s and s.label != known.label),
            key=lambda shot: shot.time_s,
        )
        if not known.is_fixed:  # the last shot is what the line was tied at
            before.reverse()
        after = tuple(shot.label for shot in since if shot.time_s >= self._broke_s)
        stderr_mm = math.hypot(known.stderr_mm, held.stderr_mm)
        self._doubt = Doubt(known.setup, tuple(before), change_mm, stderr_mm) if before else None
        self._line = LineWatch(
            replace(
                known,
                setup=name,
                reading_mm=held.reading_mm,
                stderr_mm=held.stderr_mm,
                offset_mm=0.0,
                offset_stderr_mm=0.0,
                checked_s=held.time_s,
            )
        )
        self._broke_s = self._jolt = None
        self._begun = replace(begun, anew=_name_after(name), line_mm=line_mm)
        told: list[Event] = [
            SetUp(
                name=name,
                line_mm=line_mm,
                change_mm=change_mm,
                label=known.label,
                x_mm=known.x_mm,
                y_mm=known.y_mm,
                reading_mm=held.reading_mm,
                stderr_mm=held.stderr_mm,
                n=held.n,
                time_s=held.time_s,
                text=words.set_up_again(name, known.label, len(before)),
            )
        ]
        if after:
            text = words.set_aside_unseen(after)
            told.append(SetAside(setup=known.setup, kind=self._kind, labels=after, text=text))
        return told

    def _go_by_point(
        self, found: Found, held: HeldReading, point: ShotTaken, doubt: Doubt
    ) -> list[Event]:
        """Tell what an earlier point says of the line before the break."""
        stood = found.word == "held"
        self._doubt = doubt.seen(point, stood)
        if stood:
            kept = len(doubt.open) - len(self._doubt.open)
            text = words.line_stood(point.label, kept)
        else:
            text = words.line_had_moved(point.label, self._show(abs(found.change_mm)))
        word = "stood" if stood else "moved"
        told: list[Event] = [self._checked(found, held, point.label, text, word, doubt.setup)]
        if not stood:  # the point has its shot, under the line of today
            told.append(self.shot(held.as_shot(point, point.kind)))
        return told + self._settle()

    def _settle(self) -> list[Event]:
        """Set aside what is open once enough was looked at."""
        doubt = self._doubt
        if doubt is None or doubt.point is not None:
            return []
        self._doubt = None
        labels = tuple(shot.label for shot in doubt.unsure)
        if not labels:
            return []
        text = words.set_aside_open(labels)
        return [SetAside(setup=doubt.setup, kind=self._kind, labels=labels, text=text)]

    def _in_words(self, found: Found, label: str) -> str:
        if found.word == "held":
            return say(
                "the line stands where it was, within {show}", show=self._show(found.allowed_mm)
            )
        by = self._show(abs(found.change_mm))
        if found.word == "set up":
            return (
                say("at {label} the line is {by} higher than before", label=label, by=by)
                if found.change_mm > 0
                else say("at {label} the line is {by} lower than before", label=label, by=by)
            )
        moved = (
            say("the line went {by} up since it was last seen at {label}", label=label, by=by)
            if found.change_mm > 0
            else say(
                "the line went {by} down since it was last seen at {label}", label=label, by=by
            )
        )
        if found.word == "drift":
            return say("{moved}: slowly enough for drift", moved=moved)
        return say("{moved}: more than a laser drifts, it was knocked", moved=moved)

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
            text=words.drifted(text, len(spread), self._show(doubt_mm)),
        )

    def _jolted(self, found: Found, label: str, since: list[ShotTaken], text: str) -> Jolted:
        return Jolted(
            label=label,
            change_mm=found.change_mm,
            stderr_mm=found.stderr_mm,
            kind=self._kind,
            labels=tuple(shot.label for shot in since),
            text=words.jolted(text, len(since), label),
        )


def _name_after(name: str) -> str:
    return str(int(name) + 1) if name.isdecimal() else f"{name}+"
