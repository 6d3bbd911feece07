"""Drive a survey and a marker setting in random order against a tiny model of what must hold.

Hypothesis plays the installer, the rod and the power: stands, walks, presses, keys, damaged and
doubled messages, lost links, set-ups, kills. After each act:

- the current shots in the file are those that were told and not undone, and no row that was once
  written has changed but for what superseded it;
- the readings of a shot lie in one set-up, one session and one unbroken run of readings;
- the point asked for after a restart is the first that has no shot;
- a prompt says raise where the marker is truly low, lower where it is truly high, and a marker is
  set only at its height.

At the end the log is replayed and must reach the same shots, bit for bit.
"""

import dataclasses
import random
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median
from typing import Any

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from rig.devices.decoder import Decoder
from rig.devices.profile import load_profile
from rig.devices.reading import Back, Lost, Reading
from rig.errors import BadInput
from rig.events import Event
from rig.guidance.setting import CheckSight, MarkerTarget, Setting
from rig.job.settings import Settings
from rig.job.store import Job
from rig.session.items import Act, End
from rig.session.kind import Beginning
from rig.session.kinds.survey import KIND, SurveySettings
from rig.session.places import last_shot, places_to_shoot
from rig.session.recorder import Recorder
from rig.session.run import doubts, step
from rig.session.sources import session_items
from rig.units import Units

PROFILE = load_profile("sentence")
WALLS = [(0.0, 0.0), (2000.0, 0.0), (2000.0, 2000.0), (0.0, 2000.0)]
POINTS = [(f"A{n}", 300.0 * n, 400.0, n) for n in range(1, 5)]
RATE_HZ = 20.0
NOISE_MM = 0.05
UTC_S = 1.7e9
STEPS = [0]
"""How many rules were carried out, over all machines."""

short = st.floats(0.1, 1.0)
some = st.floats(0.3, 3.0)


class Rod:
    """Sentences of a rod, at its rate, with the noise that a seed gives."""

    def __init__(self) -> None:
        self.time_s = 0.0
        self.seq = 65500
        self.random = random.Random(5)

    def say(self, value_mm: float | None, status: str | None = None) -> bytes:
        self.time_s = round(self.time_s + 1.0 / RATE_HZ, 6)
        self.seq = (self.seq + 1) % 65536
        value = "" if value_mm is None else f"{value_mm + self.random.gauss(0.0, NOISE_MM):.1f}"
        body = f"U0HGT,{self.seq},{value},mm,{status or ('N' if value_mm is None else 'V')}"
        check = 0
        for byte in body.encode():
            check ^= byte
        return f"${body}*{check:02X}\r\n".encode()


class SurveyModel(RuleBasedStateMachine):
    """A survey of four points from one or more set-ups, killed and resumed."""

    def __init__(self) -> None:
        super().__init__()
        memory = "/dev/shm" if Path("/dev/shm").is_dir() else None
        self.folder = Path(tempfile.mkdtemp(prefix="floor-rig-model-", dir=memory))
        self.path = self.folder / "job.sqlite"
        with Job.create(self.path, Settings(units="mm"), WALLS) as job:
            job.set_points(POINTS)
        self.rod = Rod()
        self.setup, self.line_mm, self.height_mm = "1", 0.0, 1200.0
        self.standing: dict[str, list[tuple[int, float]]] = {}  # told, by label, undone ones gone
        self.rows: dict[int, tuple[Any, ...]] = {}
        self.told: dict[int, list[dict[str, Any]]] = {}  # by session
        self.ended: set[int] = set()  # sessions that ended politely
        self.setup_of: dict[int, str] = {}
        self.job: Job | None = None

    @initialize()
    def first(self) -> None:
        self._begin()

    # --- the rod and the installer

    @rule(height=st.sampled_from([0.0, 3.0, 3.4, 9.0, -4.0]), seconds=some)
    def stand(self, height: float, seconds: float) -> None:
        self.height_mm = 1200.0 + height
        self._send(seconds, lambda: self.height_mm + self.line_mm)

    @rule(height=st.floats(-9.0, 9.0))
    def shoot(self, height: float) -> None:
        self.walk(1.4)
        self.stand(height, 1.4)

    @rule(seconds=some)
    def stay(self, seconds: float) -> None:
        self._send(seconds, lambda: self.height_mm + self.line_mm)

    @rule(seconds=some)
    def walk(self, seconds: float) -> None:
        self._send(seconds, lambda: None)

    @rule(seconds=short)
    def a_body_in_the_beam(self, seconds: float) -> None:
        self._send(seconds / 2, lambda: None)

    @rule(seconds=some)
    def carry(self, seconds: float) -> None:
        self._send(seconds, lambda: 1100.0 + self.rod.random.uniform(-40.0, 40.0))

    @rule(presses=st.integers(1, 4), wait=st.booleans())
    def press(self, presses: int, wait: bool) -> None:
        for _ in range(presses):
            self._bytes(self.rod.say(self.height_mm + self.line_mm, "B"))
        if wait:
            self._send(1.2, lambda: self.height_mm + self.line_mm)

    @rule(name=st.sampled_from(["accept", "undo", "undo", "skip"]))
    def key(self, name: str) -> None:
        self._act(name, None)

    @rule(label=st.sampled_from([*(label for label, *_ in POINTS), "Z9"]))
    def go_to(self, label: str) -> None:
        self._act("goto", label)

    # --- the device and the link

    @rule(seconds=st.floats(0.1, 12.0))
    def drop(self, seconds: float) -> None:
        self._item(Lost(self.rod.time_s, self._utc(), "unplugged"))
        self.rod.time_s += seconds
        self._tick()
        self.decoder.reset()
        self.run = list[tuple[float, float]]()
        self._item(Back(self.rod.time_s, self._utc(), seconds))

    @rule(cut=st.integers(0, 30))
    def damage(self, cut: int) -> None:
        line = bytearray(self.rod.say(self.height_mm + 50.0))
        line[cut % (len(line) - 2)] ^= 0x15
        self._bytes(bytes(line))

    @rule()
    def double(self) -> None:
        line = self.rod.say(self.height_mm + self.line_mm)
        self._bytes(line + line)

    @rule()
    def swap(self) -> None:
        first, second = (self.rod.say(self.height_mm + self.line_mm) for _ in range(2))
        self._bytes(second + first)

    @rule(count=st.integers(1, 30))
    def lose(self, count: int) -> None:
        for _ in range(count):
            self.rod.say(self.height_mm)

    @rule()
    def nothing_comes(self) -> None:
        self.rod.time_s += 1.3
        self._tick()

    # --- the program and the power

    @rule(flush=st.booleans())
    def second_passes(self, flush: bool) -> None:
        if flush and self.recorder is not None:
            self.recorder.flush()

    @rule(polite=st.booleans())
    def restart(self, polite: bool) -> None:
        self._end(polite)
        self._begin()

    @rule()
    def move_the_laser(self) -> None:
        self._end(True)
        self.setup = str(int(self.setup) + 1)
        self.line_mm = 40.0 * (int(self.setup) % 5)
        self._begin()

    # --- what must hold

    @invariant()
    def the_file_holds_what_was_told(self) -> None:
        STEPS[0] += 1
        if self.job is None:
            return
        every = self.job.shots(current=False)
        current = {shot.point: (shot.id, shot.reading_mm) for shot in every
                   if shot.superseded_by is None}  # fmt: skip
        assert current == {label: there[-1] for label, there in self.standing.items() if there}
        for shot in every:
            row = dataclasses.astuple(dataclasses.replace(shot, superseded_by=None))
            assert self.rows.setdefault(shot.id, row) == row, "a shot was rewritten"
            assert shot.setup == self.setup_of[shot.session_id or 0]
        assert {shot.id for shot in every} == set(self.rows), "a shot is gone"

    def teardown(self) -> None:
        try:
            if self.job is not None:
                self._end(True)
                self._replay()
        finally:
            shutil.rmtree(self.folder)

    # --- how

    def _begin(self) -> None:
        self.job = job = Job.open(self.path, write=True)
        try:
            wanted = places_to_shoot(job, "floor")
        except BadInput:  # every point has a shot: some are shot again
            wanted = places_to_shoot(job, "floor", ("A2", "A4"))
            first = "A2"
        else:
            first = next(label for label, *_ in POINTS if not self.standing.get(label))
        settings = SurveySettings(
            dwell_s=1.0,
            walk_s=1.0,
            still_mm=0.5,
            units="mm",
            points=tuple(wanted),
            resumes_from=last_shot(job, "floor", self.setup),
        )
        begun = self._begun(settings, self.setup)
        self.session = KIND.start(begun, "serial")
        self.setup_of[self.session] = self.setup
        self.told[self.session] = []
        self.recorder: Recorder | None = Recorder(job, self.session)
        self.decoder = Decoder(PROFILE)
        self.guard = KIND.guard(begun)
        self.run = list[tuple[float, float]]()
        self.runs = [self.run]
        self.machine = KIND.machine(begun)
        self.rod.time_s = 0.0
        events = self.machine.start(0.0)
        assert events[0].as_json()["label"] == first, "not the first point without a shot"
        self._hear(events)

    def _begun(self, settings: SurveySettings, setup: str) -> Beginning[SurveySettings]:
        assert self.job is not None
        return Beginning(
            job=self.job,
            settings=settings,
            setup=setup,
            rod=PROFILE,
            boot_id="boot",
            utc_s=self._utc(),
        )

    def _end(self, polite: bool) -> None:
        assert self.job is not None
        assert self.recorder is not None
        if polite:
            if not self.machine.finished:
                end = End(self.rod.time_s)
                self.recorder.item(end)
                self._hear(step(self.machine, end))
            if not self.machine.finished:
                self._hear(self.machine.act("quit", self.rod.time_s))
            self.ended.add(self.session)
            self.job.close()
        else:  # as SIGKILL: what waits in memory is gone, the lock too
            self.job._connection.close()
            self.job._closed = True
            assert self.job._lock is not None
            self.job._lock.release()
        self.job = self.recorder = None

    def _send(self, seconds: float, height: Callable[[], float | None]) -> None:
        for _ in range(max(1, round(seconds * RATE_HZ))):
            self._bytes(self.rod.say(height()))

    def _bytes(self, data: bytes) -> None:
        for reading in self.decoder.feed(data, self.rod.time_s, self._utc()):
            if reading.status == "no_beam":
                self.run = []
            elif reading.value_mm is not None:
                if self.runs[-1] is not self.run:
                    self.runs.append(self.run)
                self.run.append((reading.time_s, reading.value_mm))
            self._item(reading)

    def _act(self, name: str, argument: str | None) -> None:
        self._item(Act(self.rod.time_s, self._utc(), name, argument))

    def _tick(self) -> None:
        if not self.machine.finished:
            self._hear(self.machine.tick(self.rod.time_s))
            self._over()

    def _item(self, item: Any) -> None:
        if self.machine.finished:
            return
        assert self.recorder is not None
        self.recorder.item(item)
        self._hear(doubts(self.guard, item))
        self._hear(step(self.machine, item))
        self._over()

    def _over(self) -> None:
        if self.machine.finished:
            self._end(True)
            self._begin()

    def _utc(self) -> float:
        return UTC_S + self.rod.time_s

    def _hear(self, events: Any) -> None:
        assert self.recorder is not None
        for event in events:
            self.recorder.keep(event)
            told = event.as_json()
            if told["event"] == "shot":
                self._check(told)
                self.told[self.session].append(told)
                row = (self.recorder._taken[-1][1], told["reading_mm"])
                self.standing.setdefault(told["label"], []).append(row)
            elif told["event"] == "undone":
                self.told[self.session].append(told)
                if "what" not in told:
                    self.standing[told["label"]].pop()
            self._hear(self.guard.event(event))

    def _check(self, shot: dict[str, Any]) -> None:
        """Its readings lie in one run, unbroken by a gap, the beam's loss or another set-up."""
        for run in reversed(self.runs):
            used = [value for time_s, value in run if time_s <= shot["time_s"]][-shot["n"] :]
            if run and run[0][0] <= shot["time_s"] <= run[-1][0]:
                assert len(used) == shot["n"], "a shot mixes readings from both sides of a gap"
                assert min(used) - 1e-9 <= shot["reading_mm"] <= max(used) + 1e-9
                # A few strays are left out of a shot; what it says is where most of it stood.
                assert abs(shot["reading_mm"] - median(used)) < 0.5, "a shot mixes two stands"
                return
        raise AssertionError("a shot without readings")

    def _replay(self) -> None:
        """The log of each session reaches the same shots; a killed one all that was told."""
        self.job = Job.open(self.path)
        for session in self.job.sessions():
            machine = KIND.machine(self._begun(KIND.read(session.capture), session.setup))
            events: list[Event] = list(machine.start(0.0))
            last_s = 0.0
            for item in session_items(self.job, session.id, PROFILE, "mm"):
                if not machine.finished:
                    events += step(machine, item)
                    last_s = item.time_s
            if not machine.finished:
                events += machine.act("quit", last_s)
            again = [e.as_json() for e in events if e.event in ("shot", "undone")]
            told = self.told[session.id]
            if session.id in self.ended:
                assert again == told, "a replay says otherwise"
            else:
                assert again[: len(told)] == told, "a replay of a killed session says otherwise"
        self.job.close()


class SettingModel(RuleBasedStateMachine):
    """Markers set from a line that may have been moved since the survey."""

    TOLERANCE_MM = 1.0
    MARKERS = tuple(MarkerTarget(f"M{n}", 200.0 * n, 300.0, 1150.0 + n) for n in range(1, 4))

    @initialize(
        shift=st.sampled_from([0.0, 0.0, 0.0, 12.0, -7.0]),
        retie=st.booleans(),
        off=st.lists(st.floats(-25.0, 25.0), min_size=3, max_size=3),
    )
    def first(self, shift: float, retie: bool, off: list[float]) -> None:
        self.rod = Rod()
        self.decoder = Decoder(PROFILE)
        self.shift_mm, self.retie = shift, retie
        self.low_mm = dict(zip([m.label for m in self.MARKERS], off, strict=True))
        self.on: str | None = None
        self.beam_mm: float | None = None
        self.asked, self.prompts, self.set = "BM1", 0, list[str]()
        self.machine = Setting(
            self.MARKERS,
            check=CheckSight("BM1", None, None, 1000.0, 0.1),
            retie=retie,
            tolerance_mm=self.TOLERANCE_MM,
            dwell_s=1.0,
            walk_s=1.0,
            still_mm=0.5,
            resolution_mm=0.1,
            foot_mm=0.1,
            units=Units("mm"),
        )
        self._hear(self.machine.start(0.0))

    def _true_mm(self) -> float:
        """What the rod truly reads where it stands."""
        if self.on is None:
            return 1000.0 + self.shift_mm
        target = next(m for m in self.MARKERS if m.label == self.on).target_reading_mm
        return target + self.shift_mm + self.low_mm[self.on]

    @rule(seconds=some)
    def stand_where_asked(self, seconds: float) -> None:
        self.on = None if self.asked == "BM1" else self.asked
        self._send(seconds, self._true_mm)

    @precondition(lambda self: self.on is not None)
    @rule(by=st.floats(-6.0, 6.0), seconds=some)
    def turn_the_screw(self, by: float, seconds: float) -> None:
        assert self.on is not None
        self.low_mm[self.on] += by
        self._send(seconds, self._true_mm)

    @precondition(lambda self: self.on is not None)
    @rule(seconds=some)
    def do_as_told(self, seconds: float) -> None:
        assert self.on is not None
        self.low_mm[self.on] *= 0.02
        self._send(seconds, self._true_mm)

    @rule(off=st.floats(-9.0, 9.0))
    def set_what_is_asked(self, off: float) -> None:
        """Walk there, see it out of height, turn the screw, hold still."""
        self.walk(1.5)
        self.stand_where_asked(1.5)
        if self.on is None:
            return
        if self.on not in self.set:
            self.turn_the_screw(off, 1.3)
        self.do_as_told(2.5)

    @rule(seconds=st.floats(1.5, 4.0))
    def walk(self, seconds: float) -> None:
        self._send(seconds, lambda: None)

    @rule(seconds=short)
    def a_body_in_the_beam(self, seconds: float) -> None:
        self._send(seconds / 2, lambda: None)

    @rule(seconds=st.floats(0.1, 12.0))
    def drop(self, seconds: float) -> None:
        self._item(Lost(self.rod.time_s, 0.0, "unplugged"))
        self.rod.time_s += seconds
        self.decoder.reset()
        self._item(Back(self.rod.time_s, 0.0, seconds))

    @rule(name=st.sampled_from(["accept", "undo", "skip"]))
    def key(self, name: str) -> None:
        self._item(Act(self.rod.time_s, 0.0, name, None))

    @rule(label=st.sampled_from(["M1", "M2", "M3", "M9"]))
    def go_to(self, label: str) -> None:
        self._item(Act(self.rod.time_s, 0.0, "goto", label))

    @rule(presses=st.integers(1, 3))
    def press(self, presses: int) -> None:
        for _ in range(presses):
            self._bytes(self.rod.say(self._true_mm(), "B"))
        self._send(1.2, self._true_mm)

    @rule(cut=st.integers(0, 30))
    def damage(self, cut: int) -> None:
        line = bytearray(self.rod.say(self._true_mm() + 90.0))
        line[cut % (len(line) - 2)] ^= 0x15
        self._bytes(bytes(line))

    @invariant()
    def counted(self) -> None:
        STEPS[0] += 1

    def _send(self, seconds: float, height: Callable[[], float | None]) -> None:
        for _ in range(max(1, round(seconds * RATE_HZ))):
            self._bytes(self.rod.say(height()))

    def _bytes(self, data: bytes) -> None:
        for reading in self.decoder.feed(data, self.rod.time_s, UTC_S):
            if isinstance(reading, Reading) and reading.status != "bad":
                self.beam_mm = reading.value_mm
            self._item(reading)

    def _item(self, item: Any) -> None:
        if not self.machine.finished:
            self._hear(step(self.machine, item))

    def _hear(self, events: Any) -> None:
        for event in events:
            told = event.as_json()
            match told["event"]:
                case "next":
                    self.asked = told["marker"]
                case "prompt":
                    self._check_prompt(told)
                case "set":
                    self._check_set(told)
                    self.set.append(told["marker"])
                case "unset":
                    self.set.remove(told["marker"])
                case "checked":
                    moved = abs(self.shift_mm) > 3.0
                    assert told["ok"] == (self.retie or not moved or self.on is not None), told

    def _check_prompt(self, told: dict[str, Any]) -> None:
        assert self.retie or abs(self.shift_mm) < 3.0, "a prompt from a line that was moved"
        assert self.beam_mm is not None
        target = next(m for m in self.MARKERS if m.label == told["marker"]).target_reading_mm
        low_mm = self.beam_mm - target - self.shift_mm  # of what stands under the rod
        if abs(low_mm) > self.TOLERANCE_MM + 0.8:
            assert told["move"] == ("raise" if low_mm > 0 else "lower"), (low_mm, told)
            assert abs(told["by_mm"] - abs(low_mm)) < 0.8, (low_mm, told)
        if told["move"] in ("hold", "set"):
            assert abs(low_mm) <= self.TOLERANCE_MM + 0.8

    def _check_set(self, told: dict[str, Any]) -> None:
        target = next(m for m in self.MARKERS if m.label == told["marker"]).target_reading_mm
        off_mm = self._true_mm() - target - self.shift_mm
        assert abs(off_mm) <= self.TOLERANCE_MM + 0.5, (off_mm, told)


def run(steps: int, number: int, length: int = 40) -> int:
    """Carry out so many steps, half of them surveys, and return how many there were.

    Raises what did not hold, with the shortest story that shows it.
    """
    STEPS[0] = 0
    for part, machine in enumerate(_machines(), start=1):
        while STEPS[0] < steps * part / 2:
            left = steps * part / 2 - STEPS[0]
            chosen = settings(
                max_examples=max(1, round(left / length)),
                stateful_step_count=length,
                deadline=None,
                database=None,
                phases=[Phase.generate, Phase.shrink],
                suppress_health_check=list(HealthCheck),
            )
            seeded: Any = seed(number + STEPS[0])(machine)
            run_state_machine_as_test(seeded, settings=chosen)
    return STEPS[0]


def _machines() -> Iterator[type[RuleBasedStateMachine]]:
    yield SurveyModel
    yield SettingModel
