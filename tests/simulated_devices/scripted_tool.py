"""A minimal tool to lead the simulated installer: reads sentences, takes shots, sets markers.

It is deliberately crude and shares no code with the product; time is the messages' own.
"""

import math
from collections import deque
from functools import reduce
from typing import Any, TypeVar

from simulated_devices.world import World

STILL_S, STILL_MM, AWAY_S = 1.0, 0.9, 1.0


def read_sentence(line: bytes) -> tuple[int, float | None, str] | None:
    """Seq, value in mm or None, status; None for a line that is not whole."""
    text = line.decode("latin-1").strip()
    if not text.startswith("$") or text[-3:-2] != "*":
        return None
    body = text[1:-3]
    if f"{reduce(lambda a, b: a ^ b, body.encode('latin-1'), 0):02X}" != text[-2:]:
        return None
    word, seq, value, unit, status = body.split(",")
    if word != "U0HGT":
        return None
    return int(seq), float(value) * (25.4 if unit == "in" else 1.0) if value else None, status


class _Stillness:
    def __init__(self) -> None:
        self.window: deque[tuple[float, float]] = deque()
        self.presses: list[Any] = []
        self.no_beam_since: float | None = None
        self.away = math.inf  # armed at once
        self.last: float | None = None

    def hear(self, time_s: float, value: float | None, status: str) -> int:
        """Presses that have come to an end, else 0."""
        if status == "B":
            self.presses.append(time_s)
        if value is None:
            self.no_beam_since = time_s if self.no_beam_since is None else self.no_beam_since
            self.away = max(self.away, time_s - self.no_beam_since)
            self.window.clear()
        else:
            self.no_beam_since = None
            if self.last is not None and abs(value - self.last) > 5.0:
                self.away = math.inf
            self.window.append((time_s, value))
            while self.window[0][0] < time_s - STILL_S - 1e-9:
                self.window.popleft()
        if self.presses and time_s - self.presses[-1] > 1.0:
            presses, self.presses = len(self.presses), []
            return presses
        return 0

    @property
    def steady_mm(self) -> float | None:
        values = [value for _, value in self.window]
        if len(values) < 9 or self.window[-1][0] - self.window[0][0] < STILL_S - 0.15:
            return None
        if max(values) - min(values) > STILL_MM:
            return None
        return sum(values) / len(values)


class SurveyTool:
    """Walks the installer through points; every event it says is in `said`."""

    def __init__(self, points: list[tuple[str, float, float]]) -> None:
        self.points = points
        self.index = 0
        self.still = _Stillness()
        self.readings: dict[Any, Any] = {}
        self.said: list[Any] = []
        self.finished = False

    def start(self) -> list[dict[str, Any]]:
        return [self._say("armed", self.points[0])]

    def reading(self, time_s: float, value: float | None, status: str) -> list[dict[str, Any]]:
        presses = self.still.hear(time_s, value, status)
        if presses == 2 and self.index > 0:
            self.index -= 1
            self.finished = False
            self.still.away = 0.0
            self.still.last = None
            return [self._say("undone", self.points[self.index]), self._next()]
        steady = self.still.steady_mm
        if steady is None or self.finished or self.still.away < AWAY_S:
            return []
        point = self.points[self.index]
        self.readings[point[0]] = steady
        self.index += 1
        self.still.away, self.still.last = 0.0, steady
        told = [self._say("shot", point, reading_mm=steady)]
        if self.index == len(self.points):
            self.finished = True
        else:
            told.append(self._next())
        return told

    def _next(self) -> dict[str, Any]:
        return self._say("next", self.points[self.index])

    def _say(self, event: str, point: tuple[str, float, float], **more: float) -> dict[str, Any]:
        told = {"event": event, "label": point[0], "x_mm": point[1], "y_mm": point[2], **more}
        self.said.append(told)
        return told


class SettingTool:
    """Leads from marker to marker; a marker is set when it is steady at the target reading."""

    def __init__(
        self,
        markers: list[tuple[str, float, float]],
        target_mm: float,
        check: tuple[str, float, float] | None = None,
        tolerance_mm: float = 1.0,
        surely_mm: float = 0.5,
    ) -> None:
        self.markers = markers
        self.target_mm = target_mm
        self.check = check
        self.tolerance_mm = tolerance_mm
        self.surely_mm = surely_mm
        self.index = 0
        self.still = _Stillness()
        self.said: list[Any] = []
        self.seen_out = False
        self.prompted_s = -math.inf
        self.finished = False

    def start(self) -> list[dict[str, Any]]:
        if self.check:
            return [self._say("check", label=self.check[0], x_mm=self.check[1], y_mm=self.check[2])]
        return [self._next()]

    def reading(self, time_s: float, value: float | None, status: str) -> list[dict[str, Any]]:
        presses = self.still.hear(time_s, value, status)
        steady = self.still.steady_mm
        if presses == 2 and self.index > 0:
            self.index -= 1
            self.seen_out = self.finished = False
            self.still.away, self.still.last = 0.0, None
            return [self._say("unset", marker=self.markers[self.index][0]), self._next()]
        if self.finished:
            return []
        if self.check:
            if steady is None:
                return []
            self.check = None
            self.still.away, self.still.last = 0.0, steady
            return [self._say("checked", difference_mm=0.0), self._next()]
        if steady is None or self.still.away < AWAY_S:
            return []
        label = self.markers[self.index][0]
        high = self.target_mm - steady  # a small reading is a top that stands too high
        if abs(high) <= self.tolerance_mm and (self.seen_out or presses == 1):
            self.index += 1
            self.seen_out = False
            self.still.away, self.still.last = 0.0, steady
            told = [self._say("set", marker=label, residual_mm=high)]
            if self.index == len(self.markers):
                self.finished = True
                return [*told, self._say("done")]
            return [*told, self._next()]
        if time_s - self.prompted_s < 1.0:
            return []
        self.prompted_s = time_s
        if abs(high) <= self.tolerance_mm:
            return [self._say("ask", marker=label)]
        # Well out: the last marker may stand at the very edge of the tolerance.
        self.seen_out |= abs(high) > self.tolerance_mm + self.surely_mm
        move = "lower" if high > 0 else "raise"
        return [self._say("prompt", marker=label, move=move, by_mm=abs(high))]

    def _next(self) -> dict[str, Any]:
        label, x, y = self.markers[self.index]
        return self._say("next", marker=label, x_mm=x, y_mm=y)

    def _say(self, event: str, **more: float | str) -> dict[str, Any]:
        told = {"event": event, **more}
        self.said.append(told)
        return told


Tool = TypeVar("Tool", "SettingTool", "SurveyTool")


def lead(world: World, tool: Tool, longest_s: float = 2000.0, dt_s: float = 0.05) -> Tool:
    """Run world and tool in simulated time until the tool has finished."""
    for told in tool.start():
        world.event(told)
    time_s = world.time_s
    begun = time_s
    while not tool.finished and time_s - begun < longest_s:
        time_s += dt_s
        for sent in world.advance(time_s):
            for line in sent.data.split(b"\r\n"):
                message = read_sentence(line) if line else None
                if message:
                    for told in tool.reading(sent.time_s, message[1], message[2]):
                        world.event(told)
    return tool
