"""Lengths and quantities at the edges: text from people into mm, l, kg and s, and back."""

from rig.units.parsing import (
    parse_duration,
    parse_length,
    parse_mass,
    parse_percent,
    parse_slope,
    parse_volume,
)
from rig.units.rates import parse_area, parse_rate, parse_temperature, parse_use
from rig.units.writing import (
    GRAVITY_M_S2,
    KG_PER_LB,
    L_PER_FT3,
    L_PER_GAL,
    M2_PER_FT2,
    METRIC,
    MM_PER_FT,
    MM_PER_IN,
    System,
    Units,
    counted,
    format_asked,
    format_chance,
    fraction,
)

__all__ = [
    "GRAVITY_M_S2", "KG_PER_LB", "L_PER_FT3", "L_PER_GAL", "M2_PER_FT2", "METRIC", "MM_PER_FT",
    "MM_PER_IN", "System", "Units", "counted", "format_asked", "format_chance", "fraction",
    "parse_area", "parse_duration", "parse_length", "parse_mass", "parse_percent", "parse_rate",
    "parse_slope", "parse_temperature", "parse_use", "parse_volume",
]  # fmt: skip
