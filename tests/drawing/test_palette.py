"""Colours against formulas from outside: WCAG 2.2 contrast, CIE L*, and colour-blind eyes.

The matrices for colour-blind eyes are those of Machado, Oliveira and Fernandes (2009), severity
1.0, quoted from memory.
"""

import numpy as np
import pytest

from rig.drawing.palette import COLOURS, STEPS, ramp
from tests.kinds import Floats

BLIND = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
               [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
               [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
               [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def linear(colour: str) -> Floats:
    part = np.array([int(colour[n : n + 2], 16) for n in (1, 3, 5)]) / 255.0
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """WCAG 2.2: (L1 + 0.05) / (L2 + 0.05)."""
    a, b = sorted([luminance(COLOURS[one]), luminance(COLOURS[other])])
    return (b + 0.05) / (a + 0.05)


def lightness(y: float) -> float:
    """CIE 1976 L* of a luminance."""
    return 116.0 * np.cbrt(y) - 16.0 if y > 0.008856 else 903.3 * y


def test_the_formula_agrees_with_its_published_ends() -> None:
    black, white = luminance("#000000"), luminance("#ffffff")
    assert pytest.approx(21.0) == (white + 0.05) / (black + 0.05)
    # WCAG's well-known case: #767676 on white is just over 4.5.
    assert 1.05 / (luminance("#767676") + 0.05) == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("name", ["height", "cover"])
def test_figures_stand_out_from_every_band(name: str) -> None:
    assert min(contrast("ink", f"{name}{n}") for n in range(STEPS)) >= 7.0
    assert min(contrast("soft", "paper"), contrast("alarm", "paper")) >= 4.5
    assert contrast("ink", "paper") >= 7.0
    assert contrast("mark", "paper") >= 7.0


@pytest.mark.parametrize("name", ["height", "cover"])
def test_bands_fall_evenly_in_grey_and_to_colour_blind_eyes(name: str) -> None:
    for matrix in (np.eye(3), *map(np.array, BLIND.values())):
        seen = [
            lightness(
                float(np.clip(matrix @ linear(COLOURS[one]), 0, 1) @ [0.2126, 0.7152, 0.0722])
            )
            for one in ramp(name, STEPS)
        ]
        steps = -np.diff(seen)
        assert steps.min() > 1.5
        assert steps.max() < 2.2 * steps.min()


def test_a_ramp_of_few_bands_uses_its_ends() -> None:
    assert ramp("height", 2) == ["height0", f"height{STEPS - 1}"]
    assert len(set(ramp("cover", 8))) == 8
    assert len(ramp("cover", 1)) == 1
