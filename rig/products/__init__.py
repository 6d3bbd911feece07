"""Compounds, primers, reinforcement, crews and mixers that a user has called by a name."""

from rig.products.kinds import Crew, Mixer, Primer, Product, Reinforcement, Took, Used
from rig.products.library import KINDS, Entry, Library

__all__ = [
    "KINDS",
    "Crew",
    "Entry",
    "Library",
    "Mixer",
    "Primer",
    "Product",
    "Reinforcement",
    "Took",
    "Used",
]
