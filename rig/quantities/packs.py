"""What materials are sold in: how many packages an amount takes, and what is left of the last."""

import math
from collections.abc import Callable
from typing import TypedDict

from rig.language import say, say_many


class Sold(TypedDict, total=False):
    """How many to buy of what, and what stays over; empty where nothing is sold as one."""

    packs: int
    pack: str
    leftover: float


def sold_in(package: float, amount: float, name: str) -> Sold:
    """Reckon an amount in packages of a size, in the same unit."""
    packs = up(amount / package)
    return Sold(packs=packs, pack=name, leftover=max(packs * package - amount, 0.0))


def in_packs(sold: Sold, left: Callable[[float], str]) -> str:
    """Say how many to buy and what stays over, after a colon."""
    if "packs" not in sold:
        return ""
    packs = _packs(sold["pack"], sold["packs"])
    return say(": {packs}, {left} left over", packs=packs, left=left(sold["leftover"]))


def _packs(name: str, count: int) -> str:
    match name:
        case "jug":
            return say_many("{count} jug", "{count} jugs", count)
        case "box":
            return say_many("{count} box", "{count} boxes", count)
        case "roll":
            return say_many("{count} roll", "{count} rolls", count)
        case "cartridge":
            return say_many("{count} cartridge", "{count} cartridges", count)
    raise ValueError(name)


def pieces(count: float) -> str:
    """Say what is left of things that are counted."""
    return f"{count:.0f}"


def up(amount: float) -> int:
    """Round up to whole ones."""
    return math.ceil(amount - 1e-9)
