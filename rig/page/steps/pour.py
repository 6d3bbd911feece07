"""The plan of the pour: crew and mixers, the schedule, how old the wet edge gets."""

import time
from dataclasses import dataclass
from functools import partial
from typing import Any

from rig.errors import BadInput
from rig.language import numeral, put, say
from rig.page.quotes import names_of
from rig.page.steps.lifts import Lifts, lift_of, lifts_view
from rig.page.told import Parts, parts
from rig.page.visit import NO_ACT, Step, Visit
from rig.record import Record
from rig.report.pour_part import pour_plan_section
from rig.study.fresh import fresh_plan
from rig.study.lifting import has_no_lift
from rig.study.pour_answer import PourWish
from rig.study.pour_log import last_pour_plan
from rig.study.pour_plan import make_pour_plan
from rig.study.pour_wish import by_names
from rig.study.room import outline_of
from rig.study.rooms import in_pour_order
from rig.units import parse_duration

LONGEST_CREW = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class PourOfRoom(Record):
    """The planned pour of a room; its name where there are several, in their order."""

    name: str = ""
    told: Parts | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PourView(Record):
    """What the page of the pour's plan shows."""

    rooms: tuple[PourOfRoom, ...]
    planned: bool
    mixers: str
    crew: str
    mix_time: str
    working_time: str
    bags_per_batch: str
    crews: tuple[tuple[str, str], ...]
    mixer_names: tuple[tuple[str, str], ...]
    lifts: Lifts


class _Pour(Step):
    key = "pour"

    def view(self, visit: Visit) -> PourView:
        job = visit.job
        found, kept = [], None
        with in_pour_order(job) as rooms:
            for name, one in rooms:
                last = last_pour_plan(one)
                if last is None:
                    fresh_plan(one)
                    found.append(PourOfRoom(name=name))
                    continue
                first, kept = kept is None, last[1]
                part = pour_plan_section(kept.result, visit.units, first=first)
                found.append(PourOfRoom(name=name, told=parts([part], name)))
        wish = PourWish() if kept is None else kept.inputs
        sheet = job.settings.compound
        mix_s = wish.mix_time_s or (None if sheet is None else sheet.mix_time_s)
        working_s = wish.working_time_s or (None if sheet is None else sheet.working_time_s)
        return PourView(
            rooms=tuple(found),
            planned=kept is not None,
            mixers=str(wish.mixers or ""),
            crew=str(wish.crew or ""),
            mix_time=_minutes(mix_s),
            working_time=_minutes(working_s),
            bags_per_batch=str(wish.bags_per_batch),
            crews=names_of("crew"),
            mixer_names=names_of("mixer"),
            lifts=lifts_view(visit),
        )

    def act(self, visit: Visit, act: str) -> str:
        if act != "plan":
            raise BadInput(NO_ACT)
        form = visit.form
        known = _remembered(visit)
        mixers = form.whole("mixers", say("The number of mixers"), 1, LONGEST_CREW)
        crew = form.whole("crew", say("The number of people"), 1, LONGEST_CREW)
        minutes = partial(parse_duration, bare="min")
        needed = "" if known["mix_time_s"] else say("How long is a batch mixed? As 2min.")
        mix = form.quantity("mix_time", minutes, needed)
        working = form.quantity("working_time", minutes, say("How long does it flow? As 20min."))
        batch = form.whole("bags_per_batch", say("Bags in a batch"), 1, 20)
        lift = lift_of(form)
        wish = PourWish(
            mixers=known["mixers"] or mixers,
            crew=known["crew"] or crew,
            mix_time_s=known["mix_time_s"] or mix,
            working_time_s=working,
            bags_per_batch=known["bags_per_batch"] or batch or 1,
            lift=lift,
        )
        for name, value in (("mixers", wish.mixers), ("crew", wish.crew)):
            if value is None:
                form.wrong.setdefault(name, say("How many?"))
        form.check()
        _plan(visit, wish)
        return ""


def _remembered(visit: Visit) -> dict[str, Any]:
    """Return what the crew and the mixer that were picked by name bring with them."""
    form = visit.form
    found: dict[str, Any] = by_names({}, None, None)
    with form.noted("crew_name"):
        found |= by_names({}, form.text("crew_name") or None, None)
    with form.noted("mixer_name"):
        found = by_names(found, None, form.text("mixer_name") or None)
    return found


def _plan(visit: Visit, wish: PourWish) -> None:
    """Plan the pour of each room that has the lift; all or none."""
    planned = 0
    with (
        visit.job.together(say("the pour was not planned")),
        in_pour_order(visit.job) as rooms,
    ):
        for _, one in rooms:
            if visit.in_house and has_no_lift(one, wish.lift):
                continue
            make_pour_plan(one, outline_of(one), wish, time.time())
            planned += 1
        if not planned:
            raise BadInput(say("No room has a lift {lift}.", lift=wish.lift))


def _minutes(seconds: float | None) -> str:
    return "" if seconds is None else put("{n}min", n=numeral(seconds / 60, "g"))


STEP = _Pour()
