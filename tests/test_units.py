"""Exact values are those of NIST SP 811 (2008), appendix B.8, unless said otherwise."""

import math
import re
import subprocess
import sys
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig import units
from rig.errors import BadInput
from rig.units import System, Units
from tests.kinds import there

FORMS = "write 2 1/4in, 1' 3 5/8\", 57mm, 5.7cm or 0.188ft"


def test_constants_are_those_of_the_standard() -> None:
    assert units.MM_PER_IN == 25.4
    assert units.MM_PER_FT == 304.8
    assert units.L_PER_GAL == 3.785411784
    assert units.L_PER_FT3 == 28.316846592
    assert units.KG_PER_LB == 0.45359237
    assert math.isclose(units.M2_PER_FT2, 0.09290304, rel_tol=1e-15)
    assert math.isclose(units.L_PER_FT3, (units.MM_PER_FT / 100) ** 3, rel_tol=1e-15)
    assert math.isclose(units.L_PER_GAL, 231 * (units.MM_PER_IN / 100) ** 3, rel_tol=1e-15)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ('2 1/4"', 57.15),
        ('2-1/4"', 57.15),
        ("2-1/4in", 57.15),
        ("2 1/4 in", 57.15),
        ("2.25in", 57.15),
        ("2¼in", 57.15),
        ("2 1⁄4 in.", 57.15),
        ("3/16 in", 4.7625),
        ("½”", 12.7),
        (".5in", 12.7),
        ("1in", 25.4),
        ("1 INCH", 25.4),
        ("1ft", 304.8),
        ("1' 3 5/8\"", 396.875),
        ("1′ 3 5/8″", 396.875),
        ("1’3-5/8”", 396.875),
        ("1' 3 5/8''", 396.875),
        ("1ft 3in", 381.0),
        ("1ft3in", 381.0),
        ("1 Ft. 3 In.", 381.0),
        ("12'6\"", 3810.0),
        ("12' 6\"", 3810.0),
        ("12'-6\"", 3810.0),
        ("12' - 6\"", 3810.0),
        ("12'-6-1/2\"", 3822.7),
        ("6' 0 1/2\"", 1841.5),
        ("1' 5/8\"", 320.675),
        ("1 1/2 ft", 457.2),
        ("0.188 ft", 57.3024),
        ("57mm", 57.0),
        ("5.7 cm", 57.0),
        ("1.2m", 1200.0),
        ("1.2 Metres", 1200.0),
        ("  57\u00a0mm  ", 57.0),
        ("-2 1/4in", -57.15),
        ("−2 1/4in", -57.15),
        ("- 1/4 in", -6.35),
        ("-1' 3\"", -381.0),
        ("+3mm", 3.0),
        ("0mm", 0.0),
    ],
)
def test_length_is_read(text: str, mm: float) -> None:
    assert units.parse_length(text) == mm


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("2 1/4", "in", 57.15),
        ("2-1/4", "in", 57.15),
        ("1/2", "ft", 152.4),
        ("3", "ft", 914.4),
        ("-17.5", "mm", -17.5),
        ("1.5", "m", 1500.0),
        ("5.7", "cm", 57.0),
        ("57mm", "in", 57.0),
        ("1' 3\"", "mm", 381.0),
    ],
)
def test_bare_length_takes_the_unit_of_its_table(text: str, unit: str, mm: float) -> None:
    assert units.parse_length(text, unit=unit) == mm


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "empty"),
        ("   ", "empty"),
        ("3", "unit is missing.*inches, feet or millimetres"),
        ("2 1/4", "unit is missing"),
        ("5,7cm", "comma"),
        ("1,200mm", "comma"),
        ("1 3", "unit is missing|side by side"),
        ("1 3in", "side by side"),
        ("1/0in", "0 below"),
        ("2 1/0in", "0 below"),
        ("2 5/4in", "below 1"),
        ("1' 3", "no unit"),
        ("5ft3", "no unit"),
        ("1' 12\"", "less than 12"),
        ("1' 15 1/2\"", "less than 12"),
        ("1.5' 3\"", "whole number"),
        ("1 1/2' 3\"", "whole number"),
        ("3in 1ft", "feet and then inches"),
        ("5cm 3mm", "feet and then inches"),
        ("1ft 30mm", "only inches"),
        ("1ft 2in 3in", "feet and then inches"),
        ("1' -3\"", "cannot be read"),
        ("-", "no number"),
        ("3in -", "cannot be read"),
        ("2 1/4mm", "metric"),
        ("5/4 in", "a space may be missing"),
        ("483/16 in", "a space may be missing"),
        ("48 3/6 in", "halves, quarters"),
        ("4' 0 1/3\"", "halves, quarters"),
        ("nan", "cannot be read"),
        ("nanmm", "cannot be read"),
        ("inf in", "cannot be read"),
        ("in", "cannot be read"),
        ("1e3mm", "“e” is not a unit"),
        ("3yd", "“yd” is not a unit"),
        ("1.2.3mm", "not a number"),
        ("2 - 1/4in", "not a number"),
        ("2 -1/4in", "not a number"),
        ("--3mm", "cannot be read"),
        ("+-3mm", "cannot be read"),
        (".mm", "not a number"),
        ("3mm!", "cannot be read"),
        ("٣mm", "cannot be read"),
        ("9" * 20 + "mm", "far larger"),
        ("9" * 5000 + "mm", "too long"),
        ("3mm\x1b[31m", "cannot be read"),
    ],
)
def test_length_is_refused_with_the_reason_and_the_forms(text: str, reason: str) -> None:
    with pytest.raises(BadInput) as caught:
        units.parse_length(text, what="--spacing")
    message = str(caught.value)
    assert message.startswith("--spacing “")
    assert re.search(reason, message)
    assert FORMS in message
    assert "\x1b" not in message
    assert len(message) < 250


@pytest.mark.parametrize("text", ["1 3", "1' 3", "nan", "inf", "5,7", "1/0", "2 1/4", "1e5"])
def test_stated_unit_does_not_make_an_ambiguous_length_clear(text: str) -> None:
    with pytest.raises(BadInput, match=re.escape(FORMS)):
        units.parse_length(text, unit="mm")


def test_limits_of_a_length_are_named() -> None:
    assert units.parse_length("0mm", least=0.0) == 0.0
    with pytest.raises(BadInput, match="more than 0 mm"):
        units.parse_length("0in", above=0.0)
    with pytest.raises(BadInput, match="must not be negative"):
        units.parse_length("-1in", least=0.0)
    with pytest.raises(BadInput, match=r"at least 25\.4 mm"):
        units.parse_length("1/2in", least=25.4)


def test_unknown_unit_of_a_table_is_refused() -> None:
    with pytest.raises(BadInput, match="use mm, cm, m, in or ft"):
        units.parse_length("3", unit="yd")


def value_or_refusal(
    parse: Callable[..., Any], text: str, **options: str | None
) -> tuple[float | None, str | None]:
    try:
        return parse(text, **options), None
    except BadInput as refused:
        return None, str(refused)


@given(st.text(max_size=80), st.sampled_from([None, "in", "mm"]))
def test_any_text_is_a_finite_length_or_refused(text: str, unit: str | None) -> None:
    value, refusal = value_or_refusal(units.parse_length, text, unit=unit)
    assert FORMS in there(refusal) if value is None else math.isfinite(value)


@given(
    st.text(alphabet="0123456789 ./-+'\"infmtc", max_size=14),
    st.sampled_from([units.parse_length, units.parse_volume, units.parse_duration]),
)
def test_any_near_miss_is_a_finite_value_or_refused(text: str, parse: Callable[..., Any]) -> None:
    value, refusal = value_or_refusal(parse, text)
    assert "; write " in there(refusal) if value is None else math.isfinite(value)


@given(
    st.floats(min_value=-1e5, max_value=1e5),
    st.sampled_from([1, 2, 4, 8, 16, 32, 64]),
)
def test_printed_inches_are_within_half_a_denominator(mm: float, denominator: int) -> None:
    back = units.parse_length(Units("in", denominator).length(mm))
    assert abs(back - mm) <= 25.4 / denominator / 2 + 1e-9


@given(st.integers(min_value=-500_000, max_value=500_000), st.sampled_from([8, 16, 32, 64, 128]))
def test_exact_fractions_come_back_exactly(numerator: int, denominator: int) -> None:
    mm = float(Fraction(numerator, denominator) * Fraction(127, 5))
    written = units.fraction(mm, denominator)
    assert units.parse_length(written, unit="in") == mm


@given(st.floats(min_value=-1e5, max_value=1e5), st.sampled_from([0.1, 0.5, 1.0]))
def test_printed_millimetres_are_within_half_a_step(mm: float, step: float) -> None:
    back = units.parse_length(Units("mm").length(mm, step_mm=step))
    assert abs(back - mm) <= step / 2 + 1e-9


@given(st.floats(min_value=0, max_value=1e5), st.sampled_from(["in", "mm"]))
def test_printed_place_is_within_half_its_step(mm: float, system: System) -> None:
    back = units.parse_length(Units(system).place(mm))
    assert abs(back - mm) <= (6.35 if system == "in" else 5.0) + 1e-9


@pytest.mark.parametrize(
    ("mm", "denominator", "text"),
    [
        (57.15, 32, "2 1/4"),
        (0.0, 32, "0"),
        (-0.0, 32, "0"),
        (-0.1, 32, "0"),
        (25.4, 32, "1"),
        (4.7625, 32, "3/16"),
        (-57.15, 32, "-2 1/4"),
        (-4.7625, 32, "-3/16"),
        (0.396875, 32, "0"),  # 1/64: tie, to 0/32
        (3 * 0.396875, 32, "1/16"),  # 3/64: tie, to 2/32
        (5 * 0.396875, 32, "1/16"),  # 5/64: tie, to 2/32
        (-3 * 0.396875, 32, "-1/16"),
        (12.7, 1, "0"),  # tie, to 0
        (38.1, 1, "2"),  # tie, to 2
        (25.39, 8, "1"),
        (304.8, 16, "12"),
    ],
)
def test_fraction_is_nearest_reduced_and_even_on_ties(
    mm: float, denominator: int, text: str
) -> None:
    assert units.fraction(mm, denominator) == text


@pytest.mark.parametrize("denominator", [0, -8, 2.5, True])
def test_senseless_denominator_is_refused(denominator: Any) -> None:
    with pytest.raises(BadInput, match="denominator"):
        units.fraction(1.0, denominator)


@pytest.mark.parametrize("mm", [math.nan, math.inf])
def test_non_finite_length_is_never_printed(mm: float) -> None:
    with pytest.raises(BadInput, match="finite"):
        Units().length(mm)


def test_lengths_print_in_either_system() -> None:
    assert Units().length(57.15) == "2 1/4 in"
    assert Units(denominator=2).length(57.15) == "2 in"  # between 4/2 and 5/2: even
    assert Units(denominator=2).length(69.85) == "3 in"  # between 5/2 and 6/2: even
    assert Units("mm").length(57.46) == "57.5 mm"
    assert Units("mm").length(57.25) == "57.2 mm"  # tie, to even
    assert Units("mm").length(57.04) == "57 mm"
    assert Units("mm").length(57.3, step_mm=0.5) == "57.5 mm"
    assert Units("mm").length(-0.04) == "0 mm"
    assert Units("in", 32).amount(4.7625) == "3/16"
    assert Units("mm", 32).amount(4.6) == "4.5 mm"
    with pytest.raises(BadInput, match="use in or mm"):
        Units("cm").length(1.0)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("mm", "text"),
    [
        (6 * 304.8, "6 ft"),
        (4.5 * 304.8, "4 ft 6 in"),
        (11 * 304.8 + 11.5 * 25.4, "11 ft 11 1/2 in"),
        (11 * 304.8 + 11.9 * 25.4, "12 ft"),
        (6.1 * 25.4, "6 in"),
        (12.7, "1/2 in"),
        (2.0, "0 in"),
        (-914.4, "-3 ft"),
    ],
)
def test_place_in_feet_is_to_half_an_inch(mm: float, text: str) -> None:
    assert Units("in").place(mm) == text


def test_place_in_metres_is_to_a_centimetre() -> None:
    assert Units("mm").place(1853.0) == "1.85 m"
    assert Units("mm").place(2000.0) == "2 m"
    assert Units("mm").place(3.0) == "0 m"


def test_quantities_print_in_either_system() -> None:
    assert Units("in").area(16.7225472) == "180 ft²"
    assert Units("mm").area(16.7225472) == "16.7 m²"
    assert Units("mm").volume(128.0) == "128 l"
    assert Units("in").volume(128.0) == "4.52 ft³"
    assert Units("in").volume(4.731764730, liquid=True) == "1.25 gal"
    assert Units("mm").volume(0.05) == "0.05 l"
    assert Units("in").mass(22.6796185) == "50 lb"
    assert Units("mm").mass(22.6796185) == "22.7 kg"


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("12l", 12.0),
        ("12 L", 12.0),
        ("500ml", 0.5),
        ("1gal", 3.785411784),
        ("2 1/2 gal", 9.46352946),
        ("1qt", 0.946352946),
        ("1ft3", 28.316846592),
        ("1 ft³", 28.316846592),
        ("1 cu ft", 28.316846592),
        ("1 cubic foot", 28.316846592),
        ("0.1m3", 100.0),
    ],
)
def test_volume_is_read(text: str, litres: float) -> None:
    assert units.parse_volume(text) == litres


@pytest.mark.parametrize(("text", "kg"), [("25kg", 25.0), ("500 g", 0.5), ("1lb", 0.45359237)])
def test_mass_is_read(text: str, kg: float) -> None:
    assert units.parse_mass(text) == kg


@pytest.mark.parametrize(
    ("text", "bare", "seconds"),
    [
        ("90s", None, 90.0),
        ("20min", None, 1200.0),
        ("1.5 h", None, 5400.0),
        ("1h 30min", None, 5400.0),
        ("1h30min 5s", None, 5405.0),
        ("1", "s", 1.0),
        ("0.5", "min", 30.0),
    ],
)
def test_duration_is_read(text: str, bare: str | None, seconds: float) -> None:
    assert units.parse_duration(text, bare=bare) == seconds


@pytest.mark.parametrize(("text", "share"), [("5%", 0.05), ("0.5 %", 0.005), ("10 per cent", 0.1)])
def test_percent_is_read(text: str, share: float) -> None:
    assert units.parse_percent(text) == share


@pytest.mark.parametrize(
    ("parse", "text", "reason"),
    [
        (units.parse_volume, "12", "unit is missing"),
        (units.parse_volume, "12kg", "“kg” is not a unit"),
        (units.parse_volume, "1l 2ml", "one number"),
        (units.parse_volume, "-1l", "negative"),
        (units.parse_volume, "1,5l", "comma"),
        (units.parse_mass, "50", "unit is missing"),
        (units.parse_mass, "nan kg", "cannot be read"),
        (units.parse_duration, "20", "unit is missing"),
        (units.parse_duration, "20m", "“m” is not a unit"),
        (units.parse_duration, "30min 1h", "larger unit must come first"),
        (units.parse_duration, "1h 1h", "larger unit must come first"),
        (units.parse_duration, "1h 30", "unit is missing"),
        (units.parse_percent, "5", "unit is missing"),
        (units.parse_percent, "-5%", "negative"),
        (units.parse_percent, "", "empty"),
    ],
)
def test_quantity_is_refused_with_the_reason_and_the_forms(
    parse: Callable[..., Any], text: str, reason: str
) -> None:
    with pytest.raises(BadInput, match=f"bag “.*{reason}.*; write [0-9]"):
        parse(text, what="bag")


def test_module_stays_light() -> None:
    code = "import sys, rig.units; print(any(m in sys.modules for m in ('numpy', 'shapely')))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"


@pytest.mark.parametrize(
    ("text", "ratio"),
    [
        ("5mm/m", 0.005),
        ("5 mm / m", 0.005),
        ("0.5%", 0.005),
        ("1/8in/ft", 0.125 / 12),
        ("1/4 in/ft", 0.25 / 12),
        ("0mm/m", 0.0),
        ("2cm/m", 0.02),
    ],
)
def test_slopes(text: str, ratio: float) -> None:
    assert units.parse_slope(text) == pytest.approx(ratio, rel=1e-12)


@pytest.mark.parametrize("text", ["5", "5mm", "mm/m", "5/m", "-5mm/m", "-1%", "", "200%", "5mm/l"])
def test_slopes_that_are_none(text: str) -> None:
    with pytest.raises(BadInput, match="slope"):
        units.parse_slope(text)


def test_a_slope_is_written_in_the_jobs_units() -> None:
    assert Units("mm").slope(0.005) == "5 mm/m"
    assert Units("mm").slope(0.00501, up=True) == "5.1 mm/m"
    assert Units("in").slope(0.005) == "0.06 in/ft"


@pytest.mark.parametrize(
    ("mm", "system", "text"),
    [
        (1.3, "in", "1/16 in"),
        (25.4 / 32, "in", "1/32 in"),
        (0.01, "in", "1/32 in"),
        (1.31, "mm", "1.4 mm"),
        (1.3, "mm", "1.3 mm"),
    ],
)
def test_a_doubt_is_never_written_smaller_than_it_is(mm: float, system: System, text: str) -> None:
    assert Units(system).doubt(mm) == text


def test_a_load_is_written_in_the_jobs_units() -> None:
    # 1 lbf/ft² is 47.88026 Pa (NIST SP 811, appendix B.8).
    assert Units("in").load(0.4788026) == "10 lb/ft²"
    assert Units("mm").load(0.4788026) == "0.48 kPa"
    assert Units("in").speed(900.0) == "2.95 ft/s"
    assert Units("mm").speed(900.0) == "0.9 m/s"
    assert Units("in").temperature(21.4) == "71 °F"
    assert Units("mm").temperature(-0.4) == "0 °C"


@pytest.mark.parametrize(
    ("chance", "text"),
    [
        (0.0, "under 1%"),
        (0.004, "under 1%"),
        (0.012, "1%"),
        (0.5, "50%"),
        (0.987, "99%"),
        (0.998, "over 99%"),
        (1.0, "over 99%"),
    ],
)
def test_a_chance_is_never_written_as_certain(chance: float, text: str) -> None:
    assert units.format_chance(chance) == text


@pytest.mark.parametrize(
    ("chance", "asked", "text", "asked_text"),
    [
        (0.9496, 0.95, "94.96%", "95%"),
        (0.9464, 0.95, "94.6%", "95%"),
        (0.93, 0.95, "93%", "95%"),
        (0.9499999, 0.95, "just under 95%", "95%"),
        (0.951, 0.95, "95%", "95%"),
        (0.998, 0.999, "99.8%", "99.9%"),
        (0.001, 0.95, "under 1%", "95%"),
    ],
)
def test_rounding_never_lifts_a_chance_to_what_is_asked_for(
    chance: float, asked: float, text: str, asked_text: str
) -> None:
    assert units.format_chance(chance, asked) == text
    assert units.format_asked(asked) == asked_text


def test_what_is_counted_is_one_or_many() -> None:
    assert units.counted(1, "bag") == "1 bag"
    assert units.counted(3, "bag") == "3 bags"
    assert units.counted(2.5, "bag") == "2.5 bags"
    assert units.counted(1.0, "bag") == "1 bag"
    assert units.counted(2, "foot", "feet") == "2 feet"


def test_what_is_off_by_something_is_never_off_by_nothing() -> None:
    assert Units().off(-0.3) == "less than 1/32 in"
    assert Units().off(-1.6) == "1/16 in"
    assert Units().off(0.0) == "0 in"
    assert Units("mm").off(0.01) == "less than 0.1 mm"
    assert Units().between(0.1, 0.2) == "less than 1/32 in"
    assert Units().between(1.5, 1.7) == "about 1/16 in"
    assert Units().between(0.1, 3.0) == "between less than 1/32 in and 1/8 in"
    assert Units("mm").between(0.1, 3.0) == "between 0.1 mm and 3 mm"


@given(
    st.decimals(min_value=-3_000, max_value=3_000, places=5),
    st.sampled_from(["mm", "cm", "m", "in", "ft"]),
)
def test_a_bare_decimal_reads_as_what_bears_its_unit(number: Decimal, unit: str) -> None:
    assert units.parse_length(f"{number:f}", unit=unit) == units.parse_length(f"{number:f} {unit}")


def test_a_sentence_is_written_in_own_units() -> None:
    # 1/8 in is 3.175 mm, 10 ft are 3.048 m; 3 mm are nearest 1/8 in, 2 m nearest 6 ft 6 1/2 in.
    tile = "an edge of 15 in or longer: 1/8 in in 10 ft and 1/16 in in 24 in"
    assert Units("in").own(tile) == tile
    metric = Units("mm").own(tile)
    assert metric == "an edge of 381 mm or longer: 3.2 mm in 3.05 m and 1.6 mm in 609.6 mm"
    slab = "3 mm under a 2 m straightedge"
    assert Units("mm").own(slab) == slab
    assert Units("in").own(slab) == "1/8 in under a 6 ft 6 1/2 in straightedge"
