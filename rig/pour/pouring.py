"""The live log of a pour: batches and fronts go in, what it means comes out.

A state machine without I/O or clock, as the survey's and the setting's: acts come with their own
times. What happened before (an earlier session, until the power went) comes in as acts with times
before 0, so that the ages of the edges are the true ones.
"""

import math
from collections.abc import Sequence

from rig.devices.reading import AWAKE, CLOCK_SET, Reading
from rig.errors import BadInput
from rig.events import (
    AskPour,
    Dry,
    Edge,
    Estimate,
    Event,
    FrontAt,
    NextBatch,
    PourDone,
    Poured,
    Prepour,
    Resumed,
    Ticked,
    Trouble,
    Undone,
)
from rig.language import put
from rig.pour.edges import EdgeWatch
from rig.pour.estimate import Need, yield_known
from rig.pour.live_plan import LivePlan, Strip
from rig.pour.log import Batch, FrontTold, Log, Tick
from rig.pour.prepour import Step, step_called, unticked
from rig.words import pour as clock_words
from rig.words import pour_log as words
from rig.words import say

TWICE_S = 5.0
"""Two batches nearer than this are one that was logged twice, unless said otherwise."""
FAR_OFF, FAR_TOO_MUCH = 3.0, 4.0
"""Standard deviations of a front from what the bags should cover, and of the bags over what the
whole floor should take, that are taken for a slip of the pen."""
LOOKS_BACK_S = 600.0
"""After a longer gap edges are judged as they are now, not as they were second by second."""
IMPOSSIBLE = 6.0
"""Times what the bags should cover that no batches can have covered, whatever the floor takes
(common practice, no source)."""


class Pouring:
    """The machine; `rig.session.run.Machine` says how it is fed.

    Parameters
    ----------
    plan : LivePlan
    history : sequence of (time_s, act, argument)
        What earlier sessions of this pour logged, by this session's clock.
    ticked : sequence of str
        Steps of the list that were ticked before.
    notes : sequence of str
        What must be said about the clock.
    by_day : int
        How many of the first acts of the history only the time of day tells the age of.
    """

    def __init__(
        self,
        plan: LivePlan,
        history: Sequence[tuple[float, str, str | None]] = (),
        ticked: Sequence[str] = (),
        notes: Sequence[str] = (),
        by_day: int = 0,
    ) -> None:
        if not plan.batches:
            raise BadInput(say("The plan of the pour has no batches: make one with rig pour plan."))
        self.finished = False
        self._plan = plan
        self._history = list(history)
        self._ticked = list(ticked)
        self._notes = list(notes)
        self._by_day = by_day
        self._acts: list[tuple[float, str, str | None]] = []
        self._log = Log(plan)
        self._edges = EdgeWatch(plan, self._log)
        self._pending: Batch | FrontTold | None = None
        self._now_s = -math.inf

    # --- what goes in -----------------------------------------------------------------------

    def start(self, time_s: float) -> list[Event]:
        """Say what is left of the list, what was poured before, and what comes next."""
        self._go_through(self._history)
        self._now_s = time_s
        events: list[Event] = [Trouble(text=note, reason="clock") for note in self._notes]
        left = self.unticked
        if left:
            text = words.still_to_tick([(step.key, step.text, step.why) for step in left])
            events.append(Prepour(left=tuple(step.key for step in left), text=text))
        poured = self._log.poured
        if poured:
            since = time_s - poured[-1].time_s
            events.append(
                Resumed(
                    batches=len(poured),
                    strip=self.front,
                    since_s=since,
                    text=words.resumed(len(poured), since),
                )
            )
        return [*events, *self._wet(), *self._next()]

    def act(self, name: str, time_s: float, argument: str | None = None) -> list[Event]:
        """Take an act: batch, front LABEL or number, undo, stop, tick STEP, accept."""
        if name == AWAKE:
            return self.tick(time_s)
        before_s, self._now_s = self._now_s, max(self._now_s, time_s)
        if self.finished:
            return []
        if name == CLOCK_SET:
            return self._clock_set(float(argument or 0.0))
        self._acts.append((time_s, name, argument))
        # What was due before the act is told, be there a tick between or none.
        due = [*self._due(before_s, self._now_s), *self._edges.warnings(self._now_s)]
        return [*due, *self._act(name, argument)]

    def _go_through(self, acts: Sequence[tuple[float, str, str | None]]) -> None:
        """Take acts of the past, of which nothing is told again."""
        for at_s, name, argument in acts:
            if name not in (AWAKE, CLOCK_SET):
                self.act(name, at_s, argument)
        self._acts.clear()
        self._edges.forget()

    def _clock_set(self, by_s: float) -> list[Event]:
        """Where only the time of day told how old the first acts are, it tells it better now."""
        if by_s <= 0.0 or not self._by_day:
            return [Trouble(text=clock_words.clock_was_set(by_s), reason="clock")]
        self._history[: self._by_day] = [
            (at_s - by_s, name, argument) for at_s, name, argument in self._history[: self._by_day]
        ]
        live, now_s = list(self._acts), self._now_s
        self._log = Log(self._plan)
        self._edges = EdgeWatch(self._plan, self._log)
        self._pending, self._now_s = None, -math.inf
        self._go_through([*self._history, *live])
        self._acts, self._now_s = live, now_s
        return [Trouble(text=clock_words.clock_learnt(by_s), reason="clock"), *self._wet()]

    def _act(self, name: str, argument: str | None) -> list[Event]:
        pending, self._pending = self._pending, None
        match name:
            case "batch":
                return self._batch(Batch(self._now_s))
            case "front":
                return self._front((argument or "").strip().upper())
            case "undo":
                return self._undo()
            case "stop":
                return self._stop()
            case "tick":
                return self._tick(argument or "")
            case "accept" if isinstance(pending, FrontTold):
                self._log.forget_fronts_past(pending.strip.number)
                return self._front_at(pending, anew=True)
            case "accept" if isinstance(pending, Batch):
                return self._count(pending)
        return []

    def reading(self, reading: Reading) -> list[Event]:
        """Take a message of a counter or button: each press is a batch."""
        if reading.status == "button":
            return self.act("batch", reading.time_s)
        return []

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> list[Event]:
        """Heights mean nothing here."""
        return []

    def lost(self, time_s: float) -> list[Event]:
        """A lost counter changes nothing: the keys go on."""
        return []

    def back(self, time_s: float) -> list[Event]:
        """Nor does its coming back."""
        return []

    def tick(self, time_s: float) -> list[Event]:
        """Let the edges age."""
        if self.finished or time_s < self._now_s:
            return []
        before_s, self._now_s = self._now_s, time_s
        return [*self._due(before_s, time_s), *self._edges.due(time_s)]

    def _due(self, before_s: float, now_s: float) -> list[Edge]:
        """Warn at each whole second that went by, so that no spacing of ticks changes a warning."""
        if not now_s - before_s <= LOOKS_BACK_S:
            return self._edges.warnings(now_s)
        seconds = range(math.floor(before_s) + 1, math.floor(now_s) + 1)
        return [edge for second in seconds for edge in self._edges.warnings(float(second))]

    # --- what is known ----------------------------------------------------------------------

    @property
    def unticked(self) -> list[Step]:
        """Steps of the list that nobody has ticked."""
        return unticked([*self._ticked, *self._log.ticked])

    @property
    def bags_used(self) -> float:
        """By the count of batches."""
        return self._log.bags_used

    @property
    def front(self) -> int:
        """The last strip that was told as covered, 0 before."""
        return self._log.front

    @property
    def need(self) -> Need:
        """What the whole floor takes, by the fronts told so far."""
        return self._log.need

    @property
    def interval_s(self) -> float | None:
        """Mean time from batch to batch, pauses left out, where there were any two."""
        return self._log.interval_s

    # --- acts -------------------------------------------------------------------------------

    def _batch(self, batch: Batch) -> list[Event]:
        poured = self._log.poured
        if poured and batch.time_s - poured[-1].time_s < TWICE_S:
            self._pending = batch
            return [AskPour(text=words.two_batches(batch.time_s - poured[-1].time_s))]
        return self._count(batch)

    def _count(self, batch: Batch) -> list[Event]:
        log, plan = self._log, self._plan
        log.add(batch)
        n = len(log.poured)
        planned = plan.batches[min(n, len(plan.batches)) - 1]
        used, need = log.bags_used, log.need
        left = plan.bags - used
        should = plan.strip_at(used / need.bags)
        events: list[Event] = [
            Poured(
                n=n,
                strip=planned.strip,
                bags=planned.bags,
                bags_used=used,
                bags_left=left,
                front_should=should,
                time_s=batch.time_s,
                text=words.poured(n, left, should, len(plan.strips)),
            )
        ]
        if n == 1 and self.unticked:
            text = words.pouring_unticked([step.key for step in self.unticked])
            events.append(Trouble(text=text, reason="unticked"))
        if left < 0 <= left + planned.bags:
            events.append(Trouble(text=words.BAGS_USED_UP, reason="bags"))
        most = need.bags + FAR_TOO_MUCH * need.sd_bags
        if used > most >= used - planned.bags and log.front < len(plan.strips):
            events.append(Trouble(text=words.too_much(used), reason=say("too much")))
        return [*events, *self._wet(), *self._next()]

    def _front(self, told: str) -> list[Event]:
        log, plan = self._log, self._plan
        strip, before = plan.strip_told(told), log.front
        if strip is None:
            text = words.no_such_front(told, len(plan.strips), sorted(plan.strip_of))
            return [Trouble(text=text, reason="front")]
        if not log.poured:
            return [Trouble(text=words.NO_BATCH_YET, reason="front")]
        front = FrontTold(told, strip)
        if strip.number < before:
            passed_over = [label for label in log.dry if label in strip.markers]
            by_number = told.isdecimal()
            if by_number or told not in (label.upper() for label in passed_over):
                self._pending = front
                marker = None if by_number else told
                return [AskPour(text=words.front_back(marker, strip.number, before, passed_over))]
        if strip.number > before and self._is_impossible(front):
            self._pending = front
            should, used = plan.strip_at(log.bags_used / log.need.bags), log.bags_used
            return [AskPour(text=words.front_impossible(strip.number, should, used))]
        return self._front_at(front)

    def _front_at(self, front: FrontTold, anew: bool = False) -> list[Event]:
        """Log a front, or a marker behind it that was passed over."""
        log, strips = self._log, self._plan.strips
        strip, before = front.strip, log.front
        log.add(front)
        whole_row = front.told.isdecimal() or strip.number > before
        marks = strip.markers if whole_row else (front.told,)
        now = strips[log.front - 1]
        events: list[Event] = [
            FrontAt(
                strip=now.number,
                share=now.share_end,
                markers=marks,
                time_s=self._now_s,
                text=words.front_at(now.number, len(strips), marks),
            )
        ]
        if strip.number > before or anew:
            slips, ahead = self._unlikely(front)
            events += slips
            covered = strip.number == len(strips)  # whatever it took
            events.append(self._doubted() if ahead and not covered else self._estimate())
        dry = log.dry
        if dry:
            events.append(Dry(markers=dry, text=words.dry(dry)))
        if strip.number == len(strips) and before < strip.number:
            events.append(Trouble(text=words.COVERED, reason="end"))
        return [*events, *self._wet()]

    def _undo(self) -> list[Event]:
        entry = self._log.take_back()
        match entry:
            case None:
                return [Trouble(text=words.NOTHING_TO_UNDO, reason="undo")]
            case Batch():
                poured = len(self._log.poured)
                label = say("batch {poured}", poured=poured + 1)
                self._edges.forget(poured)
            case FrontTold():
                label = say("front {told}", told=entry.told)
            case Tick():
                label = say("tick {step}", step=entry.step)
        return [Undone(label=label), *self._edges.ages(self._now_s), *self._next()]

    def _tick(self, word: str) -> list[Event]:
        try:
            step = step_called(word)
        except BadInput as error:
            return [Trouble(text=error.text, reason="tick")]
        self._log.add(Tick(step.key))
        return [Ticked(step=step.key, text=words.ticked(step.key, len(self.unticked)))]

    def _stop(self) -> list[Event]:
        log, plan = self._log, self._plan
        self.finished = True
        used, need = log.bags_used, log.need
        text = words.stopped(len(log.poured), used, log.share)
        if log.fronts:
            made = words.a_bag_made(*_known(need), plan.units)
            text = put("{stopped} {made}.", stopped=text, made=made)
        done = PourDone(
            batches=len(log.poured),
            bags_used=used,
            bags_left=plan.bags - used,
            share=log.share,
            yield_l=need.yield_l,
            yield_stderr_l=need.yield_sd_l,
            interval_s=log.interval_s,
            left=tuple(
                say("strip {number}", number=s.number) for s in plan.strips if s.number > log.front
            ),
            unticked=tuple(step.key for step in self.unticked),
            text=text,
        )
        return [*self._ended_early(), done]

    def _ended_early(self) -> list[Event]:
        """Say what a stop leaves unpoured; one before the first batch leaves no edge behind."""
        poured, planned = len(self._log.poured), self._plan.batches
        front, last = self._log.front, len(self._plan.strips)
        if not 0 < poured < len(planned) or front == last:
            return []
        bags = math.fsum(batch.bags for batch in planned[poured:])
        text = words.ended_early(len(planned) - poured, len(planned), bags, front + 1, last)
        return [Trouble(text=text, reason="end")]

    # --- what a front means -----------------------------------------------------------------

    def _is_impossible(self, front: FrontTold) -> bool:
        """Whether a front that is not logged yet lies beyond all that the bags can have covered."""
        share, expected, doubt = self._share(front, self._log.need)
        return share > IMPOSSIBLE * expected and share - expected > FAR_OFF * doubt

    def _share(self, front: FrontTold, need: Need) -> tuple[float, float, float]:
        """Share of the volume behind a front, what the bags should cover, and the doubt of both."""
        expected = self._log.bags_used / need.bags
        # Where in its strip a front stands is half of it either way.
        doubt = math.hypot(expected * need.sd_bags / need.bags, front.strip.share / 2.0)
        share, _ = self._plan.front_share(front.told, front.strip)
        return share, expected, doubt

    def _unlikely(self, front: FrontTold) -> tuple[list[Event], bool]:
        """Say that a front, the last entry, does not fit the count; and whether it is ahead."""
        need, used = self._log.need_without_last, self._log.bags_used
        share, expected, doubt = self._share(front, need)
        if abs(share - expected) <= FAR_OFF * doubt:
            return [], False
        ahead = share > expected
        missed = max(1, round(share * need.bags - used))
        should = self._plan.strip_at(expected)
        text = words.unlikely_front(front.strip.number, ahead, used, should, missed)
        return [Trouble(text=text, reason="front")], ahead

    def _doubted(self) -> Estimate:
        """What is known where so few bags cannot have come so far: what was known before."""
        need, bags = self._log.need_without_last, self._plan.bags
        return self._told(
            need,
            chance=need.chance_enough(bags),
            short=_short(need, bags),
            stop=None,
            text=words.cannot_have_come(self._log.bags_used),
        )

    def _estimate(self) -> Estimate:
        log, plan = self._log, self._plan
        need, bags = log.need, plan.bags
        if log.front == len(plan.strips):
            took = words.floor_took(words.a_bag_made(*_known(need), plan.units), log.bags_used)
            return self._told(need, chance=1.0, short=0, stop=None, text=took)
        enough, short = need.chance_enough(bags), _short(need, bags)
        stop = _stop_at(plan.strips, need, bags)
        ahead = stop if stop is not None and stop > log.front else None
        if short:
            reach = words.bags_short(short, ahead)
        elif enough < 0.95:
            more = max(1, math.ceil(need.p95 - bags))
            reach = words.bags_may_not_reach(1 - enough, more, ahead)
        else:
            stop, reach = None, words.bags_reach(max(0.0, bags - need.bags))
        makes = words.a_bag_makes(*_known(need), plan.units)
        takes = words.floor_takes(makes, need.bags, need.p95)
        text = put("{takes} {reach}", takes=takes, reach=reach)
        return self._told(need, chance=enough, short=short, stop=stop, text=text)

    def _told(
        self, need: Need, *, chance: float, short: int, stop: int | None, text: str
    ) -> Estimate:
        return Estimate(
            yield_l=need.yield_l,
            yield_stderr_l=need.yield_sd_l,
            need_bags=need.bags,
            need_p95_bags=need.p95,
            bags_left=self._plan.bags - self._log.bags_used,
            chance_enough=chance,
            short_bags=short,
            stop_at_strip=stop,
            text=text,
        )

    # --- what comes next --------------------------------------------------------------------

    def _wet(self) -> list[Event]:
        return [*self._edges.ages(self._now_s), *self._edges.warnings(self._now_s)]

    def _next(self) -> list[Event]:
        n, batches = len(self._log.poured), self._plan.batches
        if n >= len(batches):
            return [Trouble(text=words.ALL_POURED, reason="planned")]
        one = batches[n]
        return [
            NextBatch(
                n=one.n,
                strip=one.strip,
                x_mm=one.x_mm,
                y_mm=one.y_mm,
                text=words.next_batch(one.n, len(batches), one.strip, one.where),
            )
        ]


def _known(need: Need) -> tuple[float | None, float]:
    """What a bag makes, None where that is not known, and twice its standard deviation."""
    known = yield_known(need.yield_l, need.yield_sd_l)
    return need.yield_l if known else None, 2.0 * need.yield_sd_l


def _short(need: Need, bags: float) -> int:
    return max(0, math.ceil(need.bags - bags - 1e-6))


def _stop_at(strips: Sequence[Strip], need: Need, bags: float) -> int | None:
    """Return the last strip that the bags reach, 95 times in 100."""
    reached = [strip.number for strip in strips if strip.share_end * need.p95 <= bags]
    return reached[-1] if reached else None
