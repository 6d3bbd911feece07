"""Kill the server of the phone's pages at random instants: no act that it answered is lost.

A phone goes through the whole job: forms, readings typed on the keypad, markers set, batches
poured. What the server said it took must be in the job by then and after the kill, and the server
must come up again with it.
"""

import asyncio
import contextlib
import json
import random
import signal
import sqlite3
import subprocess
import threading
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiohttp

from rig.job.store import Job
from tools.endurance.kills import COMMAND

KILLS_A_JOB = 20
LONGEST_S = 4.0
NAME = "Hall"
HERE = f"j/{NAME}/"
GROWING = ("shot", "event", "plan", "marker", "batch")
LINE_MM = 1000.0
TAPE = {"source": "tape", "unit": "mm"}


@dataclass
class Tally:
    """What so many kills came to."""

    kills: int = 0
    forms: Counter[str] = field(default_factory=Counter)
    live: Counter[str] = field(default_factory=Counter)
    lost: int = 0
    broken: int = 0

    @property
    def sound(self) -> bool:
        """Nothing went wrong."""
        return not (self.lost or self.broken)


@dataclass
class _Told:
    """What the server said it took, and how far the job's tables had grown by then."""

    file: Path
    tally: Tally
    rows: dict[str, int] = field(default_factory=dict)
    cover_mm: float | None = None
    sent_mm: float | None = None

    def took(self, *tables: str) -> None:
        """Hold the job against what was just answered: one of these tables must have grown."""
        now = _rows(self.file)
        grown = [table for table in tables if now[table] > self.rows.get(table, 0)]
        self.tally.lost += bool(tables) and not grown
        self.rows = now

    def holds(self, kept: dict[str, int]) -> bool:
        """Whether nothing is missing of what was answered."""
        return all(kept[table] >= count for table, count in self.rows.items())


def _rows(file: Path) -> dict[str, int]:
    """Return the last row's number of each table that only grows."""
    with contextlib.closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as opened:
        return {
            table: opened.execute(f'SELECT coalesce(max(id), 0) FROM "{table}"').fetchone()[0]
            for table in GROWING
        }


def torment(kills: int, seed: int, folder: Path, longest_s: float = LONGEST_S) -> Tally:
    """Kill so many servers, and count what they had answered for and lost."""
    rng, tally = random.Random(seed), Tally()
    while tally.kills < kills:
        if tally.kills % KILLS_A_JOB == 0:
            told = _Told(folder / f"jobs{tally.kills}" / f"{NAME}.sqlite", tally)
        _serve_and_kill(told, rng, longest_s)
        tally.kills += 1
        if not told.rows:
            continue
        try:
            with Job.open(told.file) as job:
                cover_mm = job.settings.min_cover_mm
            kept = _rows(told.file)
        except Exception:
            tally.broken += 1
            continue
        tally.lost += not told.holds(kept)
        tally.lost += told.cover_mm is not None and cover_mm not in (told.cover_mm, told.sent_mm)
        told.rows, told.cover_mm = kept, cover_mm
    return tally


def _serve_and_kill(told: _Told, rng: random.Random, longest_s: float) -> None:
    process = subprocess.Popen(
        [*COMMAND, "serve", "--jobs", str(told.file.parent), "--json"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdout is not None
    url = json.loads(process.stdout.readline())["url"]
    timer = threading.Timer(rng.uniform(0.05, longest_s), process.send_signal, [signal.SIGKILL])
    timer.start()
    gone = (aiohttp.ClientError, ConnectionError, TimeoutError, TypeError)
    with contextlib.suppress(*gone):
        asyncio.run(_work(url, told, rng))
    process.wait()
    timer.join()


async def _work(url: str, told: _Told, rng: random.Random) -> None:
    """Make the job where there is none, then do this and that of it till killed."""
    async with aiohttp.ClientSession(timeout=aiohttp.ClientTimeout(total=20)) as session:
        phone = _Phone(session, url, told, rng)
        shape = {"shape": "rectangle", "units": "mm", "width": "3", "depth": "3"}
        await phone.send("", name=NAME, act="make", **shape)
        if not told.rows.get("shot"):
            await phone.send("grid", "event", act="grid", spacing="800mm")
        while True:
            await rng.choice(
                (phone.cover, phone.shoot, phone.plan, phone.note, phone.markers, phone.set_markers,
                 phone.pour)
            )()  # fmt: skip


@dataclass
class _Phone:
    """A phone whose thumb knows the whole job."""

    session: aiohttp.ClientSession
    url: str
    told: _Told
    rng: random.Random

    async def send(self, step: str, *tables: str, **fields: str) -> bool:
        """Send a form; what it adds to must have grown when it is answered."""
        origin = {"Origin": self.url.rsplit("/", 2)[0]}
        at = self.url + (HERE + step if step else "new")
        asked = self.session.post(at, data=fields, headers=origin, allow_redirects=False)
        async with asked as answer:
            if answer.status != 303:
                return False
        self.told.tally.forms[step] += 1
        self.told.took(*tables)
        return True

    async def cover(self) -> None:
        self.told.sent_mm = float(self.rng.randint(20, 400)) / 10
        fields = {"min_cover": f"{self.told.sent_mm}mm", "bag_yield": "14l", "bag_mass": "25kg"}
        if await self.send("product", act="keep", **fields):
            self.told.cover_mm = self.told.sent_mm

    async def note(self) -> None:
        await self.send("site", "event", act="log", note=f"seen {self.rng.random()}")
        await self.send("log", "event", act="tick dust")

    async def plan(self) -> None:
        cover = f"{self.rng.uniform(3.0, 9.0):.3f}"
        self.told.cover_mm = None  # the plan's cover is the job's from then on
        await self.send("plan", "plan", act="plan", target="level", cover=cover, confidence="95")

    async def markers(self) -> None:
        await self.send("markers", "marker", act="lay", reach=f"{self.rng.uniform(1, 3):.2f}m")
        place = {"x": f"{self.rng.uniform(200, 2800):.0f}mm", "y": "500mm"}
        await self.send("markers", "marker", act="move", label="M1", **place)

    async def shoot(self) -> None:
        """Survey with a tape, as far as it comes."""
        if await self.send("survey", act="survey", **TAPE):
            await self._type("survey", lambda _: [self.rng.uniform(-10.0, 10.0) + LINE_MM])

    async def set_markers(self) -> None:
        """Set markers with a tape; each stands too high at first."""
        if await self.send("set", act="set", **TAPE):
            with Job.open(self.told.file) as job:
                tops = {one.label: one.target_reading_mm for one in job.markers()}
                line = {one.point: one.reading_mm for one in job.shots()}
            await self._type(
                "set",
                lambda label: [tops[label] + 12.0, tops[label]] if label in tops else [line[label]],
            )

    async def pour(self) -> None:
        """Plan the pour, pour some batches, and leave the log."""
        crew = {"mixers": "2", "crew": "4", "mix_time": "2", "bags_per_batch": "1"}
        flows = f"{self.rng.randint(20, 60)}"
        await self.send("pour", "event", act="plan", working_time=flows, **crew)
        if await self.send("log", act="begin"):
            await self._live("pour", lambda state: ["batch"])

    async def _type(self, kind: str, readings: Callable[[str], Sequence[float]]) -> None:
        """Type what the tape reads at each place that is asked for."""

        def lines(state: dict[str, Any]) -> list[str]:
            now = state.get("now") or {}
            asks = now.get("mode") in ("hold", "go", "check") and now["label"]
            return [f"{mm:.1f}" for mm in readings(now["label"])] if asks else []

        await self._live(kind, lines)

    async def _live(self, kind: str, does: Callable[[dict[str, Any]], list[str]]) -> None:
        """Do what is asked for in a session, once a place, and leave it after a while."""
        state: dict[str, Any] = {}
        left, done, was = self.rng.randint(1, 10), None, ""
        async with self.session.ws_connect(self.url + "session/live") as socket:
            await socket.send_json({"say": "hello", "phone": "a"})
            while not (state.get("home") or {}).get("over"):
                state |= json.loads(await socket.receive_str(timeout=5))["state"]
                now = state["count"]["done"] if state.get("count") else None
                if done is not None and now is not None and now > done:
                    self.told.tally.live[kind] += 1
                    self.told.took("batch" if kind == "pour" else "shot")
                done = now
                asked = json.dumps([state.get(key) for key in ("now", "count", "places", "ask")])
                if asked == was:
                    continue
                was, left = asked, left - 1
                if left < 0:
                    await socket.send_json({"say": "act", "act": "quit"})
                for one in does(state) if left >= 0 else []:
                    act = {"say": "act", "act": "accept" if state.get("ask") else one}
                    typed = {"say": "type", "line": one}
                    await socket.send_json(act if kind == "pour" else typed)
