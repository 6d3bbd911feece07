"""What is said of a plan: where the plane lies, what to buy, what to mind."""

from collections.abc import Mapping, Sequence

from rig.language import put
from rig.units import Units, format_asked, format_chance
from rig.words import join, money, numeral, say, say_many
from rig.words.floor import some_of


def cautions() -> tuple[str, ...]:
    """Return what to mind wherever compound is poured."""
    return (
        say(
            "Dry compound and ground concrete give off silica dust: mask and extraction, as the "
            "product's data sheet and local rules ask."
        ),
        say(
            "Wet compound is caustic: gloves and eye protection; keep mixers and cables out of the "
            "wet."
        ),
        say(
            "Old flooring and glue may hold asbestos: have them tested before grinding or scraping."
        ),
    )


def cautions_in_short() -> str:
    """Remind of the cautions in one line."""
    return say("Mind dust, wet compound, old glue and the load on the structure: --why, the report")


def hold_off_the_floor() -> str:
    """Say that the plane is held where there is no floor."""
    return say("The held place lies outside the floor; its height is taken as said.")


def held_height(height_mm: float, units: Units) -> str:
    """Name a height that is held."""
    return say("the held height {height}", height=units.length(height_mm))


def cover_not_sure(holds: int, chance: float, confidence: float) -> str:
    """Say that a plane keeps the minimum cover with less than the confidence."""
    told = {"chance": format_chance(chance, confidence), "confidence": format_asked(confidence)}
    if holds == 0:
        return say(
            "This plane keeps the minimum cover with only {chance} probability, not {confidence}.",
            **told,
        )
    return say_many(
        "The held height keeps the minimum cover with only {chance} probability, not {confidence}.",
        "The held heights keep the minimum cover with only {chance} probability, not {confidence}.",
        holds,
        **told,
    )


def plan_is_stale(changed: Sequence[str]) -> str:
    """Say what changed under a plan."""
    return say(
        "The plan is stale: since it was made, {names} changed. Run rig plan again.",
        names=some_of(changed, 6),
    )


def grind_first(spots: int) -> str:
    """Say that a plan holds only once high spots are ground."""
    return say_many(
        "This plan holds only after {count} high spot is ground down and shot again: rig plan says "
        "where.",
        "This plan holds only after {count} high spots are ground down and shot again: rig plan "
        "says where.",
        spots,
    )


def compound(bags: int, mass_kg: float, units: Units) -> str:
    """Say how much compound to have on site."""
    return say(
        "{bags}, {mass} in all",
        bags=say_many("{count} bag", "{count} bags", bags),
        mass=units.mass(mass_kg),
    )


def usual_min_cover(cover_mm: float, units: Units) -> str:
    """Say which minimum cover was taken."""
    return say(
        "At least {cover} of cover over the high point (common practice, no source: the product's "
        "sheet and the covering's maker rule; set it with --min-cover).",
        cover=units.length(cover_mm),
    )


def wet_load(density_kg_m3: float, source: str, units: Units) -> str:
    """Say what the dead load was reckoned with."""
    return say(
        "The dead load is that of compound as poured, {density} by the bag ({source}); cured it "
        "weighs less.",
        density=units.density(density_kg_m3),
        source=source,
    )


def level_plane_lies(a_mm: float, units: Units) -> str:
    """Say where a level finished plane lies."""
    below = units.length(-a_mm)
    return say("Finished plane: level, {below} below the line of set-up 1.", below=below)


def plane_falls(
    highest_mm: float, lowest_mm: float, ratio: float, towards: str, units: Units
) -> str:
    """Say where a finished plane lies that falls towards a wall; heights as `plane`'s are."""
    return say(
        "Finished plane: falls {fall} towards {towards} ({slope}), from {high} to {low} below the "
        "line of set-up 1.",
        fall=units.length(highest_mm - lowest_mm),
        towards=towards,
        slope=units.slope(ratio),
        high=units.length(-highest_mm),
        low=units.length(-lowest_mm),
    )


def buy(bags: int, confidence: float) -> str:
    """Say how many bags to buy to be sure."""
    return say(
        "Buy {bags} to be {confidence} sure.",
        bags=say_many("{count} bag", "{count} bags", bags),
        confidence=f"{100.0 * confidence:g}%",
    )


def buy_cheapest(bags: int, chance_short: float, cost: float) -> str:
    """Say how many bags cost least to buy at given prices."""
    return say(
        "Buy {bags}: at these prices the cheapest; short {chance} of the time, expected cost of "
        "being wrong {cost}.",
        bags=say_many("{count} bag", "{count} bags", bags),
        chance=format_chance(chance_short),
        cost=money(f"{cost:.2f}"),
    )


def waste(bags: int, share: float) -> str:
    """Say how many of the bags that are enough 95 times in 100 are there for waste."""
    if bags or not share:
        return say("{count} of them for waste", count=bags)
    return say("{share} % waste in them, less than a bag", share=numeral(100 * share, "g"))


def safety_stock(bags: float, shares: Mapping[str, float]) -> str:
    """Say what is bought for safety, and against which doubt."""
    open_because = {
        "surface": say("how the floor lies between the shots"),
        "plane": say("where the high point lets the plane lie"),
        "yield": say("what a bag gives"),
        "waste": say("what is spilt"),
        "crew": say("what this crew takes"),
        "product": say("what this product takes"),
    }
    parts = [
        put("{share:.0%} {because}", share=share, because=open_because.get(name, name))
        for name, share in sorted(shares.items(), key=lambda one: -one[1])
        if share >= 0.005
    ]
    if not parts:
        return say("{bags} bags", bags=numeral(bags, ".1f"))
    text = say("{bags} bags, for what nobody knows exactly: {parts}")
    return say(text, bags=numeral(bags, ".1f"), parts=join(", ", parts))


def kept_with(chance: float | None) -> str:
    """Say how surely the minimum cover is kept."""
    if chance is None:
        return say("a probability that is not known")
    return say("{chance} probability", chance=format_chance(chance))


def beside_hump(
    chance: float, low_mm: float, high_mm: float, across_mm: float, units: Units
) -> str:
    """Say how surely the cover is kept where a hump hides that no shot and no look has shown."""
    return say(
        "That is so unless a hump hides where neither a shot nor a look would have shown it: "
        "beside one {across} across and {low} to {high} high, the cover is kept everywhere with "
        "{chance} probability (rig floor --why names where to look).",
        across=units.place(across_mm),
        low=units.length(low_mm),
        high=units.length(high_mm),
        chance=format_chance(chance),
    )


def on_curled_slab(chance: float) -> str:
    """Say how surely the cover is kept should an untold floor be a slab with curled edges."""
    return say(
        "What the floor is made of was not told: on a slab whose edges curl up at joints, the "
        "cover is kept everywhere with {chance} probability (rig edit --floor tells it).",
        chance=format_chance(chance),
    )


def volume_between(mean_l: float, low_l: float, high_l: float, units: Units) -> str:
    """Say how much compound lies in place."""
    return say(
        "{mean}; 95 times in 100 between {low} and {high}",
        mean=units.volume(mean_l),
        low=units.volume(low_l),
        high=units.volume(high_l),
    )


def dead_load(mean_kpa: float, max_kpa: float, units: Units) -> str:
    """Say what the compound weighs on the floor."""
    return say(
        "{mean} on average, {most} at the deepest",
        mean=units.load(mean_kpa),
        most=units.load(max_kpa),
    )


def in_lifts(lifts: int) -> str:
    """Say that the compound is poured in several lifts."""
    return say("Pour in {lifts} lifts: the deepest place is over the maximum cover.", lifts=lifts)


def lift(
    number: int, max_mm: float, area_m2: float, whole_m2: float, bags: int, units: Units
) -> str:
    """Say what a lift is: all over the floor, or in its deep spots only."""
    if area_m2 > 0.99 * whole_m2:
        where = say("all over")
    else:
        where = say("in the deep spots only, {area}", area=units.area(area_m2))
    return say(
        "Lift {number}: {where}, up to {deep}, {bags}.",
        number=number,
        where=where,
        deep=units.length(max_mm),
        bags=say_many("{count} bag", "{count} bags", bags),
    )


def no_grinding() -> str:
    """Say that grinding is dearer than filling."""
    return say("Grinding does not pay at these prices: fill.")


def grind_spots(spots: int, volume_l: float, saves_bags: float, units: Units) -> str:
    """Say how much to grind first, and what for."""
    return say_many(
        "Grind {count} high spot first, {volume} in all: saves {bags} bags. Shoot it again before "
        "you pour.",
        "Grind {count} high spots first, {volume} in all: saves {bags} bags. Shoot them again "
        "before you pour.",
        spots,
        volume=units.volume(volume_l),
        bags=numeral(saves_bags, ".1f"),
    )


def grind_spot(
    depth_mm: float, area_m2: float, where: str, until_reading_mm: float, units: Units
) -> str:
    """Say how a spot is ground and when it is done."""
    return say(
        "up to {depth} deep over {area}, {where}: until the rod reads {reading} or more everywhere",
        depth=units.length(depth_mm),
        area=units.area(area_m2),
        where=where,
        reading=units.length(until_reading_mm),
    )


def rule_changes() -> str:
    """Say how a rule for materials is changed."""
    return say("Change a rule: rig edit --material KEY=VALUE")


def bags_needed() -> str:
    """Return what a row of the budget is of: the bags that the job will take."""
    return say("bags")


def in_bags() -> str:
    """Return the unit of bags in a budget."""
    return say("bags")


def floor_and_mixing() -> str:
    """Name the doubt that is neither the crew's nor the product's."""
    return say("the floor, the plane, the mixing")


def this_crew() -> str:
    """Name the doubt of how this crew works."""
    return say("this crew")


def this_product() -> str:
    """Name the doubt of what this product gives."""
    return say("this product")


def by_the_past(factor: float, crew: int, product: int) -> str:
    """Say what the past makes of the bags."""
    return say(
        "{factor} of what the floor alone takes, by {crew} of this crew and {product} with this "
        "product",
        factor=numeral(factor, ".0%"),
        crew=say_many("{count} job", "{count} jobs", crew),
        product=say_many("{count} job", "{count} jobs", product),
    )
