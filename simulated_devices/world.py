"""The whole invented world in simulated time: floor, laser, rod, whoever moves it, and faults.

`World.step` moves time on and returns what the rod has sent; `World.event` tells the installer what
the tool said. There is no clock and no port in here.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from simulated_devices import Refused, faults
from simulated_devices.encode import MM_PER_IN, encoder
from simulated_devices.floor import Floor, make_floor
from simulated_devices.laser import Laser, random_drift, random_slope
from simulated_devices.motion import Spot
from simulated_devices.points_walk import Point, PointsWalk, StandStill
from simulated_devices.rod import Pose, Rod
from simulated_devices.site import Site
from simulated_devices.steered import Steered
from simulated_devices.walker import Walker

ROOM_MM = (3657.6, 4572.0)  # 12 ft by 15 ft
LINE_MM = 44.45  # 1 3/4 in over the high point (common practice, no source)
CLAMP_MM = 60.0
BATTERY_PERCENT, LOW_BATTERY_PERCENT = 76, 8


class Mover(Protocol):
    """Whoever moves the rod."""

    spot: Spot | None
    stand: str

    def next_time(self) -> float: ...
    def advance(self, time_s: float) -> None: ...
    def pose(self, time_s: float) -> Pose: ...
    def take_presses(self) -> int: ...
    def event(self, told: Mapping[str, Any], time_s: float) -> None: ...


@dataclass(frozen=True, slots=True)
class Sent:
    """What went out over the link at a moment."""

    time_s: float
    data: bytes


@dataclass(frozen=True)
class TrueShot:
    """Where the foot really stood when the tool said that it took a shot, and the true reading."""

    label: str
    x_mm: float
    y_mm: float
    time_s: float
    floor_mm: float
    line_mm: float
    undone: bool = False


@dataclass(frozen=True)
class TrueMarker:
    """Where the top of a screw really was when the tool said that it is set."""

    label: str
    x_mm: float
    y_mm: float
    time_s: float
    top_mm: float
    line_mm: float
    unset: bool = False


@dataclass
class World:
    """See `make_world` for the parts; `step` and `event` are all that a caller needs."""

    seed: int
    site: Site
    laser: Laser
    rod: Rod
    mover: Mover
    rate_hz: float
    write: Any
    chosen: faults.Chosen = field(default_factory=dict)
    time_s: float = 0.0
    shots: list[TrueShot] = field(default_factory=list)
    markers: list[TrueMarker] = field(default_factory=list)
    changes: int = 0
    lines: bool = True  # messages are lines rather than packets
    lockstep: bool = False  # a press waits for the next regular message
    heard_s: float | None = 0.0  # since when somebody listens; None: nobody has yet
    listening: bool = True  # what is sent now arrives somewhere

    def __post_init__(self) -> None:
        self._ticks = self._presses = 0
        self._samples = faults.FaultySamples(self.chosen, self.seed)
        self._bytes = faults.FaultyBytes(self.chosen, self.seed, self.lines)
        self._link = faults.Link(self.chosen)

    def step(self, time_s: float) -> bytes:
        """Move time on to `time_s` (seconds since the start); return the bytes sent till then."""
        return b"".join(sent.data for sent in self.advance(time_s))

    def advance(self, time_s: float) -> list[Sent]:
        """As `step`, each message with its own time."""
        out: list[Sent] = []
        while (now := self.next_time()) <= time_s:
            self.time_s = now
            if self.mover.next_time() <= now:
                self.mover.advance(now)
                self._presses += self.mover.take_presses()
                while self._presses and not self.lockstep:
                    self._presses -= 1
                    self._send(now, True, out)
            else:
                self._ticks += 1
                pressed = self._presses > 0
                self._presses -= pressed
                self._send(now, pressed, out)
        self.time_s = max(self.time_s, time_s)
        return out

    def beat(self) -> list[Sent]:
        """Move time on to the next regular message, which is sent."""
        return self.advance(self._ticks / self.rate_hz)

    def next_time(self) -> float:
        """When the next message or movement is due."""
        return min(self._ticks / self.rate_hz, self.mover.next_time())

    def link_up(self) -> bool:
        """Whether the device is there at present (the fault `drop` takes it away)."""
        return self._link.up(self.time_s)

    def listen(self) -> None:
        """Somebody listens from now on: the faults' time, which stood at 0, runs."""
        if self.heard_s is None:
            self.heard_s = self.time_s

    def fault_time(self, time_s: float) -> float:
        """Seconds since somebody listens."""
        return 0.0 if self.heard_s is None else max(0.0, time_s - self.heard_s)

    def away(self, fault: str) -> bool:
        """Whether what a fault takes away for a while (its seconds, its time) is away now."""
        if fault not in self.chosen:
            return False
        seconds, from_s = self.chosen[fault]
        return from_s <= self.fault_time(self.time_s) < from_s + seconds

    def battery_percent(self) -> int:
        """How full the rod's battery is."""
        from_s = self.chosen["battery"][0] if "battery" in self.chosen else math.inf
        low = self.fault_time(self.time_s) >= from_s
        return LOW_BATTERY_PERCENT if low else BATTERY_PERCENT

    def event(self, told: Mapping[str, Any]) -> None:
        """Hear one event of the tool, now: the truth is noted, the installer acts on it later."""
        kind = told.get("event")
        label = str(told.get("label") or told.get("marker") or "")
        self.mover.event(told, self.time_s)
        if kind == "shot":
            self._note_shot(label)
        elif kind == "undone":
            self._strike(self.shots, label, "undone")
        elif kind == "set":
            self._note_marker(label)
        elif kind == "unset":
            self._strike(self.markers, label, "unset")

    def _send(self, now: float, pressed: bool, out: list[Sent]) -> None:
        pose = self.mover.pose(now)
        line = float(self.laser.line_mm(pose.x_mm, pose.y_mm, now))
        fault_s = self.fault_time(now)
        sample = self.rod.sample(now, pose, line, pressed, self.mover.stand)
        sample = replace(sample, time_s=fault_s)
        for passed in self._samples.pass_on(sample):
            if self._link.up(now):
                out.append(Sent(now, self._bytes.pass_on(self.write(passed), fault_s)))
                if self.listening:
                    self._link.sent(now)

    def _note_shot(self, label: str) -> None:
        spot = self.mover.spot
        if spot is None:
            return
        line = float(self.laser.line_mm(spot.x_mm, spot.y_mm, self.time_s))
        self.shots.append(TrueShot(label, spot.x_mm, spot.y_mm, self.time_s, spot.foot_mm, line))
        self.changes += 1
        if "jolt" in self.chosen and len(self.shots) == int(self.chosen["jolt"][1]):
            self.laser.jolt(self.time_s, self.chosen["jolt"][0])

    def _note_marker(self, label: str) -> None:
        screw = self.site.markers.get(label)
        if screw is None:
            return
        line = float(self.laser.line_mm(screw.x_mm, screw.y_mm, self.time_s))
        self.markers.append(
            TrueMarker(label, screw.x_mm, screw.y_mm, self.time_s, screw.top_mm, line)
        )
        self.changes += 1

    def _strike(self, rows: list[Any], label: str, how: str) -> None:
        for n in range(len(rows) - 1, -1, -1):
            if label in ("", rows[n].label) and not getattr(rows[n], how):
                rows[n] = replace(rows[n], **{how: True})
                self.changes += 1
                return


def make_world(
    *,
    seed: int = 1,
    floor: Floor | None = None,
    room_mm: tuple[float, float] = ROOM_MM,
    kind: str = "subfloor",
    profile: str = "sentence",
    rate_hz: float = 10.0,
    unit: str = "mm",
    resolution_mm: float | None = None,
    noise_mm: float = 0.15,
    clamp_mm: float = CLAMP_MM,
    line_over_floor_mm: float = LINE_MM,
    laser_mm: tuple[float, float] | None = None,
    slope_mm_per_m: tuple[float, float] | None = None,
    cone_mm_per_m: float = 0.0,
    drift_mm_per_h: float = 0.3,
    fault: Iterable[str] = (),
    follow: bool = False,
    steered: bool = False,
    points: Sequence[Point] | None = None,
    stand_s: float = 3.0,
    mistakes: float = 0.04,
    over: str = "serial",
    lockstep: bool = False,
) -> World:
    """Put a world together.

    With `steered` a person moves the rod. With `follow` the installer does what the tool says,
    and `points` are places that he knows beforehand; without either he walks the `points`, or,
    where there are none, stands in the middle of the room.

    Parameters
    ----------
    seed : int
        Of the floor, the laser's errors, the noise and the installer.
    floor : Floor, optional
        A floor of one's own; otherwise one is invented over `room_mm`.
    rate_hz : float
        Messages a simulated second.
    resolution_mm : float, optional
        One step of the display; 0.1 mm, or 0.01 in on a rod that shows inches.
    line_over_floor_mm : float
        The line's height over the floor's highest place.
    slope_mm_per_m, drift_mm_per_h
        The laser's own errors; a slope within 0.05 mm/m either way unless said.
    mistakes : float
        Share of the installer's walks on which he errs.
    over : {'serial', 'ble'}
        The link, for the faults that can befall it.
    lockstep : bool
        Time goes on by one message at a time, see `pace.Lockstep`.

    Raises
    ------
    Refused
        For anything that cannot be simulated.
    """
    for what, value, low, high in (
        ("rate", rate_hz, 0.1, 10_000.0),
        ("noise", noise_mm, 0.0, 1000.0),
        ("resolution", resolution_mm if resolution_mm is not None else 0.1, 1e-4, 100.0),
        ("line over the floor", line_over_floor_mm, 1.0, 2900.0),
        ("clamp height", clamp_mm, 0.0, 5000.0),
        ("time of a stand", stand_s, 0.1, 3600.0),
        ("cone", cone_mm_per_m, -10.0, 10.0),
        ("drift", drift_mm_per_h, 0.0, 100.0),
        ("share of mistakes", mistakes, 0.0, 1.0),
    ):
        if not (math.isfinite(value) and low <= value <= high):
            raise Refused(f"The {what} must be between {low:g} and {high:g}, not {value:g}.")
    if floor is None:
        floor = make_floor(seed, *room_mm, kind)
    inches = profile == "decimal-in" or (profile == "sentence" and unit == "in")
    if resolution_mm is None:
        resolution_mm = 0.01 * MM_PER_IN if inches else 0.1

    site = Site(floor, seed)
    place = laser_mm or site.middle
    slope = slope_mm_per_m if slope_mm_per_m is not None else random_slope(seed)
    laser = Laser(
        place[0],
        place[1],
        floor.highest_mm() + line_over_floor_mm,
        slope_x_mm_per_m=slope[0],
        slope_y_mm_per_m=slope[1],
        cone_mm_per_m=cone_mm_per_m,
        drift=random_drift(seed, drift_mm_per_h),
    )
    chosen = faults.parse_faults(fault, over)
    if lockstep and (chosen or not follow):
        raise Refused("--lockstep goes with --follow and without faults: each word is one message.")
    rod = Rod(resolution_mm=resolution_mm, noise_mm=noise_mm, seed=seed)
    faults.apply_to_rod(rod, chosen)

    mover: Mover
    if steered:
        mover = Steered(site, seed)
    elif follow:
        site.places.update({point.label: (point.x_mm, point.y_mm) for point in points or ()})
        mover = Walker(site, seed, mistakes=mistakes)
    elif points:
        mover = PointsWalk(site, seed, points, stand_s)
    else:
        mover = StandStill(site, *site.middle)
    write = encoder(profile, unit=unit, resolution_mm=rod.resolution_mm, clamp_mm=clamp_mm)
    lines = profile != "gatt-rod"
    return World(
        seed, site, laser, rod, mover, rate_hz, write, chosen, lines=lines, lockstep=lockstep
    )
