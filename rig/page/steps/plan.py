"""The plan: kinds of finished plane beside each other, sliders that answer, and the one chosen."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from rig.errors import BadInput, RigError
from rig.job.settings import Settings
from rig.job.store import Job
from rig.language import numeral, say, say_many
from rig.page.drawn import look
from rig.page.told import Parts, parts
from rig.page.visit import NO_ACT, NO_PART, Served, Step, Visit
from rig.record import Record
from rig.report.document import Facts, Words, bullets, section
from rig.report.plan_part import PlanTold, plan_cautions, plane_section, quantities_section
from rig.report.source import place_words
from rig.study.described import check_settings
from rig.study.house_plan import (
    HousePlan,
    house_plan,
    last_house_plan,
    make_house_plan,
    room_plan_lines,
)
from rig.study.picture import picture_of
from rig.study.plan_answer import StoredPlan, make_plan, plan_answer, stored_plan
from rig.study.plane import PlanWish
from rig.study.planned import PlanAnswer
from rig.study.room import outline_of
from rig.study.rooms import each_room, has_several, in_room
from rig.units import MM_PER_IN, Units, format_asked, format_chance
from rig.words.rooms import one_order
from rig.words.unknown import not_known

MOST_COVER_MM = MM_PER_IN
USUAL_COVER_MM = 3.0
SLOPES = (0.001, 0.002, 0.003, 0.005)


class _Tried(Job):
    """A job as it would be with other settings; nothing of it is kept."""

    tried: Settings | None = None

    @property
    def settings(self) -> Settings:
        """Those that are tried."""
        return super().settings if self.tried is None else self.tried


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanView(Record):
    """What the page of the plan shows."""

    told: Parts | None
    stale: tuple[str, ...]
    target: str
    cover: str
    most_cover: str
    cover_step: str
    slope: str
    confidence: str
    thresholds: tuple[str, ...]
    held: tuple[str, ...]
    together: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice(Record):
    """A kind of plane: what it takes, or why it cannot be."""

    name: str
    bags: str = ""
    volume: str = ""
    chance: str = ""
    cover: str = ""
    trouble: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices(Record):
    """Kinds of planes beside each other."""

    choices: tuple[Choice, ...]


class _Plan(Step):
    key = "plan"

    def view(self, visit: Visit) -> PlanView:
        job, units = visit.job, visit.units
        with each_room(job) as rooms:
            plans = [(stored_plan(one), _stale(one)) for one in rooms]
        stored = next((plan for plan, _ in plans if plan is not None), None)
        wish = PlanWish() if stored is None else stored.wish
        house = last_house_plan(job) if visit.in_house else None
        return PlanView(
            told=_told_of_visit(visit, house, stored),
            stale=tuple(dict.fromkeys(text for _, stale in plans for text in stale)),
            target="flat" if wish.max_slope else "level",
            cover=_shown_cover(job.settings, units),
            most_cover=f"{_in_unit(MOST_COVER_MM, units):g}",
            cover_step=f"{_in_unit(_step_mm(units), units):g}",
            slope=f"{1000.0 * (wish.max_slope or 0.002):.1f}",
            confidence=f"{100 * wish.confidence:.0f}",
            thresholds=tuple(dict.fromkeys(s.point for s in job.shots(kinds=["threshold"]))),
            held=_held(plan for plan, _ in plans),
            together=house is not None and house.plane is not None,
        )

    def act(self, visit: Visit, act: str) -> str:
        if act != "plan":
            raise BadInput(NO_ACT)
        wish, settings = _wish(visit)
        with visit.job.together(say("the plan was not kept")):
            if settings != visit.job.settings:
                visit.job.update_settings(settings)
            if visit.in_house:
                make_house_plan(visit.job, wish, together=_together(visit))
            else:
                make_plan(visit.job, wish)
        return ""

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        wish, settings = _wish(visit)
        match part:
            case "try":
                wished = [(say("This one"), wish, _together(visit))]
                (found,) = _choices(visit, wished, settings)
                return "plan_try.html", found
            case "choices":
                flat = [
                    (
                        say("Sloping up to {s}", s=visit.units.slope(s)),
                        replace(wish, max_slope=s),
                        False,
                    )
                    for s in SLOPES
                ]
                level = replace(wish, max_slope=None)
                free = replace(level, holds=())
                named = [(say("Level"), free, False), *flat]
                if visit.in_house:
                    named[0] = (say("Level, each room by itself"), free, False)
                    named.insert(1, (say("One level through all rooms"), free, True))
                if wish.holds:
                    named.insert(1, (say("Level, held at the thresholds"), level, False))
                return "plan_choices.html", Choices(choices=_choices(visit, named, settings))
        raise BadInput(NO_PART)


def _held(plans: Iterable[StoredPlan | None]) -> tuple[str, ...]:
    """Return the thresholds that plans are held at."""
    holds = [hold for plan in plans if plan is not None for hold in plan.wish.holds]
    return tuple(hold for hold in holds if isinstance(hold, str))


def _stale(job: Job) -> list[str]:
    plan = job.current_plan()
    return [] if plan is None else job.changed_since(plan, bags=True)


def _together(visit: Visit) -> bool:
    return visit.in_house and bool(visit.form.text("together"))


def _told_of_visit(
    visit: Visit, house: HousePlan | None, stored: StoredPlan | None
) -> Parts | None:
    if visit.in_house:
        return None if house is None else _told_of_house(house, visit.units)
    return None if stored is None else _told(visit, stored)


def _told_of_house(house: HousePlan, units: Units) -> Parts:
    """Tell the plan of all rooms: one order, then each room in a line."""
    order = one_order(house.bags.buy, house.bags_apart.buy, format_asked(house.confidence))
    told = section(
        "rooms",
        say("All rooms"),
        Words(order, "lead", told="answer"),
        bullets(room_plan_lines(house, units), told="answer"),
        bullets(house.warnings, "warning", told="answer"),
        Facts(tuple((one.item, one.text) for one in house.materials), told="answer"),
        bullets(house.cautions),
    )
    return parts([told])


def _told(visit: Visit, stored: StoredPlan) -> Parts:
    """Tell the plan of the room that the job is narrowed to."""
    units, outline = visit.units, outline_of(visit.job)
    about = PlanTold(
        answer=stored.answer,
        wish=stored.wish,
        units=units,
        outline=outline,
        where=lambda x, y: place_words(outline, x, y, units),
        picture=picture_of(visit.job, outline, stored.wish.confidence),
        look=look(units),
    )
    sections = [plane_section(about), quantities_section(about)]
    return parts([*sections, plan_cautions(stored.answer)])


def _wish(visit: Visit) -> tuple[PlanWish, Settings]:
    """Return what a form asks of the plane, and the settings that it would change."""
    form = visit.form
    cover_mm = form.length("cover", say("The minimum cover"), visit.cover_unit, minimum=0.0)
    slope = form.read("slope", lambda text: _number(text, 0.0, 100.0)) or 2.0
    confidence = form.read("confidence", lambda text: _number(text, 50.0, 99.9)) or 95.0
    grind = form.quantity("grind", lambda text: _number(text, 0.01, 1e6))
    fill = form.quantity("fill", lambda text: _number(text, 0.01, 1e6))
    form.check()
    settings = visit.job.settings
    # A slider stands on its steps; where it was not moved, what the sheet says stays as it is.
    moved = form.text("cover") != _shown_cover(settings, visit.units)
    if cover_mm is not None and (moved or settings.min_cover_mm is None):
        settings = replace(settings, min_cover_mm=cover_mm)
        check_settings(settings)
    thresholds = {shot.point for shot in visit.job.shots(kinds=["threshold"])}
    wish = PlanWish(
        max_slope=slope / 1000.0 if form.text("target") == "flat" else None,
        holds=tuple(sorted(label for label in thresholds if form.text(f"hold {label}"))),
        confidence=confidence / 100.0,
        grind_cost=grind,
        fill_cost=fill,
    )
    wish.check()
    return wish, settings


def _step_mm(units: Units) -> float:
    return 0.5 if units.is_metric else MM_PER_IN / 32


def _in_unit(mm: float, units: Units) -> float:
    return mm if units.is_metric else mm / MM_PER_IN


def _shown_cover(settings: Settings, units: Units) -> str:
    """Return the minimum cover on the slider's nearest step, as a browser writes it."""
    cover_mm, step_mm = settings.min_cover_mm, _step_mm(units)
    steps = round((USUAL_COVER_MM if cover_mm is None else cover_mm) / step_mm)
    return f"{_in_unit(steps * step_mm, units):g}"


def _number(text: str, least: float, most: float) -> float:
    try:
        number = float(text)
    except ValueError:
        raise BadInput(say("{text!r} is no number.", text=text[:20])) from None
    if not least <= number <= most:
        raise BadInput(
            say(
                "{number} is not from {least} to {most}.",
                number=numeral(number, "g"),
                least=numeral(least, "g"),
                most=numeral(most, "g"),
            )
        )
    return number


_Wished = tuple[str, PlanWish, bool]
"""What a plane is called, what is asked of it, and whether it is one through all rooms."""


def _choices(visit: Visit, named: Sequence[_Wished], settings: Settings) -> tuple[Choice, ...]:
    """Plan the floor by other settings and wishes; nothing is kept."""
    with _Tried.open(visit.path) as job:
        job.tried = settings
        in_room(job, visit.room)
        return tuple(_choice(job, *wished) for wished in named)


def _choice(job: Job, name: str, wish: PlanWish, together: bool) -> Choice:
    units = job.units
    answer: PlanAnswer | HousePlan
    try:
        if has_several(job):
            answer = house_plan(job, wish, together=together)
        else:
            picture = picture_of(job, outline_of(job), wish.confidence)
            answer = plan_answer(job, picture, wish, warned=False)
    except RigError as error:
        return Choice(name=name, trouble=error.text)
    return Choice(
        name=name,
        bags=say_many("{count} bag", "{count} bags", answer.bags.buy),
        volume=units.volume(answer.volume_l.mean),
        chance=not_known()
        if answer.chance_min_cover is None
        else format_chance(answer.chance_min_cover, wish.confidence),
        cover=_covers(answer.cover_mm.min, answer.cover_mm.max, units),
    )


def _covers(least_mm: float, most_mm: float, units: Units) -> str:
    return say("{least} to {most}", least=units.length(least_mm), most=units.length(most_mm))


STEP = _Plan()
