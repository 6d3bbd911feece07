"""What rules measure: a class of rules each, in a file of its own, and its line here."""

from collections.abc import Mapping

from rig.flatness.measures.f_numbers import FNumberRule
from rig.flatness.measures.level import Level
from rig.flatness.measures.pairs import Pairs
from rig.flatness.measures.straightedge import Straightedge
from rig.flatness.rule import Rule

MEASURES: Mapping[str, type[Rule]] = {
    kind.measure: kind for kind in (Straightedge, Pairs, Level, FNumberRule)
}
