"""Drawings for a phone's page: as wide as its screen, told in its units."""

from typing import TYPE_CHECKING

from markupsafe import Markup

from rig.drawing.look import Look
from rig.drawing.svg import to_svg
from rig.units import Units

if TYPE_CHECKING:
    from rig.drawing.vector import Drawing

WIDE_MM, HIGH_MM = 84.0, 132.0
"""A sheet that fills a phone's width shows its figures about as large as its text."""


def look(units: Units) -> Look:
    """Return how a plan is looked at on a phone."""
    return Look(units, WIDE_MM, HIGH_MM, to_scale=False)


def markup(drawing: "Drawing") -> Markup:
    """Return a drawing to be put into a page; its texts are escaped already."""
    return Markup(to_svg(drawing, full_size=False))
