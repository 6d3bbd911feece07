"""Turns readings and acts into shots of the points of a walk, hands-free.

A state machine without I/O or clock: time comes in with the data, and deadlines (the button's
second, patience) fire at their own time on the next input that is later. The same inputs give the
same shots bit for bit, whatever ticks come between.
"""

import math
from collections.abc import Callable, Iterable, Sequence

from rig.devices.reading import AT_ONCE, AWAKE, CLOCK_SET, Reading
from rig.events import (
    Armed,
    Ask,
    Event,
    Jolted,
    Next,
    PutBack,
    SetAside,
    ShotTaken,
    Skipped,
    SurveyDone,
    Trouble,
    Undone,
)
from rig.language import say
from rig.survey.arming import Arming
from rig.survey.back_sights import RESTLESS, BackSights
from rig.survey.button import Button
from rig.survey.doubted import Begun
from rig.survey.laser.line_watch import Known
from rig.survey.patience import Patience, Want
from rig.survey.rocking import RockWindow
from rig.survey.round import Round
from rig.survey.stance import Stance
from rig.survey.stand import HeldReading, Sample, Stand
from rig.survey.stillness import GAP_S, StillWindow
from rig.words.typed import again, same_height

__all__ = ["Capture", "Stand"]
TICK_LATENESS_S = 0.05
"""A tick can overtake a reading that is still on its way from the port: it counts as this late."""


class Capture:
    """The survey of a list of stands, shot in the given order.

    Parameters
    ----------
    stands : sequence of Stand
        In the order of the walk; labels differ.
    kind : str
        Goes into every shot.
    dwell_s, walk_s : float
        How long the rod must be still, and how long it must have been away before that.
    still_mm : float
        Spread of readings that still counts as still.
    resolution_mm, foot_mm : float
        Of the rod: one digit, and how well its foot finds the floor.
    rock : bool
        The rod is waved through plumb at each stand.
    last_shot_mm, last_label : optional
        Where the walk is resumed in the same set-up: the shot it stopped at.
    done : iterable of str
        Labels that have their shot already.
    show : callable
        Writes a length for people.
    line : Known, optional
        What a benchmark read under this line before. Shots are told as that line would have read
        them; with `checks` the walk goes back to it now and then and at its end.
    checks : bool
    earlier : sequence of ShotTaken
        Shots since the line was last seen to be good, from before this session; their points are
        among the stands.
    begun : Begun, optional
        How this session finds the line.
    """

    def __init__(
        self,
        stands: Sequence[Stand],
        *,
        kind: str = "floor",
        dwell_s: float = 1.0,
        walk_s: float = 1.0,
        still_mm: float = 0.5,
        resolution_mm: float = 0.0,
        foot_mm: float = 0.0,
        rock: bool = False,
        last_shot_mm: float | None = None,
        last_label: str | None = None,
        done: Iterable[str] = (),
        show: Callable[[float], str] = "{:.1f} mm".format,
        line: Known | None = None,
        checks: bool = False,
        earlier: Sequence[ShotTaken] = (),
        begun: Begun | None = None,
    ) -> None:
        self.finished = False
        wheres = {stand.label: stand.where for stand in stands}
        self._line = BackSights(line, checks, kind, show, earlier, begun, wheres)
        self._round = Round(stands, done, begun is None or begun.undoes_skips)
        self._quitting = False
        self._kind, self._show = kind, show
        self._by_tape = begun is not None and begun.by_tape
        self._window: StillWindow | RockWindow = (
            RockWindow(still_mm, resolution_mm, foot_mm)
            if rock
            else StillWindow(dwell_s, still_mm, resolution_mm, foot_mm)
        )
        self._stance = Stance()
        self._arming = Arming(walk_s)
        if last_shot_mm is not None:
            here_mm = last_shot_mm + self._line.offset_mm
            self._arming.leave(here_mm, self._band(0.0), label=last_label or say("the last shot"))
            if begun is not None and begun.stays:
                self._arming.gave_shot = True
            else:
                self._arming.interrupt()  # nobody knows where the rod went meanwhile
        self._patience = Patience()
        self._said: set[str] = set()
        self._button = Button()
        self._at_press: HeldReading | None = None
        self._press_counts = True
        self._since_press: list[Sample] = []
        self._beam_mm: float | None = None
        self._now_s = float("-inf")
        self._out: list[Event] = []

    def start(self, time_s: float) -> list[Event]:
        """Ask for the first point, or a sight before it; armed at once in a fresh walk."""
        self._line.start(time_s)
        self._go_on(time_s)
        return self._told()

    def reading(self, reading: Reading) -> list[Event]:
        """Take one reading."""
        if self._begin(reading.time_s) and reading.status != "bad":
            if reading.status == "button":
                self._press()
            if reading.status == "no_beam":
                self._sample(self._now_s, None)
            elif reading.value_mm is not None:
                self._sample(self._now_s, reading.value_mm)
        return self._told()

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> list[Event]:
        """Take a reading made by eye: it is the shot of the point asked for."""
        if self._begin(time_s) and self._settle_presses():
            self._line.hear(self._now_s)
            self._shoot(HeldReading(value_mm, stderr_mm, 1, self._now_s))
        return self._told()

    def act(self, name: str, time_s: float, argument: str | None = None) -> list[Event]:
        """Do what is asked for: accept, undo, skip, goto LABEL, quit (AT_ONCE: ask no more)."""
        if self._begin(time_s) and self._settle_presses():
            if name == "accept":
                self._accept(self._height_told(), self._stand_is_open())
            elif name == "undo":
                self._undo()
            elif name == "skip":
                self._skip()
            elif name == "goto":
                self._go_to(argument or "")
            elif name == AWAKE:
                self._after_sleep()
            elif name == "quit":
                self._quit(argument == AT_ONCE)
            elif name != CLOCK_SET:
                self._out.append(
                    Trouble(text=say("there is no act called {name}", name=name), reason="act")
                )
        return self._told()

    def lost(self, time_s: float) -> list[Event]:
        """Hear that the device went away: its readings so far end here."""
        if self._begin(time_s):
            self._interrupt()
            self._stance.forget()
            if self._button.count:
                self._since_press.append((self._now_s, None, True))
        return self._told()

    def back(self, time_s: float) -> list[Event]:
        """Hear that the device is there again."""
        return self.lost(time_s)

    def tick(self, time_s: float) -> list[Event]:
        """Let deadlines fire; a tick carries no data and moves no clock but theirs."""
        if not self.finished:
            self._fire_deadlines(time_s - TICK_LATENESS_S)
        return self._told()

    # Time

    def _begin(self, time_s: float) -> bool:
        self._now_s = max(self._now_s, time_s)
        if not self.finished:
            self._fire_deadlines(self._now_s)
        return not self.finished

    def _told(self) -> list[Event]:
        out, self._out = self._out, []
        return out

    def _fire_deadlines(self, until_s: float) -> None:
        while not self.finished:
            pressed, patience = self._button.deadline_s, self._patience.deadline()
            given_up, broke = self._line.deadline_s, self._line.break_s
            pressed_s = math.inf if pressed is None else pressed
            patient_s = math.inf if patience is None else patience[0]
            soonest = min(pressed_s, patient_s)
            if given_up <= until_s and given_up < soonest:
                self._out.append(self._line.give_up(given_up))
                self._go_on(given_up)
            elif broke <= until_s and broke < soonest:
                self._go_back(broke, at_end=False, after_break=True)
            elif pressed is not None and pressed <= min(patient_s, until_s):
                self._settle_presses()
            elif patience is not None and patient_s <= until_s:
                if self._patience.end(patience[1], patient_s):
                    self._complain(patience[1])
            else:
                return

    # Readings

    def _sample(self, time_s: float, value_mm: float | None) -> None:
        self._line.hear_rod()
        if self._button.count:
            self._since_press.append((time_s, value_mm, False))
        was_armed = self._arming.armed
        if self._arming.see(time_s, value_mm):
            self._window.clear()  # what comes now belongs to another stand
        self._beam_mm = value_mm
        self._patience.see(time_s, value_mm is not None)
        if value_mm is not None:
            self._line.hear(time_s)
            self._window.add(time_s, value_mm)
        if self._arming.armed and not was_armed:
            self._tell_armed(time_s)
        if value_mm is None:
            self._window.clear()
            self._out += self._stance.dark(time_s, self._arming.armed)
            return
        self._out += self._stance.see(time_s, self._window, self._arming.armed)
        if not self._button.count:
            self._judge(time_s)

    def _judge(self, time_s: float) -> None:
        arming = self._arming
        rocking = isinstance(self._window, RockWindow)
        if not (arming.armed or rocking or (arming.disturbed and not arming.asked)):
            return
        if (height := self._height()) is None:
            return
        if rocking and not arming.armed and not arming.near(height.reading_mm):
            # Tilting alone never lowers the vertex: three swings elsewhere are another stand.
            arming.arm()
            self._tell_armed(time_s)
        if arming.armed:
            self._tell_still(time_s)
            self._shoot(height)
        elif arming.disturbed and not arming.asked and arming.near(height.reading_mm):
            arming.asked, label = True, self._asked_for.label
            text = same_height(arming.reference_label or say("before"), label)
            self._out.append(Ask(label=label, text=text))

    def _height(self) -> HeldReading | None:
        window = self._window
        if window.state() != "still" or self._now_s - window.last_time_s > GAP_S:
            return None
        sag_mm = window.sag_mm if isinstance(window, RockWindow) else 0.0
        return HeldReading(*window.value(), window.last_time_s, window.spread_mm, sag_mm)

    def _height_told(self) -> HeldReading | None:
        """Return what a still rod reads, which the screens then know too."""
        height = self._height()
        if height is not None:
            self._tell_still(self._now_s)
        return height

    def _tell_still(self, time_s: float) -> None:
        self._out += self._stance.see(time_s, self._window, self._arming.armed, now=True)

    def _band(self, spread_mm: float) -> float:
        return max(3.0 * spread_mm, self._window.still_mm, 2.0 * self._window.resolution_mm)

    def _interrupt(self) -> None:
        self._window.clear()
        self._arming.interrupt()
        self._patience.interrupt()
        self._beam_mm = None

    def _complain(self, want: Want) -> None:
        found = self._patience.complaint(want, self._window, self._show)
        if found is not None and found[0] not in self._said:
            reason, text = found
            self._said.add(reason)
            self._out.append(Trouble(text=text, reason=reason))

    # Acts

    def _press(self) -> None:
        if not self._button.count:
            self._at_press = self._height_told()
            self._press_counts = self._stand_is_open()
        self._button.press(self._now_s)

    def _settle_presses(self) -> bool:
        """Do what the presses so far ask for; return whether the survey goes on."""
        count = self._button.take()
        since, self._since_press = self._since_press, []
        if count == 1:
            self._accept(self._at_press, self._press_counts, since)
        elif count == 2:
            self._undo()
        elif count >= 3:
            self._skip()
        return not self.finished

    def _stand_is_open(self) -> bool:
        return self._arming.away or not self._arming.gave_shot

    def _accept(
        self, height: HeldReading | None, stand_is_open: bool, since: Sequence[Sample] = ()
    ) -> None:
        if not stand_is_open:
            return
        pending = self._line.pending
        shaken = self._beam_mm is None or self._arming.near(self._beam_mm)
        if height is None and pending is not None and shaken:
            height = pending.first  # a press shakes the rod, a hand shades it
        if height is None:
            self._out.append(Trouble(text=again(self._by_tape), reason="accept"))
            return
        self._shoot(height, sure=pending is not None and pending.first is not None)
        # What came while presses were counted is judged again, now against this shot.
        for time_s, value_mm, broken in since:
            if self.finished:
                return
            if broken:
                self._interrupt()
            else:
                self._sample(time_s, value_mm)

    def _shoot(self, height: HeldReading, sure: bool = False) -> None:
        if self._line.pending is not None:
            self._sight(height, sure)
            return
        stand = self._round.here
        shot = self._line.shot(height.as_shot(stand, self._kind))
        self._out.append(shot)
        self._round.take()
        self._go_by(self._line.put_back(shot))
        self._leave_shot(height, stand.label)
        self._go_on(height.time_s)

    def _leave_shot(self, height: HeldReading, label: str) -> None:
        self._arming.leave(
            height.reading_mm,
            self._band(height.spread_mm),
            sag_mm=1.5 * height.sag_mm,
            label=label,
            time_s=height.time_s,
        )
        if height.n > 1:
            self._window.learn(height.spread_mm)
        self._window.clear()

    # The line

    @property
    def _asked_for(self) -> Stand:
        return self._line.pending.stand if self._line.pending else self._round.here

    def _go_back(self, time_s: float, at_end: bool, after_break: bool = False) -> None:
        """Ask for a sight of the benchmark, or of an earlier point."""
        self._said = set()
        self._patience.interrupt()
        self._patience.armed_s = None
        self._out.append(self._line.ask(time_s, at_end, after_break))
        if self._arming.armed:
            self._tell_armed(time_s)

    def _after_sleep(self) -> None:
        """Ask for the benchmark first: nobody knows what became of the laser."""
        self._interrupt()
        if self._line.pending is None and self._line.can_ask:
            self._go_back(self._now_s, at_end=False, after_break=True)

    def _sight(self, height: HeldReading, sure: bool) -> None:
        """Take a sight of the benchmark, and go by what it says."""
        label = self._asked_for.label
        events = self._line.look(height, self._now_s, sure)
        if self._line.pending is not None:
            self._out += events
            self._leave_here(height.reading_mm)
            return
        self._go_by(events)
        self._leave_shot(height, label)
        if any(isinstance(event, Trouble) and event.reason == RESTLESS for event in events):
            self._end()
        elif self._kind == "benchmark" and self._round.go_on() and label == self._round.here.label:
            self._shoot(height)  # the sight is what was asked for
        else:
            self._go_on(height.time_s)

    def _go_by(self, events: Sequence[Event]) -> None:
        """Tell what a sight or a shot says of others; those set aside are asked for again."""
        self._out += events
        for event in events:
            if isinstance(event, Jolted | SetAside):
                self._round.reopen(event.labels, self._line.goes_back)
                self._quitting &= not event.labels  # there is something to shoot again first
            elif isinstance(event, PutBack):
                self._round.put_back(event.labels)
            elif isinstance(event, ShotTaken):
                self._round.take_at(event.label)

    def _quit(self, at_once: bool) -> None:
        if at_once or not self._line.can_close:
            return self._end()
        self._quitting = True
        self._leave_if_standing()
        return self._go_back(self._now_s, at_end=True)

    def _undo(self) -> None:
        if (undone := self._round.undo()) is None:
            self._out.append(Trouble(text=say("nothing more to undo"), reason="undo"))
            return
        what, label = undone
        self._quitting, self._line.pending = False, None
        if what == "shot":
            self._line.undo(label)
        self._out.append(Undone(label=label, what=None if what == "shot" else what))
        here = self._beam_mm if self._beam_mm is not None else self._arming.reference_mm
        if here is not None:
            self._leave_here(here)
        self._go(self._now_s)

    def _skip(self) -> None:
        self._leave_if_standing()
        if self._line.pending is not None:
            self._go_by(self._line.skip(self._now_s))
        elif (label := self._round.skip()) is not None:
            self._out.append(Skipped(label=label))
        self._go_on(self._now_s)

    def _go_to(self, label: str) -> None:
        if not self._round.go_to(label):
            self._out.append(
                Trouble(
                    text=say("there is no point {label} in this survey", label=label), reason="goto"
                )
            )
            return
        self._line.pending, self._quitting = None, False
        self._leave_if_standing()
        self._go(self._now_s)

    def _leave_if_standing(self) -> None:
        """Where the rod stands is not the new point, unless a press says so."""
        if self._arming.armed and self._beam_mm is not None:
            self._leave_here(self._beam_mm)

    def _leave_here(self, height_mm: float) -> None:
        sag_mm = self._window.sag_mm if isinstance(self._window, RockWindow) else 0.0
        noise_mm = self._window.limit_mm / 3.0  # the window's own spread may be that of a move
        self._arming.leave(height_mm, self._band(noise_mm), sag_mm=1.5 * sag_mm)

    def _go_on(self, time_s: float) -> None:
        """Ask for the next point along the walk that has no shot, or end."""
        if self._quitting:
            self._end()
        elif self._line.due(time_s, self._round.is_open):
            self._go_back(time_s, at_end=not self._round.is_open)
        elif self._round.go_on():
            self._go(time_s)
        else:
            self._end()

    def _end(self) -> None:
        self.finished = True
        self._out.append(SurveyDone(shots=self._round.shots, skipped=self._round.skipped))

    def _go(self, time_s: float) -> None:
        self._said = set()
        self._patience.interrupt()
        self._patience.armed_s = None
        stand = self._round.here
        self._out.append(Next(label=stand.label, x_mm=stand.x_mm, y_mm=stand.y_mm, text=stand.text))
        if self._arming.armed:
            self._tell_armed(time_s)

    def _tell_armed(self, time_s: float) -> None:
        self._patience.armed_s = time_s
        self._line.wait_from(time_s)
        stand = self._asked_for
        self._out.append(
            Armed(label=stand.label, x_mm=stand.x_mm, y_mm=stand.y_mm, text=stand.text)
        )
