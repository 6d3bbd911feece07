"""The live log of a pour: batches and fronts go in, what it means comes out.

A state machine without I/O or clock, as the survey's and the setting's: acts come with their own
times. What happened before (an earlier session, until the power went) comes in as acts with times
before 0, so that the ages of the edges are the true ones.
"""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from rig.devices.reading import Reading
from rig.errors import BadInput
from rig.events import (
    AskPour,
    Dry,
    Edge,
    Edges,
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
from rig.pour.clock_text import minutes
from rig.pour.estimate import Front, Need, Prior, estimate, yield_known
from rig.pour.prepour import Step, step_called, unticked
from rig.units import counted, format_volume

TWICE_S = 5.0
"""Two batches nearer than this are one that was logged twice, unless said otherwise."""
SOON = 0.25
"""Part of the working time that is left when an edge is warned of."""
EDGES_EVERY_S = 30.0
FAR_OFF, FAR_TOO_MUCH = 3.0, 4.0
"""Standard deviations of a front from what the bags should cover, and of the bags over what the
whole floor should take, that are taken for a slip of the pen."""


@dataclass(frozen=True)
class PlannedBatch:
    """A batch of the plan; `where` is for people."""

    n: int
    strip: int
    bags: float
    x_mm: float
    y_mm: float
    where: str


@dataclass(frozen=True)
class Strip:
    """A strip of the plan: share of the volume behind its far edge, and of itself; its markers."""

    number: int
    share_end: float
    share: float
    markers: tuple[str, ...]


@dataclass(frozen=True)
class LivePlan:
    """What the live log goes by.

    Attributes
    ----------
    batches, strips : tuple
    seams : tuple of (int, int)
        Batches, from 0, that meet while wet.
    working_s : float
    lead_s : float
        From water on the powder until a batch is poured: so old it is when it is logged.
    interval_s : float
        Planned, from batch to batch.
    bags : float
        On site.
    prior : Prior
    units : str
        Of the job, for what is said.
    """

    batches: tuple[PlannedBatch, ...]
    strips: tuple[Strip, ...]
    seams: tuple[tuple[int, int], ...]
    working_s: float
    lead_s: float
    interval_s: float
    bags: float
    prior: Prior
    units: str = "in"


@dataclass(frozen=True)
class Entry:
    """One line of the log: a batch, a front or a tick."""

    kind: str
    time_s: float
    argument: str = ""


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
    """

    def __init__(
        self,
        plan: LivePlan,
        history: Sequence[tuple[float, str, str | None]] = (),
        ticked: Sequence[str] = (),
        notes: Sequence[str] = (),
    ) -> None:
        if not plan.batches:
            raise BadInput("The plan of the pour has no batches: make one with rig pour plan.")
        self.finished = False
        self._plan = plan
        self._history = list(history)
        self._ticked = list(ticked)
        self._notes = list(notes)
        self._entries: list[Entry] = []
        self._pending: Entry | None = None
        self._told: set[tuple[int, str]] = set()
        self._now_s = -math.inf
        self._edges_told_s = -math.inf
        self._strip_of = {label.upper(): strip for strip in plan.strips for label in strip.markers}

    # --- what goes in -----------------------------------------------------------------------

    def start(self, time_s: float) -> list[Event]:
        """Say what is left of the list, what was poured before, and what comes next."""
        for at_s, name, argument in self._history:
            self.act(name, at_s, argument)
        self._now_s = time_s
        self._told.clear()
        events: list[Event] = [Trouble(text=note, reason="clock") for note in self._notes]
        left = self.unticked
        if left:
            events.append(_list_event(left))
        if self._poured:
            since = time_s - self._poured[-1].time_s
            events.append(
                Resumed(
                    batches=len(self._poured),
                    strip=self.front,
                    since_s=since,
                    text=f"Going on after "
                    f"{counted(len(self._poured), 'batch', 'batches')}, the last "
                    f"{minutes(since)} ago.",
                )
            )
        return [*events, *self._edges(), *self._warnings(), *self._next()]

    def act(self, name: str, time_s: float, argument: str | None = None) -> list[Event]:
        """Take an act: batch, front LABEL or number, undo, stop, tick STEP, accept."""
        self._now_s = max(self._now_s, time_s)
        if self.finished:
            return []
        # What was due before the act is told, be there a tick between or none.
        return [*self._warnings(), *self._act(name, argument)]

    def _act(self, name: str, argument: str | None) -> list[Event]:
        pending, self._pending = self._pending, None
        match name:
            case "batch":
                return self._batch(Entry("batch", self._now_s))
            case "front":
                return self._front((argument or "").strip().upper())
            case "undo":
                return self._undo()
            case "stop":
                return self._stop()
            case "tick":
                return self._tick(argument or "")
            case "accept" if pending is not None and pending.kind == "front":
                return self._front_back(pending)
            case "accept" if pending is not None:
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
        self._now_s = time_s
        events = self._warnings()
        if self._poured and time_s - self._edges_told_s >= EDGES_EVERY_S:
            events += self._edges()
        return events

    # --- what is known ----------------------------------------------------------------------

    @property
    def unticked(self) -> list[Step]:
        """Steps of the list that nobody has ticked."""
        here = [entry.argument for entry in self._entries if entry.kind == "tick"]
        return unticked([*self._ticked, *here])

    @property
    def bags_used(self) -> float:
        """By the count of batches."""
        return math.fsum(self._bags_of(n) for n in range(len(self._poured)))

    @property
    def front(self) -> int:
        """The last strip that was told as covered, 0 before."""
        return max((self._strip_told(entry).number for entry in self._fronts), default=0)

    @property
    def need(self) -> Need:
        """What the whole floor takes, by the fronts told so far."""
        used, fronts = 0.0, []
        batches = 0
        furthest = 0
        for entry in self._entries:
            if entry.kind == "batch":
                used += self._bags_of(batches)
                batches += 1
            elif entry.kind == "front":
                strip = self._strip_told(entry)
                if strip.number > furthest:
                    furthest = strip.number
                    fronts.append(Front(used, *self._front_told(entry)))
        return estimate(self._plan.prior, fronts)

    @property
    def _poured(self) -> list[Entry]:
        return [entry for entry in self._entries if entry.kind == "batch"]

    @property
    def _fronts(self) -> list[Entry]:
        return [entry for entry in self._entries if entry.kind == "front"]

    @property
    def interval_s(self) -> float | None:
        """Middling time from batch to batch, where there were any two."""
        gaps = [b.time_s - a.time_s for a, b in pairwise(self._poured)]
        return statistics.median(gaps) if gaps else None

    def _pace_s(self) -> float:
        """Time from batch to batch of late; a batch that keeps us waiting counts already."""
        poured = self._poured
        gaps = [b.time_s - a.time_s for a, b in pairwise(poured[-4:])]
        usual = statistics.median(gaps) if gaps else self._plan.interval_s
        return max(usual, self._now_s - poured[-1].time_s) if poured else usual

    def _bags_of(self, n: int) -> float:
        return self._plan.batches[min(n, len(self._plan.batches) - 1)].bags

    def _strip_told(self, entry: Entry) -> Strip:
        if entry.argument.isdecimal():
            return self._plan.strips[int(entry.argument) - 1]
        return self._strip_of[entry.argument]

    def _front_told(self, entry: Entry) -> tuple[float, float]:
        """Share behind a front that was told, and half the width of its error.

        The last row covered was named, mostly by the batch that covered it: the front stands half
        a batch past the row, give or take half a strip. A marker stands somewhere within its strip.
        """
        strips = self._plan.strips
        strip = self._strip_told(entry)
        half = strip.share / 2.0
        if not entry.argument.isdecimal():
            return strip.share_end - half, half
        if strip.number == len(strips):
            return 1.0, half
        batch = self._plan.batches[0].bags / self._plan.prior.need
        half = strips[strip.number].share / 2.0
        return strip.share_end + min(half, batch / 2.0), half

    def _open_edges(self) -> dict[int, tuple[float, int]]:
        """Age of the edge of each poured batch with neighbours to come, and the last of them."""
        poured = self._poured
        done = min(len(poured), len(self._plan.batches))
        ages: dict[int, tuple[float, int]] = {}
        for earlier, later in self._plan.seams:
            if earlier < done <= later:
                age = self._now_s - poured[earlier].time_s + self._plan.lead_s
                ages[earlier] = (age, max(later, ages.get(earlier, (0.0, 0))[1]))
        return ages

    # --- acts -------------------------------------------------------------------------------

    def _batch(self, entry: Entry) -> list[Event]:
        poured = self._poured
        if poured and entry.time_s - poured[-1].time_s < TWICE_S:
            self._pending = entry
            return [
                AskPour(
                    text=f"Two batches within "
                    f"{minutes(max(1.0, entry.time_s - poured[-1].time_s))}: "
                    "the second is not counted. If there were two, say y."
                )
            ]
        return self._count(entry)

    def _count(self, entry: Entry) -> list[Event]:
        first = not self._poured
        self._entries.append(entry)
        n = len(self._poured)
        batch = self._plan.batches[min(n, len(self._plan.batches)) - 1]
        used, need = self.bags_used, self.need
        left = self._plan.bags - used
        stock = f"{counted(left, 'bag')} left" if left >= 0 else "no bags left by the count"
        should = self._strip_at(used / need.bags)
        events: list[Event] = [
            Poured(
                n=n,
                strip=batch.strip,
                bags=batch.bags,
                bags_used=used,
                bags_left=left,
                front_should=should,
                time_s=entry.time_s,
                text=f"Batch {n} poured; {stock}. The front should be in strip {should} of "
                f"{len(self._plan.strips)}.",
            )
        ]
        if first and self.unticked:
            missing = ", ".join(step.key for step in self.unticked)
            events.append(
                Trouble(text=f"Pouring with steps unticked: {missing}.", reason="unticked")
            )
        if left < 0 <= left + batch.bags:
            events.append(
                Trouble(
                    text="By the count the bags on site are used up: is the count right?",
                    reason="bags",
                )
            )
        most = need.bags + FAR_TOO_MUCH * need.sd_bags
        if used > most >= used - batch.bags and self.front < len(self._plan.strips):
            events.append(
                Trouble(
                    text=f"{used:g} bags are more than the whole floor should take: look "
                    "for a place "
                    "where it runs away, or a batch logged too often (undo).",
                    reason="too much",
                )
            )
        return [*events, *self._edges(), *self._warnings(), *self._next()]

    def _front(self, told: str) -> list[Event]:
        strips = self._plan.strips
        by_number = told.isdecimal() and 1 <= int(told) <= len(strips)
        if not by_number and told not in self._strip_of:
            names = f"strips 1 to {len(strips)}"
            if self._strip_of:
                names += f" and the markers {', '.join(sorted(self._strip_of))}"
            return [
                Trouble(
                    text=f"There is no front {told or '(nothing)'}: there are {names}.",
                    reason="front",
                )
            ]
        if not self._poured:
            return [Trouble(text="No batch is poured yet: log the batch first.", reason="front")]
        entry = Entry("front", self._now_s, told)
        strip, before = self._strip_told(entry), self.front
        if strip.number < before:
            passed_over = [label for label in self._dry() if label in strip.markers]
            if by_number or told not in (label.upper() for label in passed_over):
                self._pending = entry
                name = f"Strip {strip.number}" if by_number else f"{told} in strip {strip.number}"
                text = (
                    f"{name} lies behind the front, which was told at strip {before}: nothing is "
                    f"changed. If the front is at strip {strip.number} and strip {before} was a "
                    "slip, say y."
                )
                if passed_over:
                    text += f" If {', '.join(passed_over)} got covered, say front with each."
                return [AskPour(text=text)]
        return self._front_at(entry)

    def _front_back(self, entry: Entry) -> list[Event]:
        """Take back the fronts told ahead of one that was said to be the true one."""
        number = self._strip_told(entry).number
        self._entries = [
            one
            for one in self._entries
            if one.kind != "front" or self._strip_told(one).number <= number
        ]
        return self._front_at(entry, anew=True)

    def _front_at(self, entry: Entry, anew: bool = False) -> list[Event]:
        """Log a front, or a marker behind it that was passed over."""
        strips = self._plan.strips
        strip, before = self._strip_told(entry), self.front
        self._entries.append(entry)
        by_number = entry.argument.isdecimal()
        marks = strip.markers if by_number or strip.number > before else (entry.argument,)
        named = f"; {', '.join(marks)} covered." if marks else "."
        told_text = f"Front at strip {self.front} of {len(strips)}{named}"
        front = strips[self.front - 1]
        events: list[Event] = [
            FrontAt(
                strip=front.number,
                share=front.share_end,
                markers=marks,
                time_s=self._now_s,
                text=told_text,
            )
        ]
        if strip.number > before or anew:
            slips, ahead = self._unlikely(entry)
            events += slips
            covered = strip.number == len(strips)  # whatever it took
            events.append(self._doubted() if ahead and not covered else self._estimate())
        dry = self._dry()
        if dry:
            events.append(
                Dry(
                    markers=dry,
                    text=f"Behind the front and not ticked: {', '.join(dry)}. Look whether "
                    "compound "
                    "covers them, and say front with each that it does.",
                )
            )
        if strip.number == len(strips) and before < strip.number:
            events.append(
                Trouble(text="The whole floor is covered: say stop to end the pour.", reason="end")
            )
        return [*events, *self._edges(), *self._warnings()]

    def _need_without_last(self) -> Need:
        entry = self._entries.pop()
        need = self.need
        self._entries.append(entry)
        return need

    def _unlikely(self, entry: Entry) -> tuple[list[Event], bool]:
        """Say that a front, the last entry, does not fit the count; and whether it is ahead."""
        need = self._need_without_last()
        expected = self.bags_used / need.bags
        strip = self._strip_told(entry)
        # Where in its strip a front stands is half of it either way.
        doubt = math.hypot(expected * need.sd_bags / need.bags, strip.share / 2.0)
        share, _ = self._front_told(entry)
        if abs(share - expected) <= FAR_OFF * doubt:
            return [], False
        ahead = share > expected
        way = "ahead of" if ahead else "behind"
        text = (
            f"Strip {strip.number} is far {way} what {counted(self.bags_used, 'bag')} should "
            f"cover (strip {self._strip_at(expected)}): undo if it was a slip, else check the "
            "count."
        )
        if ahead:
            missed = max(1, round(share * need.bags - self.bags_used))
            text += f" Were about {counted(missed, 'bag')} poured and not logged?"
        return [Trouble(text=text, reason="front")], ahead

    def _doubted(self) -> Estimate:
        """What is known where so few bags cannot have come so far: what was known before."""
        need, bags = self._need_without_last(), self._plan.bags
        said = (
            f"{counted(self.bags_used, 'bag')} cannot have come so far, so this front tells "
            "nothing of what the floor takes. Undo it, log the batches that were missed, then say "
            "front again. Until then send no bags away."
        )
        return Estimate(
            yield_l=need.yield_l,
            yield_stderr_l=need.yield_sd_l,
            need_bags=need.bags,
            need_p95_bags=need.p95,
            bags_left=bags - self.bags_used,
            chance_enough=need.chance_enough(bags),
            short_bags=max(0, math.ceil(need.bags - bags - 1e-6)),
            stop_at_strip=None,
            text=said,
        )

    def _dry(self) -> tuple[str, ...]:
        """Markers behind the front whose row was passed over and not named since."""
        covered: set[str] = set()
        furthest = 0
        for entry in self._fronts:
            strip = self._strip_told(entry)
            if entry.argument.isdecimal() or strip.number > furthest:
                covered.update(strip.markers)
            else:
                covered.update(m for m in strip.markers if m.upper() == entry.argument)
            furthest = max(furthest, strip.number)
        return tuple(
            label
            for strip in self._plan.strips[:furthest]
            for label in strip.markers
            if label not in covered
        )

    def _estimate(self) -> Estimate:
        need, bags = self.need, self._plan.bags
        left = bags - self.bags_used
        if self.front == len(self._plan.strips):
            took = f"{self._bag('made')}; the floor took {counted(self.bags_used, 'bag')}."
            return Estimate(
                yield_l=need.yield_l,
                yield_stderr_l=need.yield_sd_l,
                need_bags=need.bags,
                need_p95_bags=need.p95,
                bags_left=left,
                chance_enough=1.0,
                short_bags=0,
                stop_at_strip=None,
                text=took,
            )
        enough = need.chance_enough(bags)
        short = max(0, math.ceil(need.bags - bags - 1e-6))
        reached = [s.number for s in self._plan.strips if s.share_end * need.p95 <= bags]
        stop = reached[-1] if reached else None
        at = f"stop at strip {stop}" if stop and stop > self.front else "stop now"
        said = f"{self._bag('makes')}; the floor takes {need.bags:.1f} bags "
        said += f"(95 %: up to {need.p95:.1f}). "
        if short:
            said += (
                f"At this rate you are {counted(short, 'bag')} short: {at} or send for more now."
            )
        elif enough < 0.95:
            more = max(1, math.ceil(need.p95 - bags))
            said += (
                f"The bags may not reach ({1 - enough:.0%}): have {more} more at hand, or be ready "
                f"to {at}."
            )
        else:
            said += f"The bags reach; about {max(0.0, bags - need.bags):.0f} stay over."
        stays = stop if short or enough < 0.95 else None
        return Estimate(
            yield_l=need.yield_l,
            yield_stderr_l=need.yield_sd_l,
            need_bags=need.bags,
            need_p95_bags=need.p95,
            bags_left=left,
            chance_enough=enough,
            short_bags=short,
            stop_at_strip=stays,
            text=said,
        )

    def _bag(self, makes: str) -> str:
        """Say what a bag makes or made and how well that is known, or that it is not."""
        need, units = self.need, self._plan.units
        if not yield_known(need.yield_l, need.yield_sd_l):
            return f"What a bag {makes} is not known{' yet' if makes == 'makes' else ''}"
        doubt = format_volume(2.0 * need.yield_sd_l, units)
        return f"A bag {makes} {format_volume(need.yield_l, units)} (± {doubt})"

    def _undo(self) -> list[Event]:
        if not self._entries:
            return [
                Trouble(text="There is nothing to undo: the log is at its start.", reason="undo")
            ]
        entry = self._entries.pop()
        if entry.kind == "batch":
            label = f"batch {len(self._poured) + 1}"
            self._told = {told for told in self._told if told[0] < len(self._poured)}
        else:
            label = f"{entry.kind} {entry.argument}"
        return [Undone(label=label), *self._edges(), *self._next()]

    def _tick(self, word: str) -> list[Event]:
        try:
            step = step_called(word)
        except BadInput as error:
            return [Trouble(text=str(error), reason="tick")]
        self._entries.append(Entry("tick", self._now_s, step.key))
        left = self.unticked
        rest = f"{counted(len(left), 'step')} left." if left else "The list is done."
        return [Ticked(step=step.key, text=f"{step.key} ticked. {rest}")]

    def _stop(self) -> list[Event]:
        self.finished = True
        used, need = self.bags_used, self.need
        strips = [f"strip {s.number}" for s in self._plan.strips if s.number > self.front]
        share = self._plan.strips[self.front - 1].share_end if self.front else 0.0
        text = (
            f"Stopped after {counted(len(self._poured), 'batch', 'batches')}, "
            f"{counted(used, 'bag')}; {share:.0%} told covered."
        )
        if self._fronts:
            text += f" {self._bag('made')}."
        return [
            *self._ended_early(),
            PourDone(
                batches=len(self._poured),
                bags_used=used,
                bags_left=self._plan.bags - used,
                share=share,
                yield_l=need.yield_l,
                yield_stderr_l=need.yield_sd_l,
                interval_s=self.interval_s,
                left=tuple(strips),
                unticked=tuple(step.key for step in self.unticked),
                text=text,
            ),
        ]

    def _ended_early(self) -> list[Event]:
        """Say what a stop leaves unpoured; one before the first batch leaves no edge behind."""
        poured, planned = len(self._poured), self._plan.batches
        last = len(self._plan.strips)
        if not 0 < poured < len(planned) or self.front == last:
            return []
        bags = math.fsum(batch.bags for batch in planned[poured:])
        first = self.front + 1
        strips = f"strip {last} is" if first == last else f"strips {first} to {last} are"
        left = len(planned) - poured
        are = "is" if left == 1 else "are"
        return [
            Trouble(
                text=f"Ended early: {left} of {len(planned)} planned batches "
                f"({counted(bags, 'bag')}) "
                f"{are} not poured, and {strips} not told as covered. If it was a slip, pour on at "
                "once and start rig pour run again: it counts from batch 1 and no longer knows how "
                "old the edge is.",
                reason="end",
            )
        ]

    # --- what is said -----------------------------------------------------------------------

    def _strip_at(self, share: float) -> int:
        for strip in self._plan.strips:
            if share <= strip.share_end + 1e-9:
                return strip.number
        return len(self._plan.strips)

    def _next(self) -> list[Event]:
        n = len(self._poured)
        if n >= len(self._plan.batches):
            return [
                Trouble(
                    text="All planned batches are poured: tell the front, then stop.",
                    reason="planned",
                )
            ]
        batch = self._plan.batches[n]
        return [
            NextBatch(
                n=batch.n,
                strip=batch.strip,
                x_mm=batch.x_mm,
                y_mm=batch.y_mm,
                text=f"batch {batch.n} of {len(self._plan.batches)}, strip {batch.strip}: "
                f"{batch.where}",
            )
        ]

    def _by_strip(self) -> dict[int, float]:
        """Oldest open edge of each strip."""
        oldest: dict[int, float] = {}
        for n, (age, _) in self._open_edges().items():
            strip = self._plan.batches[n].strip
            oldest[strip] = max(age, oldest.get(strip, 0.0))
        return oldest

    def _edges(self) -> list[Event]:
        oldest = self._by_strip()
        if not oldest:
            return []
        self._edges_told_s = self._now_s
        left = self._plan.working_s - max(oldest.values())
        said = ", ".join(
            f"strip {strip} is {minutes(age)} old" for strip, age in sorted(oldest.items())
        )
        return [
            Edges(
                strips=tuple(sorted(oldest)),
                ages_s=tuple(oldest[strip] for strip in sorted(oldest)),
                left_s=left,
                time_s=self._now_s,
                text=f"Edge: {said}; {minutes(max(0.0, left))} left.",
            )
        ]

    def _warnings(self) -> list[Event]:
        """Warn once of each edge that is about to die, will die by the pace, or is past it."""
        events: list[Event] = []
        working = self._plan.working_s
        done = len(self._poured)
        pace = self._pace_s()
        told_strips: set[tuple[int, str]] = set()
        for n, (age, last) in sorted(self._open_edges().items(), key=lambda one: -one[1][0]):
            left = working - age
            strip = self._plan.batches[n].strip
            then = age + (last + 1 - done) * pace
            if left <= 0:
                level = "dead"
                text = (
                    f"The edge in strip {strip} is {minutes(age)} old, past the working time: "
                    "don't pour against it wet, set a stop there and let it set."
                )
            elif left <= SOON * working:
                level = "soon"
                text = (
                    f"The edge in strip {strip} is {minutes(age)} old: close it within "
                    f"{minutes(left)}."
                )
            elif then > working and done:
                level = "pace"
                text = (
                    f"At this pace the edge in strip {strip} is {minutes(then)} old when you get "
                    f"to it, over the {minutes(working)} that it keeps: quicken up, narrow the "
                    "strip, or set a stop."
                )
            else:
                continue
            if (n, level) in self._told:
                continue
            self._told.add((n, level))
            if (strip, level) in told_strips:
                continue
            told_strips.add((strip, level))
            events.append(
                Edge(
                    level=level, strip=strip, age_s=age, left_s=left, time_s=self._now_s, text=text
                )
            )
        return events


def _list_event(left: Sequence[Step]) -> Prepour:
    are = "is" if len(left) == 1 else "are"
    lines = [
        f"{counted(len(left), 'step')} before the pour {are} not ticked (say tick and the word):"
    ]
    lines += [f"  {step.key}: {step.text}; {step.why}" for step in left]
    return Prepour(left=tuple(step.key for step in left), text="\n".join(lines))
