"""The live log of a pour: batches, fronts and ticks, by keys, a button or a page."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, assert_never

from rig.errors import RigError
from rig.events import (
    AskPour,
    Dry,
    Edge,
    Edges,
    Estimate,
    FrontAt,
    NextBatch,
    PourDone,
    Poured,
    PourEvent,
    Prepour,
    Resumed,
    SurveyEvent,
    Ticked,
    Trouble,
    Undone,
)
from rig.language import changed, say
from rig.record import Record
from rig.room import Outline
from rig.session.beam import DARK_S
from rig.session.kind import Beginning, Kind
from rig.session.pour_keys import HELP, PourKeys
from rig.session.pouring import PourRecorder, live_plan, pour_machine
from rig.session.scene import Scene, measures_of
from rig.session.sections import (
    EdgeShown,
    PourShown,
    StripArea,
    StripShown,
    places_of,
    plan_of,
    ring,
)
from rig.study.pour_log import StandingPour, plan_of_pour
from rig.study.pour_plan import order_again
from rig.words.live import Said
from rig.words.pour_log import left_to_tick

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.pour.pouring import Pouring

POUR_ACTS = ("batch", "front", "undo", "stop", "tick", "accept")


@dataclass(frozen=True, slots=True, kw_only=True)
class PourSettings(Record):
    """What a pour goes by: the id of its plan, and the bags on site."""

    pour_plan: int
    bags: float


class Pour(Kind[PourSettings]):
    """The pour of a plan."""

    name = "pour"
    settings = PourSettings
    acts = POUR_ACTS
    help = HELP

    def parser(self) -> PourKeys:
        """Return what makes acts of keys."""
        return PourKeys()

    def machine(self, begun: Beginning[PourSettings]) -> "Pouring":
        """Return the live log, with what earlier sessions of this pour logged."""
        job, clock_s = begun.job, begun.monotonic_s or 0.0
        made = plan_of_pour(job, begun.settings.pour_plan)
        live = live_plan(made, begun.settings.bags, begun.units)
        return pour_machine(job, made, live, begun.boot_id, clock_s, begun.utc_s)

    def log(
        self,
        begun: Beginning[PourSettings],
        session: int | Callable[[], int],
        most_bytes: int | None = None,
    ) -> PourRecorder:
        """Keep every act at once; the session is begun by now."""
        assert isinstance(session, int)
        made = plan_of_pour(begun.job, begun.settings.pour_plan)
        return PourRecorder(begun.job, session, made.answer.interval_s)

    def scene(
        self, begun: Beginning[PourSettings], acts: tuple[str, ...] = (), quiet_s: float = DARK_S
    ) -> Scene:
        """Show strips and batches, the wet edge, the bags that are left."""
        made = plan_of_pour(begun.job, begun.settings.pour_plan)
        answer, batches = made.answer, made.answer.batches
        places = places_of([(str(b.n), b.x_mm, b.y_mm) for b in batches])
        areas = _strips(begun.job, begun.outline, made)
        return PourScene(
            "pour",
            say("Pour"),
            begun.units,
            replace(plan_of(begun.outline), strips=areas),
            tuple(
                replace(place, area=round(batch.area_m2, 3))
                for place, batch in zip(places, batches, strict=True)
            ),
            measures=measures_of(begun.outline, begun.units),
            acts=acts,
            pour=PourShown(
                batches=len(batches),
                strip=batches[0].strip,
                strips=tuple(StripShown(strip=s.strip, markers=s.markers) for s in answer.strips),
                bags_left=begun.settings.bags,
                working_s=answer.working_time_s,
            ),
        )


class PourScene(Scene):
    """A pour as the page shows it."""

    @property
    def _pour(self) -> PourShown:
        assert self.sections.pour is not None
        return self.sections.pour

    def on_survey(self, event: SurveyEvent, told: Said) -> set[str]:
        """Take a batch back; that steps are unticked stands there from the beginning."""
        if isinstance(event, Trouble) and event.reason == "unticked":
            return set()
        changed = super().on_survey(event, told)
        if isinstance(event, Undone) and event.label.startswith("batch "):
            self.sections.pour = replace(self._pour, poured=max(0, self._pour.poured - 1))
            changed |= self.mark(event.label.removeprefix("batch "), "todo") | {"pour"}
        return changed

    def on_pour(self, event: PourEvent, told: Said) -> set[str]:
        """Show bags, front, edges, and what comes next."""
        pour = self._pour
        match event:
            case NextBatch():
                return self._next(event)
            case Poured():
                self.sections.pour = replace(
                    pour,
                    poured=event.n,
                    bags_used=event.bags_used,
                    bags_left=event.bags_left,
                    should=event.front_should,
                )
                return self.mark(str(event.n), "done") | {"pour"} | self.last(told)
            case Resumed():
                return self._resume(event, told)
            case FrontAt():
                self.sections.pour = replace(pour, front=event.strip, dry=())
                return {"pour"} | self.last(told)
            case Estimate():
                self.sections.pour = replace(pour, estimate=event.text, short=event.short_bags)
                return {"pour"}
            case Edges():
                self.sections.pour = replace(pour, edges=_shown(event), left_s=event.left_s)
                return {"pour"}
            case Edge():
                return self.note(told)
            case Dry():
                self.sections.pour = replace(pour, dry=event.markers)
                return {"pour"} | self.note(told)
            case Prepour():
                self.sections.pour = replace(pour, unticked=event.left)
                return {"pour"} | self.note(told._replace(text=left_to_tick(len(event.left))))
            case Ticked():
                left = tuple(step for step in pour.unticked if step != event.step)
                self.sections.pour = replace(pour, unticked=left)
                return {"pour"} | self.note(told)
            case AskPour():
                return self.ask(event.text)
            case PourDone():
                return self.done(told)
        assert_never(event)

    def _next(self, event: NextBatch) -> set[str]:
        self.sections.pour = replace(self._pour, next=event.n, strip=event.strip)
        where, label = changed(event.text, _strip_and_where), str(event.n)
        text = say("batch {n}", n=event.n)
        return self.go("batch", label, event.x_mm, event.y_mm, where, text) | {"pour"}

    def _resume(self, event: Resumed, told: Said) -> set[str]:
        self.sections.pour = replace(self._pour, poured=event.batches, front=event.strip)
        changed = {"pour"} | self.note(told)
        for n in range(event.batches):
            changed |= self.mark(str(n + 1), "done")
        return changed


def _strip_and_where(text: str) -> str:
    """Leave out which batch it is, which is shown larger."""
    return re.sub(r"\s*: ", ", ", text.partition(", ")[2], count=1)


def _shown(event: Edges) -> tuple[EdgeShown, ...]:
    return tuple(
        EdgeShown(strip=strip, age_s=age_s)
        for strip, age_s in zip(event.strips, event.ages_s, strict=True)
    )


def _strips(job: "Job", outline: Outline, made: StandingPour) -> tuple[StripArea, ...]:
    """Each strip's rings, its batches, and where its number is in nobody's way."""
    import numpy as np
    import shapely

    from rig.drawing.pour import Shares, strip_areas

    try:
        again = order_again(job, outline, made)
    except RigError:
        again = None
    if again is None:  # the page then goes without areas
        return ()
    ground, order = again
    floor, batches = ground.floor, made.answer.batches
    shares = Shares(floor.x_mm, floor.y_mm, floor.step_mm, order.batch_of)
    strip_of = np.array([one.strip for one in batches])[order.batch_of]
    middles = shapely.points([(one.x_mm, one.y_mm) for one in batches])
    cells = shapely.points(floor.x_mm, floor.y_mm)
    found = []
    for strip, area in strip_areas(outline, batches, shares).items():
        own = cells[strip_of == strip]
        free = shapely.distance(own, shapely.union_all(middles))
        rim = shapely.distance(own, area.boundary)
        spot = own[int(np.argmax(np.minimum(free, 3.0 * rim)))]
        parts = shapely.get_parts(shapely.simplify(area, floor.step_mm / 10))
        rings = [one for part in parts for one in (part.exterior, *part.interiors)]
        found.append(
            StripArea(
                strip=strip,
                batches=tuple(one.n for one in batches if one.strip == strip),
                rings=tuple(ring(one.coords) for one in rings),
                x=round(spot.x),
                y=round(spot.y),
            )
        )
    return tuple(found)


KIND = Pour()
