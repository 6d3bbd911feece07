"""Make the library of traces anew: `python -m tests.traces.make`, run at the project's root.

One walk over the four corners of a small room for each fault, in simulated time, so that the same
seed always makes the same files. `shots.json` beside them is what a replay must reach; with `shots`
as an argument only that is made, of the traces as they are.
"""

import json
import sys
import tempfile
from pathlib import Path
from typing import Any

from rig.devices.profile import load_profile
from rig.devices.reading import Back, Lost
from rig.devices.trace import TraceWriter
from simulated_devices.faults import FAULTS
from simulated_devices.points_walk import Point, PointsWalk
from simulated_devices.world import make_world
from tests.bluetooth import rig

HERE = Path(__file__).parent
BEGUN_UTC_S = 1_750_000_000.0
NEW = ["new", "--room", "2m,2m", "--units", "mm", "--json"]
GRID = ["grid", "--spacing", "1.8m", "--json"]
SURVEY = ["survey", "--dwell", "1", "--walk", "1", "--json"]
CORNERS = [("A1", 150, 150), ("B1", 1850, 150), ("B2", 1850, 1850), ("A2", 150, 1850)]

# Values with which the fault falls into a walk of twenty seconds.
FAULTY = {"drop": "60:3", "noend": "2:5", "stick": "4:11", "jump": "60:8", "beam": "2:6",
          "clock": "8", "wrap": "60", "unit": "8", "drift": "60", "noisy": "3"}  # fmt: skip
# It comes after so many shots of a survey that the simulator hears: no trace can hold it.
UNTRACED = {"jolt"}
PACKETS = ("", "drop", "corrupt", "noise", "double", "reorder", "battery", "clock", "wrap")


def traces() -> dict[str, tuple[str, str]]:
    """File name to profile and fault, for every trace of the library."""
    names = ["", *(name for name, fault in FAULTS.items() if "serial" in fault.over)]
    names = [name for name in names if name not in UNTRACED]
    both = {("sentence", name) for name in names} | {("gatt-rod", name) for name in PACKETS}
    return {f"{profile}-{name or 'plain'}.trace": (profile, name) for profile, name in sorted(both)}


def make(path: Path, profile: str, fault: str) -> None:
    """Write one trace."""
    world = make_world(
        seed=3,
        room_mm=(2000.0, 2000.0),
        profile=profile,
        points=[Point(label, float(x), float(y)) for label, x, y in CORNERS],
        stand_s=2.5,
        fault=[f"{fault}={FAULTY[fault]}" if fault in FAULTY else fault] if fault else [],
    )
    assert isinstance(world.mover, PointsWalk)
    world.mover.begin(0.0)
    path.unlink(missing_ok=True)
    up, last_s, rest = True, 0.0, b""
    with TraceWriter(path, load_profile(profile), started_utc_s=BEGUN_UTC_S, units="mm") as writer:
        for tick in range(220):
            now = tick / 10.0
            for sent in world.advance(now):
                if not up:
                    writer.link(Back(sent.time_s, 0.0, sent.time_s - last_s))
                    up, rest = True, b""
                last_s = sent.time_s
                if profile == "gatt-rod":
                    writer.write(sent.time_s, sent.data.hex())
                    continue
                *lines, rest = (rest + sent.data).replace(b"\r", b"\n").split(b"\n")
                for line in filter(None, lines):
                    writer.write(sent.time_s, line[:512].decode("latin-1"))
            if up and not world.link_up():
                up = False
                writer.link(Lost(now, 0.0, "unplugged"))


def main() -> None:
    """Make the traces, and what a replay reaches."""
    kept = sys.argv[1:] == ["shots"]
    reached = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, (profile, fault) in traces().items():
            if not kept:
                make(HERE / name, profile, fault)
            job = Path(folder) / f"{name}.sqlite"
            for words in (NEW, GRID, [*SURVEY, "--replay", HERE / name]):
                code, told, err = rig(*words, "--job", job)
                assert code == 0, err
            reached[name] = summary(told)
    (HERE / "shots.json").write_text(json.dumps(reached, indent=1) + "\n")


def summary(told: list[dict[str, Any]]) -> dict[str, Any]:
    """What of a survey's events must not change."""
    return {
        "shots": [[e["label"], e["reading_mm"], e["n"]] for e in told if e["event"] == "shot"],
        "told": [e["reason"] for e in told if e["event"] == "trouble"],
    }


if __name__ == "__main__":
    main()
