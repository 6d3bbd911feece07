"""A hand that turns the screw at the first prompt, through the command line."""

from functools import reduce
from operator import xor
from pathlib import Path

from rig.devices.profile import load_profile
from rig.devices.trace import TraceWriter
from tests.cli.conftest import Run


def test_a_marker_turned_at_the_first_prompt_is_taken_unasked_one_at_height_is_asked_about(
    surveyed: Run, tmp_path: Path
) -> None:
    assert surveyed("plan").code == 0
    markers = surveyed("markers", "--json").json["markers"][:3]
    heights: list[float | None] = []
    for marker, off_mm, look_s in zip(markers, (6.0, 6.0, 0.2), (1.5, 0.36, 0.36), strict=True):
        for from_mm, to_mm, seconds in (
            (off_mm, off_mm, look_s),
            (off_mm, 0.1, 0.8),
            (0.1, 0.1, 2),
        ):
            n = round(50 * seconds)
            top = marker["target_reading_mm"]
            heights += [top + from_mm + (to_mm - from_mm) * k / n for k in range(n)]
        heights += [None] * 60  # the walk
    with TraceWriter(tmp_path / "t.trace", load_profile("sentence"), started_utc_s=0.0) as trace:
        for k, height in enumerate(heights):
            value, status = ("", "N") if height is None else (f"{height:.2f}", "V")
            body = f"U0HGT,{k},{value},mm,{status}"
            check = reduce(xor, body.encode())
            trace.write(0.02 * k, f"${body}*{check:02X}")
    events = surveyed("set", "--skip-check", "--replay", tmp_path / "t.trace", "--json").events
    first, second, third = (marker["label"] for marker in markers)
    assert [e["marker"] for e in events if e["event"] == "set"] == [first, second]
    assert [e["marker"] for e in events if e["event"] == "ask"] == [third]
