"""A rod over Bluetooth LE: nothing lost at 200 a second, drops survived, the event loop kept free.

The unmodified Bluetooth library on a stand-in BlueZ: no radio. `FULL=1` runs 60 s and 100 drops.
"""

import asyncio
import contextlib
import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from rig.devices.ble import BleTransport
from rig.devices.clock import Clock
from rig.devices.decoder import Decoder
from rig.devices.profile import load_profile
from rig.devices.reading import Back, Lost, Reading
from rig.devices.stream import supervise

FULL = bool(os.environ.get("FULL"))
SECONDS, DROPS = (60.0, 100) if FULL else (12.0, 25)
RATE_HZ, AWAY_S = 200, 0.6
PROFILE = load_profile("gatt-rod")


def run() -> list[dict[str, object]]:
    bare = asyncio.run(_bare(5.0)) if not FULL else asyncio.run(_bare(20.0))
    with _rod() as address:
        steady = asyncio.run(_steady(address, SECONDS))
    with _rod("--fault", f"drop=20:{AWAY_S}:{DROPS}") as address:
        drops = asyncio.run(_drops(address))
    late = sorted(drops["late"])
    return [
        {
            "what": f"lost of {steady['count']} at {RATE_HZ}/s",
            "value": steady["missed"] + steady["bad"],
            "against": f"aim 0 in {SECONDS:g} s",
        },
        {
            "what": "processor time a notification, ratio",
            "value": round(steady["cpu_us"] / bare, 2),
            "against": f"the Bluetooth library's own callback ({bare:.0f} µs)",
        },
        {
            "what": "longest hold of the event loop, ms",
            "value": round(1000 * steady["hold_s"], 1),
            "against": f"aim under 10; processor time {1000 * steady['hold_cpu_s']:.1f} ms",
        },
        {
            "what": "drops survived",
            "value": f"{drops['back']} of {drops['lost']}",
            "against": f"aim all of {DROPS}",
        },
        {
            "what": "descriptors, memory kB after the drops",
            "value": f"{drops['descriptors']:+d}, {drops['kb']:+d}",
            "against": "since the third drop; aim flat",
        },
        {
            "what": "rod back to first reading, s: median, worst",
            "value": f"{statistics.median(late):.2f}, {late[-1]:.2f}",
            "against": "aim under 1",
        },
        {
            "what": "longest hold of the event loop in drops, ms",
            "value": round(1000 * drops["hold_s"], 1),
            "against": f"aim under 10; processor time {1000 * drops['hold_cpu_s']:.1f} ms",
        },
    ]


@contextlib.contextmanager
def _rod(*words: str) -> Iterator[str]:
    """Run a simulated rod on a bus of its own; yield its address."""
    command = [sys.executable, "-m", "simulated_devices", "ble", "--rate", str(RATE_HZ), *words]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).resolve().parents[2]
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()
        name, _, bus = process.stdout.readline().strip().partition("=")
        os.environ[name] = bus
        try:
            yield process.stdout.readline().strip()
        finally:
            del os.environ[name]
            process.terminate()


async def _bare(seconds: float) -> float:
    """Microseconds of processor time a notification with the Bluetooth library alone."""
    from bleak import BleakClient, BleakScanner

    with _rod() as address:
        device = await BleakScanner.find_device_by_address(address)
        assert device is not None
        assert PROFILE.ble_value is not None
        count = 0

        def arrived(characteristic: Any, data: bytearray) -> None:
            nonlocal count
            count += 1

        async with BleakClient(device) as client:
            await client.start_notify(PROFILE.ble_value, arrived)
            await asyncio.sleep(0.5)
            count, begun = 0, time.process_time()
            await asyncio.sleep(seconds)
            return 1e6 * (time.process_time() - begun) / count


async def _steady(address: str, seconds: float) -> dict[str, Any]:
    decoder = Decoder(PROFILE)
    stream = supervise(BleTransport(address, PROFILE), decoder, Clock())
    count = missed = bad = 0
    with _holds() as holds:
        async with contextlib.aclosing(stream):
            await anext(stream)
            await asyncio.sleep(0.5)
            begun, cpu = time.monotonic(), time.process_time()
            async for item in stream:
                if isinstance(item, Reading):
                    count += 1
                    missed += item.missed
                    bad += item.status == "bad"
                if time.monotonic() - begun >= seconds:
                    break
            cpu = time.process_time() - cpu
    return {"count": count, "missed": missed, "bad": bad, "cpu_us": 1e6 * cpu / count} | holds


async def _drops(address: str) -> dict[str, Any]:
    stream = supervise(BleTransport(address, PROFILE), Decoder(PROFILE), Clock())
    lost = back = 0
    deadline = time.monotonic() + 5.0 * DROPS
    late: list[float] = []
    settled = (0, 0)
    with _holds() as holds:
        async with contextlib.aclosing(stream):
            async for item in stream:
                lost += isinstance(item, Lost)
                if isinstance(item, Back):
                    back += 1
                    late.append(item.gap_s - AWAY_S)
                    if back == 3:
                        settled = _resources()
                if back == DROPS or time.monotonic() > deadline:
                    break
            descriptors, kb = _resources()
    found = {"descriptors": descriptors - settled[0], "kb": kb - settled[1]}
    return {"lost": lost, "back": back, "late": late, **found, **holds}


def _resources() -> tuple[int, int]:
    """Open descriptors, and resident memory in kB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return len(os.listdir("/proc/self/fd")), pages * resource.getpagesize() // 1024


@contextlib.contextmanager
def _holds() -> Iterator[dict[str, float]]:
    """Find the callback that held the event loop longest, by the clock and by the processor."""
    found = {"hold_s": 0.0, "hold_cpu_s": 0.0}
    original = asyncio.events.Handle._run

    def timed(handle: asyncio.Handle) -> None:
        begun, cpu = time.perf_counter(), time.thread_time()
        original(handle)
        found["hold_s"] = max(found["hold_s"], time.perf_counter() - begun)
        found["hold_cpu_s"] = max(found["hold_cpu_s"], time.thread_time() - cpu)

    asyncio.events.Handle._run = timed  # type: ignore[method-assign, assignment]
    try:
        yield found
    finally:
        asyncio.events.Handle._run = original  # type: ignore[method-assign]
