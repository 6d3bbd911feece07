"""Kill the server of the phone's pages at random instants: no act that it answered is lost.

A phone sends forms and types readings on its keypad; what the server said it took must be in the
job afterwards, and the server must come up again with it.
"""

import asyncio
import contextlib
import json
import random
import signal
import subprocess
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import aiohttp

from rig.job.store import Job
from tools.endurance.kills import COMMAND

KILLS_A_JOB = 20
LONGEST_S = 2.5
NAME = "Hall"


@dataclass
class Tally:
    """What so many kills came to."""

    kills: int = 0
    forms: int = 0
    shots: int = 0
    lost: int = 0
    broken: int = 0

    @property
    def sound(self) -> bool:
        """Nothing went wrong."""
        return not (self.lost or self.broken)


@dataclass
class _Told:
    """What the server said it took: how often, the last cover, and a cover on its way."""

    forms: int = 0
    shots: int = 0
    cover_mm: float | None = None
    sent_mm: float | None = None


def torment(kills: int, seed: int, folder: Path) -> Tally:
    """Kill so many servers, and count what they had answered for and lost."""
    rng, tally = random.Random(seed), Tally()
    told, jobs = _Told(), folder
    while tally.kills < kills:
        if tally.kills % KILLS_A_JOB == 0:
            jobs, told = folder / f"jobs{tally.kills}", _Told()
        before = told.forms, told.shots
        _serve_and_kill(jobs, told, rng)
        tally.kills += 1
        tally.forms += told.forms - before[0]
        tally.shots += told.shots - before[1]
        file = jobs / f"{NAME}.sqlite"
        if not told.forms:
            continue
        try:
            with Job.open(file) as job:
                kept, cover_mm = len(job.shots(kinds=["floor"])), job.settings.min_cover_mm
        except Exception:
            tally.broken += 1
            continue
        tally.lost += kept < told.shots
        tally.lost += told.cover_mm is not None and cover_mm not in (told.cover_mm, told.sent_mm)
        told.shots = kept
        told.cover_mm = cover_mm
    return tally


def _serve_and_kill(jobs: Path, told: _Told, rng: random.Random) -> None:
    process = subprocess.Popen(
        [*COMMAND, "serve", "--jobs", str(jobs), "--json"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdout is not None
    url = json.loads(process.stdout.readline())["url"]
    timer = threading.Timer(rng.uniform(0.05, LONGEST_S), process.send_signal, [signal.SIGKILL])
    timer.start()
    gone = (aiohttp.ClientError, ConnectionError, TimeoutError, TypeError)
    with contextlib.suppress(*gone):
        asyncio.run(_work(url, told, rng))
    process.wait()
    timer.join()


async def _work(url: str, told: _Told, rng: random.Random) -> None:
    """Make the job where there is none, then change its cover and shoot its points, till killed."""
    timeout = aiohttp.ClientTimeout(total=20)
    async with aiohttp.ClientSession(timeout=timeout) as session:

        async def post(path: str, **fields: str) -> int:
            origin = {"Origin": url.rsplit("/", 2)[0]}
            async with session.post(
                url + path, data=fields, headers=origin, allow_redirects=False
            ) as answer:
                told.forms += answer.status == 303
                return answer.status

        shape = {"shape": "rectangle", "units": "mm", "width": "8", "depth": "8"}
        await post("new", name=NAME, act="make", **shape)
        if not told.shots:
            await post(f"j/{NAME}/grid", act="grid", spacing="500mm")
        while True:
            for _ in range(rng.randint(0, 3)):
                told.sent_mm = float(rng.randint(1, 400)) / 10
                cover = f"{told.sent_mm}mm"
                if await post(f"j/{NAME}/product", act="keep", min_cover=cover) == 303:
                    told.cover_mm = told.sent_mm
            begun = {"act": "survey", "source": "tape", "unit": "mm"}
            if await post(f"j/{NAME}/survey", **begun) == 303:
                await _shoot(session, url, told, rng)


async def _shoot(session: aiohttp.ClientSession, url: str, told: _Told, rng: random.Random) -> None:
    """Type readings into the session that runs, count what it says is taken, and stop it."""
    async with session.ws_connect(url + "session/live") as socket:
        await socket.send_json({"say": "hello", "phone": "a"})
        for _ in range(rng.randint(1, 12)):
            reading = f"{rng.uniform(990.0, 1010.0):.0f}"
            await socket.send_json({"say": "type", "line": reading})
            await _until(socket, "taken")
            told.shots += 1
        await socket.send_json({"say": "act", "act": "quit"})
        await _until(socket, "Done")


async def _until(socket: aiohttp.ClientWebSocketResponse, word: str) -> None:
    while True:
        state: dict[str, Any] = json.loads(await socket.receive_str(timeout=2))["state"]
        if word in state.get("last", "") or word in (state.get("now") or {}).get("text", ""):
            return
