"""The compound and what will lie on it: what a bag makes, the covers, the rule of flatness."""

from dataclasses import dataclass, replace

from rig.errors import BadInput
from rig.flatness.coverings import COVERINGS, rule_of_covering
from rig.language import numeral, put, say
from rig.page.visit import Step, Visit
from rig.products import Library
from rig.quantities.materials import rules_by
from rig.record import Record
from rig.study.described import check_settings, with_product
from rig.units import (
    KG_PER_LB,
    L_PER_FT3,
    L_PER_GAL,
    parse_mass,
    parse_percent,
    parse_use,
    parse_volume,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductView(Record):
    """What the page of the compound shows: what is known, as it would be typed."""

    min_cover: str
    max_cover: str
    bag_yield: str
    bag_mass: str
    bag_water: str
    waste: str
    covering: str
    coverings: tuple[tuple[str, str], ...]
    rule: str
    products: tuple[tuple[str, str], ...]
    product: str


class _Product(Step):
    key = "product"
    of_job = True

    def view(self, visit: Visit) -> ProductView:
        told, units = visit.job.settings, visit.units
        metric = units.is_metric
        library = Library.load()
        named = [
            (kind.name, put("{told} ({rule})", told=kind.told, rule=kind.rule))
            for kind in COVERINGS
        ]
        covering = told.covering or ""
        if covering and covering not in {name for name, _ in named}:
            named.append((covering, covering))
        return ProductView(
            min_cover="" if told.min_cover_mm is None else units.length(told.min_cover_mm),
            max_cover="" if told.max_cover_mm is None else units.length(told.max_cover_mm),
            bag_yield=_typed(told.bag_yield_l, *((1.0, "l") if metric else (L_PER_FT3, "ft3"))),
            bag_mass=_typed(told.bag_mass_kg, *((1.0, "kg") if metric else (KG_PER_LB, "lb"))),
            bag_water=_typed(told.bag_water_l, *((1.0, "l") if metric else (L_PER_GAL / 4, "qt"))),
            waste=""
            if told.waste_share is None
            else put("{n}%", n=numeral(100 * told.waste_share, "g")),
            covering=covering,
            coverings=(("", say("not said yet")), *named),
            products=(("", say("none of the list")), *_products(library)),
            product="" if told.product is None else told.product.compound.name,
            rule=(rule_of_covering(covering) or "") if covering else "",
        )

    def act(self, visit: Visit, act: str) -> str:
        form, unit = visit.form, visit.cover_unit
        if act == "take":
            return self._take(visit)
        least = form.length("min_cover", say("The minimum cover"), unit, minimum=0.0)
        most = form.length("max_cover", say("The maximum cover"), unit, above=0.0)
        mass = form.quantity("bag_mass", parse_mass)
        water = form.quantity("bag_water", parse_volume)
        made = form.quantity("bag_yield", parse_volume)
        use = form.quantity("use", _use)
        waste = form.quantity("waste", parse_percent)
        if use is not None and made is None:
            if mass is None:
                form.wrong.setdefault(
                    "bag_mass", say("With a consumption the bag's mass is needed.")
                )
            else:
                made = mass / use
        form.check()
        settings = replace(
            visit.job.settings,
            covering=form.text("covering") or None,
            min_cover_mm=least,
            max_cover_mm=most,
            bag_mass_kg=mass,
            bag_water_l=water,
            bag_yield_l=made,
            waste_share=waste,
        )
        check_settings(settings)
        visit.job.update_settings(settings)
        return "grid" if not visit.job.points() else ""

    def _take(self, visit: Visit) -> str:
        """Take a compound by its name, with what its sheet says."""
        name = visit.form.text("product")
        if not name:
            visit.form.wrong["product"] = say("Which product?")
            visit.form.check()
        used = Library.load().used(name)
        settings = with_product(visit.job.settings, used)
        check_settings(settings)
        with visit.job.together(say("the product was not kept")):
            visit.job.update_settings(settings)
            rules = [vars(rule) for rule in rules_by(used)]
            if rules:
                visit.job.keep_material_rules(rules, edited=True)
        return ""


def _products(library: Library) -> list[tuple[str, str]]:
    return [(one.name, one.name) for one in library if one.kind == "compound"]


def _typed(amount: float | None, size: float, unit: str) -> str:
    return "" if amount is None else put("{n}{unit}", n=numeral(amount / size, ".6g"), unit=unit)


def _use(text: str) -> float:
    """Return kilograms for a litre in place: a number alone is for a square metre a mm thick."""
    try:
        use = float(text)
    except ValueError:
        use = parse_use(text, what=say("The consumption"))
    # Compounds are 1.2 to 2.3 kg a litre (from memory); twice as far off is a slip.
    if not 0.6 <= use <= 4.0:
        raise BadInput(
            say(
                "{use} kg for a m² a mm thick is no compound: they take 1.2 to 2.3. Is it for "
                "another thickness?",
                use=numeral(use, "g"),
            )
        )
    return use


STEP = _Product()
