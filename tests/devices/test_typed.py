import math

import pytest

from rig.devices.reading import Reading
from rig.devices.typed import TypedReader
from rig.errors import BadInput
from rig.units import System


@pytest.mark.parametrize(
    ("line", "act"),
    [("u", "undo"), ("S", "skip"), ("y", "accept"), ("\n", "accept"), (" q \n", "quit")],
)
def test_a_letter_is_an_act(line: str, act: str) -> None:
    assert TypedReader("in").parse(line, 1.0, 2.0) == act


@pytest.mark.parametrize(
    ("units", "line", "value_mm"),
    [("in", "2 1/4", 57.15), ("mm", "57.5", 57.5), ("mm", '2 1/4"', 57.15), ("in", "57mm", 57.0)],
)
def test_a_bare_number_is_in_the_units_of_the_job(
    units: System, line: str, value_mm: float
) -> None:
    reading = TypedReader(units).parse(line + "\n", 1.0, 2.0)
    assert isinstance(reading, Reading)
    assert reading.value_mm == pytest.approx(value_mm)
    assert (reading.status, reading.raw, reading.time_s, reading.utc_s) == ("valid", line, 1.0, 2.0)


@pytest.mark.parametrize("line", ["12,5", "uu", "1 3", "nan"])
def test_a_line_that_is_neither_is_refused(line: str) -> None:
    with pytest.raises(BadInput):
        TypedReader("in").parse(line, 1.0, 2.0)


def test_a_reading_below_the_floor_is_refused() -> None:
    with pytest.raises(BadInput, match="below 0"):
        TypedReader("mm").parse("-5", 1.0, 2.0)


def test_the_doubt_of_a_typed_reading() -> None:
    # By hand: 1/16 in = 1.5875 mm; 1.5875²/12 = 0.2100; 0.5² = 0.25; √0.4600 = 0.6782.
    assert TypedReader("in").stderr_mm == pytest.approx(0.6782, abs=1e-4)
    assert TypedReader("mm").stderr_mm == pytest.approx(math.sqrt(1 / 12 + 0.25))
    assert TypedReader("mm", resolution_mm=0.0).stderr_mm == 0.5
