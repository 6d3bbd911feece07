"""Contrast by the formula of WCAG 2.2 (its glossary: relative luminance, contrast ratio)."""

import re
from importlib import resources
from typing import Any

import pytest

PAIRS = [
    ("ink", "ground"),
    ("quiet", "ground"),
    ("ink", "panel"),
    ("ground", "ink"),
    ("on-raise", "raise"),
    ("on-lower", "lower"),
    ("on-hold", "hold"),
    ("on-alarm", "alarm"),
    ("on-paper", "paper"),
]


def luminance(colour: str) -> float:
    linear = []
    for n in (1, 3, 5):
        part = int(colour[n : n + 2], 16) / 255
        linear.append(part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4)
    red, green, blue = linear
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.fixture(scope="module")
def css() -> Any:
    folder = resources.files("rig.page") / "static"
    return "".join((folder / f"{name}.css").read_text() for name in ("colours", "page", "site"))


def themes(css: str) -> dict[str, dict[str, str]]:
    blocks = re.findall(r":root \{(.*?)\}", css, re.DOTALL)
    assert len(blocks) == 2
    light, dark = (dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block)) for block in blocks)
    return {"light": light, "dark": {**light, **dark}}


def test_the_formula_gives_the_ratios_that_the_standard_names() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # widely published


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_every_text_stands_out_in_sunlight(css: Any, theme: Any, text: Any, ground: Any) -> None:
    colours = themes(css)[theme]
    assert contrast(colours[text], colours[ground]) >= 7.0


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_raise_and_lower_stand_out_from_the_ground_too(css: Any, theme: Any) -> None:
    colours = themes(css)[theme]
    for name in ("raise", "lower", "alarm", "hold"):
        assert contrast(colours[name], colours["ground"]) >= 7.0


def test_no_colour_is_used_that_is_not_checked(css: Any) -> None:
    rest = re.sub(r":root \{.*?\}", "", css, flags=re.DOTALL)
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[;\s])", rest)
    assert set(re.findall(r"var\(--([a-z-]+)\)", rest)) <= {n for pair in PAIRS for n in pair}


def test_nothing_moves_by_itself(css: Any) -> None:
    """For whoever asks for no motion; and each frame of it would cost a phone its battery."""
    assert "transition" not in css
    assert "animation" not in css
