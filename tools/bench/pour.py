"""10 000 simulated pours of 40 batches against simpy, and from a typed word to what comes of it."""

import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import simpy

from rig.pour.crew import Roles, Times, work_of
from rig.pour.simulation import Drawn, draw, makespan, simulate

RUNS, BATCHES = 10_000, 40
RUNS_BY_EVENTS = 100
WORDS = 100


def run() -> list[dict[str, object]]:
    work = work_of(Times(120.0), [1.0] * BATCHES, [6000.0] * BATCHES, [1.0] * BATCHES)
    roles, buckets = Roles(2, 2, 1), 6
    begun = time.perf_counter()
    drawn = draw(work, RUNS, np.random.default_rng(1), 0.3, 0.1)
    whole = makespan(simulate(drawn, roles, buckets))
    ours = time.perf_counter() - begun
    begun = time.perf_counter()
    theirs = [_by_events(drawn, roles, buckets, r) for r in range(RUNS_BY_EVENTS)]
    each = (time.perf_counter() - begun) / RUNS_BY_EVENTS
    if not np.allclose(whole[:RUNS_BY_EVENTS], theirs):
        print("the recursion and simpy disagree", file=sys.stderr)
    return [
        {
            "what": f"{RUNS} pours of {BATCHES} batches, s",
            "value": round(ours, 2),
            "against": f"aim 10 or less; simpy would take {each * RUNS:.0f} s, "
            f"{each * RUNS / ours:.0f} times as long",
        },
        *_latency(),
    ]


def _latency() -> list[dict[str, object]]:
    with tempfile.TemporaryDirectory() as folder:
        job = ["--job", str(Path(folder) / "job.sqlite")]
        table = Path(folder) / "shots.csv"
        table.write_text(
            "label,x,y,reading\n"
            + "".join(
                f"P{x}{y},{x * 700 + 200},{y * 700 + 200},{1200 + (x * 7 + y * 3) % 5}\n"
                for x in range(5)
                for y in range(5)
            )
        )
        room = ["--room", "3m,3m", "--units", "mm", "--door", "1m,0m,80cm"]
        crew = ["--mixers", "1", "--crew", "3", "--mix-time", "2min", "--working-time", "20min"]
        for words in (
            ["new", *room, "--min-cover", "6mm"],
            ["import", str(table), "--unit", "mm"],
            ["plan"],
            ["pour", "plan", *crew],
        ):
            command = [sys.executable, "-m", "rig.cli", *words, *job]
            subprocess.run(command, check=True, capture_output=True)
        delays = sorted(_delays(job))
    return [
        {
            "what": "word to event (on disk before), median ms",
            "value": round(1000 * statistics.median(delays), 2),
            "against": f"aim 50 or less; 99th percentile {1000 * delays[int(0.99 * WORDS)]:.1f}",
        }
    ]


def _delays(job: list[str]) -> list[float]:
    command = [sys.executable, "-m", "rig.cli", "pour", "run", "--json", *job]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None

        def say(word: str, event: str) -> float:
            assert process.stdin is not None
            begun = time.perf_counter()
            process.stdin.write(word + "\n")
            process.stdin.flush()
            for line in process.stdout or ():
                if json.loads(line)["event"] == event:
                    return time.perf_counter() - begun
            raise RuntimeError("the log ended")

        say("batch", "batch")
        delays = [
            say(word, event)
            for _ in range(WORDS // 2)
            for word, event in (("front 1", "estimate"), ("undo", "undone"))
        ]
        process.stdin.close()
    return delays


def _by_events(drawn: Drawn, roles: Roles, buckets: int, r: int) -> float:
    env = simpy.Environment()
    counts = {
        "vessels": buckets,
        "mixing": roles.mixing,
        "carrying": roles.carrying,
        "spreading": roles.spreading,
    }
    pools = {name: simpy.Resource(env, count) for name, count in counts.items()}
    turns = {name: [env.event() for _ in range(BATCHES + 1)] for name in pools}
    for waiting in turns.values():
        waiting[0].succeed()
    spread = [0.0] * BATCHES

    def take(name: str, n: int):  # type: ignore[no-untyped-def]
        yield turns[name][n]
        request = pools[name].request()
        yield request
        turns[name][n + 1].succeed()
        return request

    def wait(n: int, *steps: str) -> simpy.Timeout:
        return env.timeout(float(sum(getattr(drawn, step)[n, r] for step in steps)))

    def rake(n: int):  # type: ignore[no-untyped-def]
        hand = yield from take("spreading", n)
        yield wait(n, "spread")
        spread[n] = env.now
        yield wait(n, "deair")
        pools["spreading"].release(hand)

    def batch(n: int):  # type: ignore[no-untyped-def]
        vessel = yield from take("vessels", n)
        hand = yield from take("mixing", n)
        yield wait(n, "water", "powder", "mix")
        pools["mixing"].release(hand)
        yield wait(n, "slake")
        hand = yield from take("carrying", n)
        yield wait(n, "carry", "pour")
        env.process(rake(n))
        yield wait(n, "back")
        pools["carrying"].release(hand)
        pools["vessels"].release(vessel)

    for n in range(BATCHES):
        env.process(batch(n))
    env.run()
    return max(spread)
