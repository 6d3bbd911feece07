"""Guides the installer from marker to marker: raise, lower, hold, set.

A state machine without I/O or clock: readings and acts go in with their own times, events come
out. It begins with a sight that ties today's line to the survey, gives no prompt while that is
open, and takes no marker for set without having seen it out of height first, or being told so.
"""

import math
from collections.abc import Iterable, Sequence

from rig.devices.reading import AWAKE, CLOCK_SET, Reading
from rig.errors import BadInput
from rig.events import Event, MarkerSet, NextMarker, SetDone, Skipped, Trouble, Unset
from rig.guidance import phrases
from rig.guidance.line_check import UNCHECKED, CheckSight, LineSights, Steady
from rig.guidance.looks import Looks
from rig.guidance.marker_round import MarkerRound, MarkerTarget
from rig.guidance.prompter import Prompter
from rig.guidance.resting import Rest
from rig.guidance.tape import Tape
from rig.guidance.tolerance import Tolerance
from rig.language import say
from rig.survey.arming import Arming
from rig.survey.button import Button
from rig.survey.capture import TICK_LATENESS_S
from rig.survey.laser.line_watch import BREAK_S
from rig.survey.patience import PATIENCE_S, Patience, Want
from rig.survey.stance import Stance
from rig.survey.stillness import GAP_S, StillWindow
from rig.units import Units
from rig.words.typed import again, not_at_height, stand_or_read

__all__ = ["CheckSight", "MarkerTarget", "Setting"]
SETTLING_S = 15.0
"""Patience with a rod that may be at height: longer than the survey's, a hand is on the screw."""

_Stand = tuple[MarkerTarget | None, Steady | None]


class Setting:
    """The machine; `rig.session.run.Machine` says how it is fed.

    Parameters
    ----------
    markers : sequence of MarkerTarget
        In the order in which they are walked.
    already_set : iterable of str
        Labels that an earlier session has set.
    check : CheckSight or None
        The sight to begin with.
    retie : bool
        The laser stands anew: whatever the check sight differs by is the new line's shift.
    tolerance_mm : float
        How far off height a set marker may be.
    dwell_s, walk_s, still_mm, resolution_mm, foot_mm : float
        As in the survey.
    units : Units
        How amounts are shown.
    start_marker : str, optional
        Label to begin with, else the first that is not set.
    skip_check, by_tape : bool
        Trust the line without a sight, with a warning. Readings are typed, so nobody holds a rod.

    Raises
    ------
    BadInput
        Without markers, with an unknown or doubled label, a tolerance that is not positive, or
        a new set-up without a sight.
    """

    def __init__(
        self,
        markers: Sequence[MarkerTarget],
        *,
        already_set: Iterable[str] = (),
        check: CheckSight | None = None,
        retie: bool = False,
        tolerance_mm: float,
        dwell_s: float,
        walk_s: float,
        still_mm: float,
        resolution_mm: float,
        foot_mm: float,
        units: Units,
        start_marker: str | None = None,
        skip_check: bool = False,
        by_tape: bool = False,
    ) -> None:
        self._tolerance = Tolerance(tolerance_mm)
        if retie and (check is None or skip_check):
            raise BadInput(
                say(
                    "A new set-up has to be tied to the survey by a sight: leave --skip-check "
                    "out, and shoot a benchmark or a grid point first if there is none."
                )
            )
        self.finished = False
        self.line = LineSights(None if skip_check else check, retie, by_tape, units)
        """Today's line: how far it is off, how well that is known, what the check found wrong."""
        self._round = MarkerRound(markers, already_set, start_marker)
        self._seen_s = math.inf  # when a reading last came
        self._units, self._by_tape = units, by_tape
        self._window = StillWindow(dwell_s, still_mm, resolution_mm, foot_mm)
        self._looks = Looks(tolerance_mm, still_mm, resolution_mm, foot_mm)
        self._rest = Rest(self._tolerance, resolution_mm, foot_mm, units)
        self._prompter = Prompter(tolerance_mm, resolution_mm, units)
        self._tape = Tape(tolerance_mm)
        self._stance, self._patience, self._button = Stance(), Patience(), Button()
        self._said: set[str] = set()
        self._at_press: _Stand = (None, None)
        # Unarmed: the rod has not yet left the place of the last set marker, or of the check.
        self._arming = Arming(walk_s)
        self._now_s = -math.inf
        self._beam_mm: float | None = None
        self._asked: tuple[Steady, Arming] | None = None

    # --- what goes in -----------------------------------------------------------------------

    def start(self, time_s: float) -> list[Event]:
        """Ask for the check sight, or for the first marker."""
        self._now_s = self._seen_s = time_s
        self._patience.armed_s = time_s
        if self._round.current is None:
            return self._end()
        if self.line.wanted is not None:
            return [self.line.ask()]
        return [Trouble(text=UNCHECKED, reason="unchecked"), *self._go(self._round.current)]

    def reading(self, reading: Reading) -> list[Event]:
        """Take a reading of the rod."""
        events = self._until(reading.time_s)
        if self.finished or reading.status == "bad":
            return events
        if reading.status == "button":
            if not self._button.count:
                self._at_press = self._stand()
            self._button.press(self._now_s)
        if reading.status == "no_beam":
            events += self._dark()
        elif reading.value_mm is not None:
            events += self._after_break()
            self._beam_mm = reading.value_mm
            self._patience.see(self._now_s, True)
            if self.line.wanted is not None:
                events += self._sight(reading.value_mm)
            else:
                events += self._read(reading.value_mm)
        return events

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> list[Event]:
        """Take a reading typed by hand: it stands for a whole still window."""
        events = self._until(time_s) + self._settle_presses()
        if self.finished:
            return events
        steady = Steady(value_mm, stderr_mm, 1)
        events += self._after_break()
        if self.line.wanted is not None:
            events += self._compare(steady, second=self.line.looked_moved)
        else:
            events += self._read_tape(steady)
        self._arming.arm()  # whoever types knows where the tape stands
        return events

    def act(self, name: str, time_s: float, argument: str | None = None) -> list[Event]:
        """Take an act of the installer: accept, undo, skip, goto LABEL or quit."""
        events = self._until(time_s) + self._settle_presses()
        if not self.finished and name == AWAKE:
            return events + self._after_break()
        skips = self.finished or name == CLOCK_SET
        return events if skips else events + self._act(name, argument, self._stand())

    def lost(self, time_s: float) -> list[Event]:
        """Take note that the link is lost: readings from before never meet those after."""
        events = self._until(time_s)
        self._break()
        self._looks.lift(armed=False)
        self._stance.forget()
        self._patience.interrupt()
        self._arming.interrupt()
        self._asked = self._beam_mm = None
        return events

    def back(self, time_s: float) -> list[Event]:
        """Take note that the link is there again."""
        return self.lost(time_s)

    def tick(self, time_s: float) -> list[Event]:
        """Let deadlines act; a tick carries no data and moves no clock but theirs."""
        return self._fire(time_s - TICK_LATENESS_S)

    def target_today_mm(self, marker: MarkerTarget) -> float:
        """Return what today's line reads on a marker's top at height."""
        return marker.target_reading_mm + self.line.shift_mm

    # --- time -------------------------------------------------------------------------------

    def _until(self, time_s: float) -> list[Event]:
        now_s = max(self._now_s, time_s)
        events = self._fire(now_s)
        self._now_s = now_s
        return events

    def _fire(self, until_s: float) -> list[Event]:
        """Let every deadline up to a time act, in their order."""
        events: list[Event] = []
        while not self.finished:
            pressed_s, patience = self._button.deadline_s, self._patience.deadline()
            patience_s, want = patience or (math.inf, "beam")
            if want == "stillness":
                patience_s += SETTLING_S - PATIENCE_S
            if pressed_s is not None and pressed_s <= min(patience_s, until_s):
                self._now_s = max(self._now_s, pressed_s)
                events += self._settle_presses()
            elif patience_s <= until_s:
                if self._patience.end(want, patience_s):
                    events += self._complain(want)
            else:
                break
        return events

    def _complain(self, want: Want) -> list[Event]:
        found = self._patience.complaint(want, self._window, self._units.off)
        if found is None or found[0] in self._said:
            return []
        reason, text = found
        self._said.add(reason)
        return [Trouble(text=text, reason=reason)]

    # --- the check --------------------------------------------------------------------------

    def _after_break(self) -> list[Event]:
        """Ask for the check sight again where nothing was read for long."""
        pause_s, self._seen_s = self._now_s - self._seen_s, self._now_s
        if pause_s <= BREAK_S or not self.line.look_again(moved=True):
            return []
        return self._want_sight()

    def _want_sight(self) -> list[Event]:
        self._break()
        self._patience.interrupt()
        return [self.line.ask()]

    def _sight(self, value_mm: float) -> list[Event]:
        self._arrive(value_mm)
        self._window.add(self._now_s, value_mm)
        self._rest.see(self._now_s, value_mm, self._window)
        events = self._stands()
        if self._window.state() != "still":
            return events
        waited = self.line.waited(self._now_s, self._arming.armed)
        if self.line.looked_moved and not waited:
            return events
        self._prompter.live.rests(self._window.spread_mm)
        steady = self._rest.steady(self._window.resolution_mm)
        self._learn()
        return [*events, *self._compare(steady, second=waited)]

    def _compare(self, steady: Steady, *, second: bool) -> list[Event]:
        """Go on from the check sight; where it fails, look once more, then end without a prompt."""
        checked = self.line.take(steady, self._now_s)
        self.finished = second and not checked.ok
        if self.finished:
            return [checked, Trouble(text=checked.text, reason=say("line moved"))]
        self._leave(self._arming, steady, checked.label)
        if not checked.ok:
            text = say(
                "not on it yet? {stand_or_read}",
                stand_or_read=stand_or_read(checked.label, self._by_tape),
            )
            return [checked, Trouble(text=text, reason=say("check again"))]
        return [checked, *self._go(self._round.current)]

    # --- setting ----------------------------------------------------------------------------

    def _read(self, value_mm: float) -> list[Event]:
        """Take a height, on the current marker or on the way there."""
        self._arrive(value_mm)
        self._see_asked(value_mm)
        self._window.add(self._now_s, value_mm)
        events, marker = self._stands(), self._marker
        target = self.target_today_mm(marker)
        self._looks.see(self._now_s, value_mm, target if self._arming.armed else None)
        if not self._arming.armed:
            return events
        self._patience.arm(self._now_s)
        self._rest.see(self._now_s, value_mm, self._window)
        steady, guard_mm, steady_mm = self._rest.look(target, value_mm, self._window)
        events += self._prompter.hear(
            marker.label, target, self._now_s, value_mm, guard_mm, steady_mm
        )
        if self._window.state() == "still":
            self._patience.interrupt()
            self._prompter.live.rests(self._window.spread_mm)
            if not self._button.count:  # two presses would undo what they did not mean
                events += self._judge(steady, guard_mm)
            events += self._rest.complaint(guard_mm)
        elif not self._tolerance.may_hold(abs(target - value_mm), self._window):
            self._patience.interrupt()  # a screw being turned need not rest
        return events

    def _read_tape(self, steady: Steady) -> list[Event]:
        """Take a reading of a tape on the current marker, with those before it."""
        marker, target = self._marker, self.target_today_mm(self._marker)
        self._asked = None  # each typed reading has its own answer
        events: list[Event] = [
            self._prompter.say(marker.label, target, self._now_s, steady.mean_mm)
        ]
        if abs(steady.mean_mm - target) > self._tolerance.mm or not self._looks.out:
            self._tape.forget()  # of another height, or maybe of another marker
            return events + self._judge(steady, guard_mm=0.0)
        found = self._tape.read(steady.mean_mm, steady.stderr_mm, target)
        if found.sure:
            return events + self._judge(found.steady, guard_mm=0.0)
        self._asked = (found.steady, Arming(self._arming.walk_s))
        return [*events, self._tape.ask(marker.label, found, self._units)]

    def _arrive(self, value_mm: float) -> None:
        """Let a walk end; what comes then belongs to another stand."""
        was_armed = self._arming.armed
        if self._arming.see(self._now_s, value_mm) or (self._arming.armed and not was_armed):
            self._break()

    def _stands(self) -> list[Event]:
        """Tell how the rod stands, at once where that is still: it may be taken."""
        armed = self._arming.armed
        still = armed and self._window.state() == "still"
        return [*self._stance.see(self._now_s, self._window, armed, now=still)]

    def _dark(self) -> list[Event]:
        """Take note of no beam: a body in it, or the rod on its way."""
        self._break()
        self._beam_mm = None
        self._patience.see(self._now_s, False)
        self._arming.see(self._now_s, None)
        self._looks.lift(self._arming.armed)
        self._see_asked(None)
        return [*self._stance.dark(self._now_s, self._arming.armed)]

    def _see_asked(self, value_mm: float | None) -> None:
        """Forget a question once the rod has left the stand that it was about."""
        if self._asked is not None:
            self._asked[1].see(self._now_s, value_mm)
            if self._asked[1].armed:
                self._asked = None

    def _judge(self, steady: Steady, guard_mm: float) -> list[Event]:
        """Decide what a steady reading on the current marker means."""
        off_mm = abs(self.target_today_mm(self._marker) - steady.mean_mm)
        if off_mm > self._tolerance.mm + guard_mm:
            self._looks.rested_out()
            self._asked = None
            return []
        if self._tolerance.is_open(off_mm, guard_mm):
            return []  # neither out of height nor at it
        if self._looks.out:
            return self._take(steady)
        if self._asked is not None:
            return []
        stand = Arming(self._arming.walk_s)
        self._leave(stand, steady)
        self._asked = (steady, stand)
        return [phrases.ask(self._marker.label)]

    def _take(self, steady: Steady) -> list[Event]:
        """Take the current marker for set and go on to the next."""
        marker = self._marker
        residual = self.target_today_mm(marker) - steady.mean_mm
        if self._window.state() == "still":
            self._learn()
        self._round.set(marker)
        self._leave(self._arming, steady, marker.label)
        taken = MarkerSet(
            marker=marker.label,
            residual_mm=residual,
            reading_mm=steady.mean_mm,
            stderr_mm=steady.stderr_mm,
            n=steady.n,
            time_s=self._now_s,
            text=phrases.SET,
        )
        return [taken, *self._go(self._round.following(marker))]

    @property
    def _marker(self) -> MarkerTarget:
        assert self._round.current is not None
        return self._round.current

    def _learn(self) -> None:
        """Learn how the rod reads at rest."""
        self._window.learn(self._window.spread_mm)
        self._rest.learn()
        self._looks.learn(self._window.spread_mm)

    def _leave(self, arming: Arming, steady: Steady, label: str | None = None) -> None:
        noise = max(3.0 * self._prompter.live.noise_mm, 2.0 * self._window.resolution_mm)
        band = max(self._tolerance.mm, noise)
        arming.leave(steady.mean_mm, band, label=label, time_s=self._now_s)

    def _go(self, marker: MarkerTarget | None) -> list[Event]:
        """Make a marker the current one, nothing known of it yet; without one, all is done."""
        if marker is None:
            return self._end()
        self._round.go(marker)
        self._break()
        self._patience.interrupt()
        self._patience.armed_s = self._now_s if self._arming.armed else None
        self._said.clear()
        self._prompter.forget()
        self._looks.forget()
        self._rest.another_marker()
        self._tape.forget()
        self._asked = None
        return [
            NextMarker(marker=marker.label, x_mm=marker.x_mm, y_mm=marker.y_mm, text=marker.where)
        ]

    def _break(self) -> None:
        """Keep the readings so far from mixing with those to come."""
        self._window.clear()
        self._rest.interrupt()
        self._prompter.live.clear()

    def _end(self) -> list[Event]:
        self.finished = True
        return [SetDone(set=self._round.done, left=self._round.left)]

    # --- acts -------------------------------------------------------------------------------

    def _settle_presses(self) -> list[Event]:
        """Do what the presses so far ask for."""
        count = self._button.take()
        if self.finished or not count:
            return []
        return self._act({1: "accept", 2: "undo"}.get(count, "skip"), None, self._at_press)

    def _act(self, name: str, argument: str | None, stand: _Stand) -> list[Event]:
        if name == "quit":
            return self._end()
        if name == "goto":
            return self._goto((argument or "").strip())
        if self.line.wanted is not None:
            text = say(
                "first the check: {stand_or_read}",
                stand_or_read=stand_or_read(self.line.wanted.label, self._by_tape),
            )
            return [Trouble(text=text, reason=say("check first"))]
        if name == "accept":
            return self._accept(*stand)
        if name == "undo":
            return self._undo()
        if name == "skip":
            skipped = self._marker
            self._round.skip(skipped)
            return [Skipped(label=skipped.label), *self._go(self._round.following(skipped))]
        return [Trouble(text=say("there is no act called {name}", name=name), reason="act")]

    def _stand(self) -> _Stand:
        """Return the current marker, and the steady reading that an accept would stand on."""
        steady, window = None, self._window
        if self.line.wanted is not None or (self._arming.gave_shot and not self._arming.away):
            return None, None  # this stand has set its marker
        if window.state() == "still" and self._now_s - window.last_time_s <= GAP_S:
            steady = self._rest.steady(window.resolution_mm)
        elif self._asked is not None:
            height, stand = self._asked
            if self._beam_mm is None or stand.near(self._beam_mm):
                steady = height  # a press shakes the rod, a hand shades it
        return self._round.current, steady

    def _accept(self, marker: MarkerTarget | None, steady: Steady | None) -> list[Event]:
        if marker != self._round.current:
            return []
        if steady is None:
            return [Trouble(text=again(self._by_tape), reason="accept")]
        if abs(self.target_today_mm(self._marker) - steady.mean_mm) > self._tolerance.mm:
            return [Trouble(text=not_at_height(), reason="off height")]
        if not self._arming.armed and not self._arming.asked:
            self._arming.asked = True  # moved too little for a walk: a second press is sure
            return [phrases.ask(self._marker.label)]
        return self._take(steady)

    def _undo(self) -> list[Event]:
        if (marker := self._round.undo()) is None:
            return [Trouble(text=say("nothing more to undo"), reason="undo")]
        self._arming.arm()  # the rod may well stand on it
        return [Unset(marker=marker.label), *self._go(marker)]

    def _goto(self, label: str) -> list[Event]:
        if self.line.is_called(label) and self.line.look_again(moved=False):
            return self._want_sight()
        try:
            marker = self._round[label]
        except BadInput as error:
            return [Trouble(text=error.text, reason="goto")]
        if self.line.wanted is not None:
            self._round.go(marker)  # where to begin after the check
            return []
        if marker == self._round.last_set:
            self._arming.arm()  # the installer says that the rod stands on it
        return self._go(marker)
