"""Tells what the compound weighs on the floor, never whether the floor carries it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rig.errors import BadInput
from rig.language import numeral, say
from rig.units import GRAVITY_M_S2

# Cured cement compound, some 120 lb/ft³: from memory; the product's data sheet rules.
DENSITY_KG_M3 = 1900.0

STRUCTURE_CAUTION = say(
    "Whether the structure carries this load is for a licensed engineer or the authority "
    "to decide; it is not checked here, and nothing here says that it is adequate."
)


@dataclass(frozen=True)
class DeadLoad:
    """Weight of the cured compound on the floor in kPa: on average, and where it is deepest."""

    mean_kpa: float
    max_kpa: float
    density_kg_m3: float
    cautions: tuple[str, ...] = (STRUCTURE_CAUTION,)


def dead_load(
    mean_cover_mm: float, max_cover_mm: float, density_kg_m3: float = DENSITY_KG_M3
) -> DeadLoad:
    """Dead load of a cover: thickness times density times gravity.

    Parameters
    ----------
    mean_cover_mm, max_cover_mm : float
        Average and deepest cover.
    density_kg_m3 : float
        Of the cured compound.

    Raises
    ------
    BadInput
        A cover below 0, a mean above the deepest, or a density not above 0.
    """
    if not (math.isfinite(density_kg_m3) and density_kg_m3 > 0):
        raise BadInput(
            say(
                "The compound's density must be above 0, not {density_kg_m3} kg/m³.",
                density_kg_m3=numeral(density_kg_m3, "g"),
            )
        )
    if not (math.isfinite(max_cover_mm) and 0.0 <= mean_cover_mm <= max_cover_mm + 1e-9):
        raise BadInput(
            say(
                "A cover of {mean_cover} mm on average and {max_cover} mm at most is "
                "impossible; check the plane.",
                mean_cover=numeral(mean_cover_mm, "g"),
                max_cover=numeral(max_cover_mm, "g"),
            )
        )
    kpa_per_mm = density_kg_m3 * GRAVITY_M_S2 * 1e-6
    return DeadLoad(mean_cover_mm * kpa_per_mm, max_cover_mm * kpa_per_mm, density_kg_m3)
