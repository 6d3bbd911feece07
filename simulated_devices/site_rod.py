"""A rod of a site with its box and its installer, who goes where the session says.

It speaks `sentence` over MQTT 5 from the wire format and the topics alone, and knows nothing of the
product. It runs by the wall clock.
"""

import contextlib
import json
import math
import random
import secrets
import signal
import ssl
import threading
import time
import tomllib
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from simulated_devices.encode import sentence
from simulated_devices.floor import make_floor
from simulated_devices.rod import Sample, Status

BENCHMARK_MM = 900.0
"""What a rod whose zero is 0 reads on the benchmark."""
Height = Callable[[float, float], float]


class SiteRod:
    """One rod.

    Parameters
    ----------
    invitation : Path
        Of this rod, or a session's, for a rod by another name.
    reading_mm : callable
        What a rod whose zero is 0 reads at x, y.
    name : str, optional
    zero_mm : float
        What this rod reads more.
    rate_hz, noise_mm, walk_mm_s, least_walk_s : float
        How often it reads, how it jitters, and how its installer walks.
    seed : int
    twice : bool
        Each message is sent two times.
    delay_s : float
        Messages wait at random up to so long before they are sent, in their order.
    job : str, optional
        The job to work for, else the one that calls.
    """

    def __init__(
        self,
        invitation: Path,
        reading_mm: Height,
        *,
        name: str | None = None,
        zero_mm: float = 0.0,
        rate_hz: float = 20.0,
        noise_mm: float = 0.05,
        walk_mm_s: float = 1500.0,
        least_walk_s: float = 0.5,
        seed: int = 0,
        twice: bool = False,
        delay_s: float = 0.0,
        job: str | None = None,
    ) -> None:
        from paho.mqtt.client import Client, MQTTv5
        from paho.mqtt.enums import CallbackAPIVersion

        told = tomllib.loads(Path(invitation).read_text())
        self.name = name or told["name"]
        self._reading_mm, self._zero_mm, self._period_s = reading_mm, zero_mm, 1.0 / rate_hz
        self._noise_mm, self._walk_mm_s, self._least_s = noise_mm, walk_mm_s, least_walk_s
        self._rng, self._twice, self._delay_s = random.Random(seed), twice, delay_s
        self._boot, self._n, self._seq = secrets.token_hex(4), 0, 0
        self._begun_s = time.monotonic()
        self._job, self._fixed = job or "", job is not None
        self._at: tuple[float, float] | None = None
        self._goal: tuple[float | None, float | None] | None = None
        self._goal_label = ""
        self._arrives_s = math.inf
        self._under_way: deque[tuple[float, bytes, float, int]] = deque()
        self._answers: list[float] = []
        self._stop = threading.Event()
        self.silent = threading.Event()
        self.heard: list[dict[str, Any]] = []
        client = Client(CallbackAPIVersion.VERSION2, f"sim-{self._boot}", protocol=MQTTv5)
        client.username_pw_set(told["name"], told["password"])
        context = ssl.create_default_context(cadata=told["certificate"])
        client.tls_set_context(context)
        client.on_connect = self._on_connect
        client.on_message = self._on_message
        client.on_socket_open = _at_once
        client.reconnect_delay_set(1, 1)
        where = urlsplit(told["url"])
        client.connect(where.hostname or "", where.port or 8883)
        self._client = client
        self._thread = threading.Thread(target=self._play, daemon=True)

    def __enter__(self) -> "SiteRod":
        self._client.loop_start()
        self._thread.start()
        return self

    def __exit__(self, *_: Any) -> None:
        self._stop.set()
        self._thread.join()
        self._client.publish(self._topic("link"), b"", 1, True).wait_for_publish(1.0)
        self._client.disconnect()
        self._client.loop_stop()

    def time_s(self, monotonic_s: float | None = None) -> float:
        """Return the box's steady time, now or at a time of this machine's own."""
        return (time.monotonic() if monotonic_s is None else monotonic_s) - self._begun_s

    def on_event(self, event: dict[str, Any]) -> None:
        """Hear what the session tells; what stands there in retained words is not told anew."""

    def press(self, count: int = 1) -> None:
        """Press the button."""
        for _ in range(count):
            self._send(self._said(None, "B"))

    def act(self, name: str, argument: str | None = None) -> None:
        """Act at the box."""
        told = {"act": name, "argument": argument, "id": secrets.token_hex(8)}
        self._client.publish(self._topic("act"), json.dumps(told), 1)

    # --- the installer ----------------------------------------------------------------------

    def _play(self) -> None:
        due_s = self.time_s()
        while not self._stop.is_set():
            due_s += self._period_s
            self._stop.wait(max(0.0, due_s - self.time_s()))
            if self.silent.is_set():
                continue
            at_s = self.time_s()
            if self._answers and self._answers[0] <= at_s:
                self._answers.clear()
                self.act("accept")
            goes_s = at_s + self._rng.uniform(0.0, self._delay_s)
            if self._under_way:
                goes_s = max(goes_s, self._under_way[-1][0])  # none overtakes another
            self._under_way.append((goes_s, self._line(), at_s, self._count()))
            while self._under_way and self._under_way[0][0] <= at_s:
                _, line, said_s, n = self._under_way.popleft()
                self._send(line, said_s, n)

    def _line(self) -> bytes:
        goal, now_s = self._goal, self.time_s()
        if goal is None or now_s < self._arrives_s:
            return self._said(None, "N")
        if goal[0] is None or goal[1] is None:
            height_mm = BENCHMARK_MM
        else:
            self._at = (goal[0], goal[1])
            height_mm = self._reading_mm(*self._at)
        height_mm += self._zero_mm + self._rng.gauss(0.0, self._noise_mm)
        return self._said(height_mm, "V")

    def _go(self, told: dict[str, Any]) -> None:
        label = str(told.get("label", told.get("marker", "")))
        if label == self._goal_label:
            return
        self._goal_label = label
        x_mm, y_mm = told.get("x_mm"), told.get("y_mm")
        way_mm = 0.0
        if self._at is not None and x_mm is not None and y_mm is not None:
            way_mm = math.dist(self._at, (x_mm, y_mm))
        self._arrives_s = self.time_s() + max(self._least_s, way_mm / self._walk_mm_s)
        self._goal = (x_mm, y_mm)

    # --- the box ----------------------------------------------------------------------------

    def _count(self) -> int:
        self._n += 1
        return self._n

    def _said(self, value_mm: float | None, status: Status) -> bytes:
        self._seq = (self._seq + 1) % 65536
        return sentence(Sample(self.time_s(), self._seq, value_mm, status), digits=2)

    def _topic(self, what: str) -> str:
        return f"rig/1/{self._job or '-'}/rod/{self.name}/{what}"

    def _send(self, line: bytes, at_s: float | None = None, n: int | None = None) -> None:
        n = self._count() if n is None else n
        told = _properties("PUBLISH")
        time_s = self.time_s() if at_s is None else at_s
        told.UserProperty = [("n", str(n)), ("t", f"{time_s:.6f}"), ("b", self._boot)]
        told.MessageExpiryInterval = 10
        if not self._client.is_connected():
            return
        for _ in range(2 if self._twice else 1):
            self._client.publish(self._topic("said"), line.rstrip(b"\r\n"), 1, False, told)

    def _tell_link(self) -> None:
        told = {"link": "here", "boot": self._boot}
        self._client.publish(self._topic("link"), json.dumps(told), 1, True)

    def _on_connect(self, client: Any, *_: Any) -> None:
        client.subscribe([(f"rig/1/+/rod/{self.name}/{what}", _options()) for what in _HEARD])
        self._tell_link()

    def _on_message(self, client: Any, _: Any, message: Any) -> None:
        _, _, job, _, _, what = message.topic.split("/")
        if what == "ask":
            answer = json.dumps({"t": self.time_s(), "boot": self._boot, "rod": self.name})
            told = _properties("PUBLISH")
            told.CorrelationData = message.properties.CorrelationData
            client.publish(message.properties.ResponseTopic, answer, 0, False, told)
            return
        if not message.payload:
            return
        event = json.loads(message.payload)
        if what == "now" and not self._fixed and job != self._job:
            client.publish(self._topic("link"), b"", 1, True)
            self._job = job
            self._tell_link()
        self.heard.append(event)
        if what == "told":
            self.on_event(event)
        if event.get("event") == "ask":  # the installer knows where he stands
            self._answers.append(self.time_s() + 0.5)
        if event.get("event") in ("next", "armed", "check"):
            self._go(event)


def serve(invitations: list[Path], seed: int, zero_mm: float, room_mm: tuple[float, float]) -> None:
    """Serve a rod for each invitation, on one invented floor, until stopped."""
    floor = make_floor(seed, *room_mm)

    def reading_mm(x_mm: float, y_mm: float) -> float:
        return 1000.0 - float(floor.height_mm(x_mm, y_mm))

    with contextlib.ExitStack() as stack:
        for n, invitation in enumerate(invitations):
            # A step is never too short to be told from standing.
            rod = SiteRod(
                invitation, reading_mm, zero_mm=n * zero_mm, seed=seed + n, least_walk_s=1.0
            )
            stack.enter_context(rod)
        print(f"{len(invitations)} rods", flush=True)
        signal.sigwait({signal.SIGTERM, signal.SIGINT})


_HEARD = ("now", "told", "ask")


def _at_once(_: Any, __: Any, opened: Any) -> None:
    import socket

    opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _properties(packet: str) -> Any:
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    return Properties(getattr(PacketTypes, packet))  # type: ignore[no-untyped-call]


def _options() -> Any:
    from paho.mqtt.subscribeoptions import SubscribeOptions

    return SubscribeOptions(qos=1)
