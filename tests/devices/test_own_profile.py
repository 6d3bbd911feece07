"""Profiles that are made of what a rod sends, and of the number of it that was tapped."""

import pytest

from rig.devices.own_profile import made_profile, numbers_in, readings_by
from rig.errors import BadInput

BARE = ["H= 1203.4 mm T=21", "H= 1203.6 mm T=21", "H= 1198.0 mm T=22"]


def summed(body: str) -> str:
    total = 0
    for byte in body.encode():
        total ^= byte
    return f"${body}*{total:02X}"


@pytest.mark.parametrize(
    ("lines", "number", "unit", "read"),
    [
        (BARE, 0, "mm", [1203.4, 1203.6, 1198.0]),
        (["1.2034", "1.2036", "-0.5"], 0, "m", [1203.4, 1203.6, -500.0]),
        ([summed(f"PXDIS,{n},{4.0 + n:.2f},ft") for n in range(3)], 1, "ft", None),
        (["A7|+48.25in*1F", "A7|+48.5in*A0"], 1, "in", [48.25 * 25.4, 48.5 * 25.4]),
    ],
)
def test_the_number_that_was_tapped_is_read(
    lines: list[str], number: int, unit: str, read: list[float] | None
) -> None:
    made = made_profile(lines, 0, number, unit)
    found = readings_by(made, lines)
    wanted = read or [(4.0 + n) * 304.8 for n in range(3)]
    if wanted[-1] < 0:  # no rod reads less than nothing
        found, wanted = found[:-1], wanted[:-1]
    assert found == pytest.approx(wanted)


def test_a_sum_that_is_wrong_is_not_read_where_the_rod_sends_sums() -> None:
    lines = [summed(f"PXDIS,{n},{4.0 + n:.2f},ft") for n in range(3)]
    made = made_profile(lines, 0, 1, "ft")
    assert readings_by(made, [lines[0].replace("4.00", "4.01")]) == [None]


def test_what_is_no_height_is_refused() -> None:
    for lines, line, number, unit in (
        (BARE, 0, 9, "mm"), (BARE, 7, 0, "mm"), (BARE, 0, 0, "ell"), ([], 0, 0, "mm"),
        (["it's 12"], 0, 0, "mm"), (["no number"], 0, 0, "mm"), (["x" * 9000 + "1"], 0, 0, "mm"),
        (["1 a", "2 b", "3 c"], 0, 0, "mm"),
    ):  # fmt: skip
        with pytest.raises(BadInput):
            made_profile(lines, line, number, unit)
    assert numbers_in("$A,12,-3.5*4F") == ["12", "-3.5"]
