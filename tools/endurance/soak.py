"""A rod that sends 20 readings a second for a day, in simulated time: nothing may grow.

Bytes go through decoder, guard, survey machine and recorder into a job file, as in a live session,
only that the clock is the data's own. The rod stands, walks on, loses its beam, and every few
minutes its link. Once a simulated hour memory, descriptors, file size and latency are noted.
"""

import os
import resource
import statistics
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.devices.decoder import Decoder
from rig.devices.profile import load_profile
from rig.devices.reading import Back, Lost
from rig.events import ShotTaken
from rig.job.settings import Settings
from rig.job.store import Job
from rig.session.kind import Beginning
from rig.session.kinds.survey import KIND, SurveySettings
from rig.session.recorder import Recorder
from rig.session.run import announcements, doubts, step

RATE_HZ = 20
UTC_S = 1.7e9
DROP_EVERY_S, DROP_FOR_S = 240.0, 7.0
POINT_EVERY_S = 60.0
WALLS = [(0.0, 0.0), (20_000.0, 0.0), (20_000.0, 20_000.0), (0.0, 20_000.0)]
MOST_MEMORY_GROWTH_MB = 1.0


@dataclass
class Hour:
    """How things stood at the end of an hour, and what its readings took.

    Latency is by the wall, so that of a busy machine; `cpu_s` is the processor's time.
    """

    hour: float
    memory_mb: float
    descriptors: int
    file_mb: float
    shots: int
    median_us: float
    p99_us: float
    cpu_s: float


@dataclass
class Report:
    """The hours, and what they come to."""

    hours: list[Hour]

    @property
    def memory_growth_mb(self) -> float:
        """From the end of the first hour, when all is loaded, to the end."""
        return self.hours[-1].memory_mb - self.hours[0].memory_mb

    @property
    def file_mb_per_hour(self) -> float:
        """How fast the log grows."""
        first, last = self.hours[0], self.hours[-1]
        return (last.file_mb - first.file_mb) / max(last.hour - first.hour, 1e-9)

    @property
    def sound(self) -> bool:
        """Nothing grows but the log."""
        return (
            self.memory_growth_mb < MOST_MEMORY_GROWTH_MB
            and self.hours[-1].descriptors == self.hours[0].descriptors
            and self.hours[-1].cpu_s < 1.5 * self.hours[0].cpu_s
        )


def soak(hours: int, folder: Path, most_bytes: int | None = None, per_hour_s: int = 3600) -> Report:
    """Let a survey run for so many simulated hours, each of so many seconds."""
    path = folder / "soak.sqlite"
    count = int(hours * per_hour_s / POINT_EVERY_S) + 2
    profile = load_profile("sentence")
    with Job.create(path, Settings(units="mm"), WALLS) as job:
        settings = SurveySettings(
            dwell_s=1.0,
            walk_s=1.0,
            still_mm=0.5,
            units="mm",
            points=tuple((f"A{n}", 10.0 * n % 19_000, 9_000.0) for n in range(count)),
        )
        begun = Beginning(
            job=job, settings=settings, setup="1", rod=profile, boot_id="boot", utc_s=UTC_S
        )
        session = KIND.start(begun, "serial")
        recorder = Recorder(job, session, most_bytes=most_bytes)
        machine, guard = KIND.machine(begun), KIND.guard(begun)
        decoder = Decoder(profile)
        told = 0

        def hear(events: Any) -> None:
            nonlocal told
            for event in events:
                recorder.keep(event)
                told += isinstance(event, ShotTaken)
                hear(guard.event(event))

        def take(item: Any) -> None:
            recorder.item(item)
            for _ in announcements(item):
                pass
            hear(doubts(guard, item))
            hear(step(machine, item))

        hear(machine.start(0.0))
        noted: list[Hour] = []
        taken_s: list[float] = []
        cpu_s = time.process_time()
        dropped_s = flushed_s = 0.0
        for n in range(hours * per_hour_s * RATE_HZ):
            time_s = (n + 1) / RATE_HZ
            if n and n % (per_hour_s * RATE_HZ) == 0:
                noted.append(_note(n / RATE_HZ / 3600.0, job, told, taken_s, cpu_s))
                taken_s.clear()
                cpu_s = time.process_time()
            in_drop = time_s % DROP_EVERY_S < DROP_FOR_S and time_s > DROP_EVERY_S
            if in_drop:
                if time_s - dropped_s > DROP_EVERY_S / 2:
                    dropped_s = time_s
                    take(Lost(time_s, UTC_S + time_s, "unplugged"))
                    decoder.reset()
                continue
            at_s = time.perf_counter()
            if dropped_s and time_s - dropped_s <= DROP_FOR_S + 1.0 / RATE_HZ:
                take(Back(time_s, UTC_S + time_s, time_s - dropped_s))
            for reading in decoder.feed(_line(n, time_s), time_s, UTC_S + time_s):
                take(reading)
            if time_s - flushed_s >= 1.0:
                recorder.flush()
                for _ in recorder.news():
                    pass
                flushed_s = time_s
            taken_s.append(time.perf_counter() - at_s)
        noted.append(_note(hours * per_hour_s / 3600.0, job, told, taken_s, cpu_s))
        if told < count / 2:
            raise AssertionError(f"only {told} shots in {hours} hours: the soak does not work")
    return Report(noted)


def _line(n: int, time_s: float) -> bytes:
    """A minute: two seconds without beam, then a stand with the noise of a rod."""
    stand, second = divmod(time_s, POINT_EVERY_S)
    if second < 2.0 or (time_s * 7.0) % 31.0 < 0.05:
        body = f"U0HGT,{n % 65536},,mm,N"
    else:
        noise = (n * 7919 % 13 - 6) / 60.0
        body = f"U0HGT,{n % 65536},{1200.0 + stand * 3.7 % 50.0 + noise:.1f},mm,V"
    check = 0
    for byte in body.encode():
        check ^= byte
    return f"${body}*{check:02X}\r\n".encode()


def _note(hour: float, job: Job, shots: int, taken_s: list[float], cpu_s: float) -> Hour:
    taken = sorted(taken_s)
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return Hour(
        hour=round(hour, 3),
        memory_mb=round(pages * resource.getpagesize() / 1e6, 2),
        descriptors=len(os.listdir("/proc/self/fd")),
        file_mb=round(job.size_bytes / 1e6, 2),
        shots=shots,
        median_us=round(1e6 * statistics.median(taken), 1),
        p99_us=round(1e6 * taken[int(0.99 * len(taken))], 1),
        cpu_s=round(time.process_time() - cpu_s, 2),
    )
