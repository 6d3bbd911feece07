"""Parts of a report on what is to be done, and what `rig plan` prints: plane, quantities, markers.

Each is made from the study's answer; terminal and paper tell the same.
"""

from collections.abc import Callable
from dataclasses import dataclass

from rig.drawing.floor import cover_drawing
from rig.drawing.look import Look
from rig.drawing.points import markers_drawing
from rig.language import put
from rig.report.document import Block, Facts, Figure, Section, Table, Words, bullets, section
from rig.report.floor_part import doubt_blocks
from rig.report.source import Source
from rig.room import Outline, wall_towards
from rig.study.cover import thinnest_and_deepest
from rig.study.picture import Picture
from rig.study.plan_answer import PlanAnswer
from rig.study.plane import PlanWish
from rig.units import Units
from rig.words import join, numeral, say, say_many
from rig.words import plan as words


@dataclass(frozen=True, kw_only=True)
class PlanTold:
    """A plan that is to be told.

    Attributes
    ----------
    answer : PlanAnswer
    wish : PlanWish
        What was asked of it.
    units : Units
    outline : Outline
    where : callable
        Of x and y in mm: words for a place.
    picture : Picture or None
        Of the floor, to draw the cover over; without it nothing is drawn.
    look : Look
        Of the drawing.
    stale : tuple of str
        What changed under the plane since.
    stale_bags : tuple of str
        What changed under the count of bags.
    chosen : str
        Day and time.
    """

    answer: PlanAnswer
    wish: PlanWish
    units: Units
    outline: Outline
    where: Callable[[float, float], str]
    picture: Picture | None = None
    look: Look | None = None
    stale: tuple[str, ...] = ()
    stale_bags: tuple[str, ...] = ()
    chosen: str = ""


def plan_told(source: Source) -> PlanTold | None:
    """Return the plan of a report, or None where there is none yet."""
    plan = source.plan
    if plan is None:
        return None
    return PlanTold(
        answer=plan.answer,
        wish=plan.wish,
        units=source.units,
        outline=source.outline,
        where=source.where,
        picture=source.picture,
        look=source.look,
        stale=tuple(source.changed),
        stale_bags=tuple(source.job.changed_since(plan.row, bags=True)),
        chosen=source.time(plan.row.utc_s),
    )


def no_plan() -> Section:
    """Say that no plane has been chosen."""
    return section(
        "plane", say("Finished plane"), Words(say("No plane has been chosen yet (rig plan)."))
    )


def _lies(told: PlanTold) -> str:
    """Say where the finished plane lies, and which way it falls."""
    plane, slope = told.answer.plane, told.answer.slope
    if slope.falls_to_deg is None:
        return words.level_plane_lies(plane.a, told.units)
    corners = [plane.a + plane.b * x + plane.c * y for x, y in told.outline.walls]
    towards = wall_towards(told.outline, slope.falls_to_deg)
    return words.plane_falls(max(corners), min(corners), slope.ratio, towards, told.units)


def plane_section(told: PlanTold) -> Section:
    """Tell the finished plane and why it lies there."""
    answer, units = told.answer, told.units
    cover = answer.cover_mm
    rows = [
        (say("Lifts"), str(answer.lifts)),
        *([(say("Chosen (UTC)"), told.chosen)] if told.chosen else []),
    ]
    return section(
        "plane",
        say("Finished plane, and why"),
        Words(_lies(told), "lead", told="answer"),
        stale_words(told.stale),
        Facts(
            (
                (
                    say("Cover at the high point"),
                    say("{min} (best estimate)", min=units.length(cover.min)),
                ),
                (say("Cover on average"), units.length(cover.mean)),
                (say("Cover at the deepest"), units.length(cover.max)),
                (
                    say("Minimum cover"),
                    say(
                        "{min_cover}, kept everywhere with {kept_with}",
                        min_cover=units.length(answer.min_cover_mm),
                        kept_with=words.kept_with(answer.chance_min_cover),
                    ),
                ),
            ),
            told="answer",
        ),
        *_kept_if(answer, units),
        *_grinding(told),
        bullets(answer.warnings, "warning", told="answer"),
        _lifts(told),
        Words(_why(told)),
        Facts(tuple(rows)),
        _cover_figure(told),
        *doubt_blocks(None if told.stale else answer.budget, units),
    )


def _kept_if(answer: PlanAnswer, units: Units) -> list[Block]:
    """Tell what the cover's chance does not hold, where it would be less with that."""
    from rig.surface.hidden import HIGH_MM, LOW_MM
    from rig.surface.looked import HUMP_RADIUS_MM

    known, told = answer.chance_if, []
    if known is None or answer.chance_min_cover is None:
        return []
    if known.hump is not None and known.hump < answer.chance_min_cover:
        across_mm = 2.0 * HUMP_RADIUS_MM
        told.append(words.beside_hump(known.hump, LOW_MM, HIGH_MM, across_mm, units))
    if known.curled_joints is not None and known.curled_joints < answer.chance_min_cover:
        told.append(words.on_curled_slab(known.curled_joints))
    return [Words(text, told="answer") for text in told]


def quantities_section(told: PlanTold) -> Section:
    """Tell volume, bags and materials, with their doubt."""
    answer, units = told.answer, told.units
    volume, bags, load = answer.volume_l, answer.bags, answer.dead_load_kpa
    rows = [
        (
            say("Compound in place"),
            words.volume_between(volume.mean, volume.low, volume.high, units),
        ),
        (say("Enough at even odds"), say_many("{count} bag", "{count} bags", bags.p50)),
        (
            say("Enough 95 times in 100"),
            put(
                "{bags}, {waste}",
                bags=say_many("{count} bag", "{count} bags", bags.p95),
                waste=words.waste(bags.waste, bags.waste_share),
            ),
        ),
        (say("Stock for safety"), words.safety_stock(answer.safety.bags, answer.safety.shares)),
        (say("Dead load of the compound"), words.dead_load(load.mean, load.max, units)),
    ]
    if answer.history is not None:
        past = answer.history
        told_past = words.by_the_past(past.factor, past.jobs.crew, past.jobs.product)
        rows.append((say("By the past"), told_past))
    if volume.triangulated:
        rows.insert(1, (say("By flat triangles between shots"), units.volume(volume.triangulated)))
    bought = answer.purchase
    buy = (
        words.buy(bags.buy, answer.confidence)
        if bought is None
        else words.buy_cheapest(bags.buy, bought.chance_short, bought.expected_cost)
    )
    materials = tuple((one.item, one.text, one.source) for one in answer.materials)
    return section(
        "quantities",
        say("Quantities, with their doubt"),
        Words(buy, "lead", told="answer"),
        stale_words(told.stale_bags),
        Facts(tuple(rows)),
        Table(
            say("What else to have on site"),
            (say("Item"), say("How much"), say("By which rule")),
            materials,
        ),
        Words(words.rule_changes(), "small"),
        Words(say("Assumed, because it was not given:")) if answer.assumptions else None,
        bullets(answer.assumptions),
    )


def plan_cautions(answer: PlanAnswer) -> Section:
    """Tell what to mind: in full where there is to be grinding, else in one line or for `--why`."""
    if answer.spots:
        return section("cautions", say("Cautions"), bullets(answer.cautions, told="answer"))
    reminder = words.cautions_in_short()
    return section("cautions", say("Cautions"), bullets(answer.cautions, reminder=reminder))


def markers_section(source: Source, look: Look | None = None) -> Section | None:
    """Tell the marker sheet, large enough to be read from standing; `look` is that of its plan."""
    markers = source.markers
    if not markers:
        if source.plan is None:
            return None
        return section(
            "markers", say("Depth markers"), Words(say("None laid out yet (rig markers)."))
        )
    done = [marker for marker in markers if marker.is_set]
    doubt = max(marker.stick_out_stderr_mm for marker in markers)
    rows = tuple(
        (
            marker.label,
            source.length(marker.stick_out_mm),
            source.length(marker.target_reading_mm),
            join(
                " ",
                [
                    put("{where}.", where=source.where(marker.x_mm, marker.y_mm)),
                    *_state(source, marker.residual_mm),
                ],
            ),
        )
        for marker in markers
    )
    return section(
        "markers",
        say("Depth markers"),
        Words(
            say(
                "{markers}, {done} of them set.",
                markers=say_many("{count} marker", "{count} markers", len(markers)),
                done=len(done),
            ),
            "lead",
        ),
        stale_words(source.changed) if source.plan is not None else None,
        Table(
            say(
                "Marker sheet: top over the floor, and what the rod reads on it (line of set-up 1)"
            ),
            (say("Marker"), say("Stands out"), say("Rod reads"), say("Where")),
            rows,
            right=(1, 2),
            large=True,
        ),
        Words(
            say(
                "A stick-out is sure to {doubt} or better (95 %), the spot's own roughness "
                "included; the reading of the rod is what counts.",
                doubt=source.doubt(2 * doubt),
            ),
            "small",
        ),
        Figure("markers", markers_drawing(source.outline, look or source.alone_look(128), markers)),
    )


def stale_words(changed: list[str] | tuple[str, ...]) -> Words | None:
    """Say what changed under a plan since, where anything did."""
    if not changed:
        return None
    return Words(words.plan_is_stale(changed), "warning", told="answer")


def _lifts(told: PlanTold) -> Words | None:
    answer = told.answer
    if answer.lifts < 2:
        return None
    whole_m2 = answer.lifts_plan[-1].area_m2 if answer.lifts_plan else 0.0
    layers = [
        words.lift(one.lift, one.max_mm, one.area_m2, whole_m2, one.bags, told.units)
        for one in answer.lifts_plan
    ]
    return Words(join(" ", [words.in_lifts(answer.lifts), *layers]), told="answer")


def _why(told: PlanTold) -> str:
    answer, wish, units = told.answer, told.wish, told.units
    parts = []
    if answer.holds:
        names = join(
            ", ",
            (
                say("{name} at {height}", name=hold.name, height=units.length(hold.height_mm))
                for hold in answer.holds
            ),
        )
        parts.append(say("Held as asked: {names} (relative to the line).", names=names))
    if wish.max_slope is not None:
        parts.append(
            say(
                "Of the planes no steeper than {max_slope} it is the one that takes least "
                "compound and still keeps the minimum cover.",
                max_slope=units.slope(wish.max_slope),
            )
        )
    elif not answer.holds:
        parts.append(say("It is the lowest level floor that keeps the minimum cover."))
    if wish.grind_cost is not None and wish.fill_cost is not None:
        parts.append(
            say(
                "Grinding was weighed against filling at {grind_cost} and {fill_cost} a litre.",
                grind_cost=numeral(wish.grind_cost, "g"),
                fill_cost=numeral(wish.fill_cost, "g"),
            )
        )
    high = answer.high
    if high is not None:
        parts.append(
            say(
                "The floor's highest place is found at {z} below the line; as the model of "
                "floors has it, with {confidence} nothing stands higher than {upper}, and the "
                "minimum cover of {min_cover} lies over that. How often that was so, by kind "
                "of floor: rig guide stated.",
                z=units.length(-high.z_mm),
                confidence=numeral(answer.confidence, ".0%"),
                upper=units.length(-high.upper_mm),
                min_cover=units.length(answer.min_cover_mm),
            )
        )
    return join(" ", parts)


def _grinding(told: PlanTold) -> list[Block | None]:
    ground, units = told.answer.grind, told.units
    if ground is None:
        return []
    if not ground.spots:
        return [Words(words.no_grinding(), told="answer")]
    first = words.grind_spots(len(ground.spots), ground.volume_l, ground.saves_bags, units)
    spots = [
        words.grind_spot(
            spot.depth_mm,
            spot.area_m2,
            told.where(spot.x_mm, spot.y_mm),
            spot.until_reading_mm,
            units,
        )
        for spot in ground.spots
    ]
    return [Words(first, told="answer"), bullets(spots, told="answer")]


def _cover_figure(told: PlanTold) -> Figure | None:
    if told.picture is None or told.look is None:
        return None
    answer, picture = told.answer, told.picture
    drawing = cover_drawing(
        picture.outline,
        told.look,
        lambda x, y: answer.plane.at(x, y) - picture.surface.predict(x, y, quick=True)[0],
        thinnest_and_deepest(picture, answer),
        answer.min_cover_mm,
        answer.spots,
    )
    return Figure("cover", drawing)


def _state(source: Source, residual_mm: float | None) -> list[str]:
    if residual_mm is None:
        return []
    off = source.off(residual_mm)
    return [say("Set, {off} high." if residual_mm > 0 else "Set, {off} low.", off=off)]
