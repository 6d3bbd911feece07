"""Patches instead of a pour: the least work that passes a rule, with grinding and without."""

from dataclasses import dataclass

from rig.errors import BadInput, CannotAnswer
from rig.flatness.coverings import rule_of_covering
from rig.flatness.measures.straightedge import Straightedge
from rig.flatness.rules import SHIPPED, load_rule
from rig.language import put, say
from rig.page.drawn import look
from rig.page.told import Parts, parts
from rig.page.visit import NO_PART, Served, Step, Visit
from rig.record import Record
from rig.report.document import Figure, section
from rig.report.patch_part import TITLE, patch_blocks
from rig.study.patching import patch_answer
from rig.study.room import outline_of

PRICES = 0.01, 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchView(Record):
    """What the page of patches shows."""

    rules: tuple[tuple[str, str], ...]
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkView(Record):
    """The work that was found."""

    told: Parts


class _Patch(Step):
    key = "patch"

    def view(self, visit: Visit) -> PatchView:
        if visit.in_house:
            raise CannotAnswer(say("Which room? Pick it above."))
        rules = {key: load_rule(key) for key in SHIPPED}
        straight = {key: one for key, one in rules.items() if isinstance(one, Straightedge)}
        covering = visit.job.settings.covering
        usual = None if covering is None else rule_of_covering(covering)
        return PatchView(
            rules=tuple(
                (key, put("{key}: {text}", key=key, text=visit.units.own(r.text)))
                for key, r in straight.items()
            ),
            rule=usual if usual in straight else next(iter(straight)),
        )

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        from rig.drawing.work import patches_drawing

        if part != "work":
            raise BadInput(NO_PART)
        rule = visit.form.text("rule")
        if rule not in SHIPPED:
            raise BadInput(say("There is no such rule."))
        form = visit.form
        fill = form.number("fill", say("The price of filling a litre"), *PRICES)
        grind = form.number("grind", say("The price of grinding off a litre"), *PRICES)
        form.check()
        if grind is not None and fill is None:
            raise BadInput(say("With a price for grinding, that of filling is needed too."))
        outline, units = outline_of(visit.job), visit.units
        told = patch_answer(visit.job, outline, load_rule(rule), 0.95, fill, grind)
        drawing = patches_drawing(outline, look(units), told.patches)
        found = section("patches", TITLE, Figure("patches", drawing), *patch_blocks(told, units))
        assert found is not None
        return "work.html", WorkView(told=parts([found]))


STEP = _Patch()
