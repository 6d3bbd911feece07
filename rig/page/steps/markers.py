"""The depth markers: the layout, moved, added to and taken from by the thumb."""

from dataclasses import dataclass

from markupsafe import Markup

from rig.errors import BadInput
from rig.guidance.moved import Changes
from rig.language import say
from rig.page.drawn import look, markup
from rig.page.steps.lifts import Lifts, laid_for, lift_of, lifts_view
from rig.page.visit import NO_ACT, NO_PART, Served, Step, Visit, narrow_to_place
from rig.record import Record
from rig.report.source import place_words
from rig.room import is_within
from rig.study.markers_answer import height_at, make_markers, usual_reach_mm
from rig.study.room import outline_of

ASKS = say("Tap the place, or type where it is.")


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerRow(Record):
    """A marker: where, how high, and whether it is set."""

    label: str
    where: str
    stick_out: str
    reading: str
    is_set: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkersView(Record):
    """What the page of the markers shows."""

    drawing: Markup | None
    markers: tuple[MarkerRow, ...]
    reach: str
    lifts: Lifts
    laid_for: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightView(Record):
    """How high a marker would stand at a place."""

    where: str
    stick_out: str
    reading: str


class _Markers(Step):
    key = "markers"

    def view(self, visit: Visit) -> MarkersView:
        from rig.drawing.points import markers_drawing

        job, units = visit.job, visit.units
        outline, markers = outline_of(job), job.markers()
        lifts = lifts_view(visit)
        return MarkersView(
            drawing=markup(markers_drawing(outline, look(units), markers)) if markers else None,
            markers=tuple(
                MarkerRow(
                    label=one.label,
                    where=place_words(outline, one.x_mm, one.y_mm, units),
                    stick_out=units.length(one.stick_out_mm),
                    reading=units.length(one.target_reading_mm),
                    is_set=one.is_set,
                )
                for one in markers
            ),
            reach=units.place(usual_reach_mm(units)),
            lifts=lifts,
            laid_for=laid_for(visit) if markers else "",
        )

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        if part != "height":
            raise BadInput(NO_PART)
        return "height.html", _height(visit)

    def act(self, visit: Visit, act: str) -> str:
        form = visit.form
        word, _, label = act.partition(" ")
        match word:
            case "lay":
                reach = form.length("reach", say("The reach"), visit.room_unit, above=0.0)
                lift = lift_of(form)
                form.check()
                with form.at("reach"):
                    make_markers(visit.job, reach, lift=lift)
            case "add":
                at = visit.place(ASKS)
                narrow_to_place(visit, *at)
                make_markers(visit.job, None, Changes(add=[at]))
            case "move":
                label = form.text("label")
                if not label:
                    form.wrong["label"] = say("Which marker?")
                    form.check()
                at = visit.place(ASKS)
                _narrow_to_marker(visit, label)
                make_markers(visit.job, None, Changes(move=[(label, at)]))
            case "drop":
                _narrow_to_marker(visit, label)
                make_markers(visit.job, None, Changes(drop=[label]))
            case _:
                raise BadInput(NO_ACT)
        return ""


def _height(visit: Visit) -> HeightView:
    """Tell how high a marker would stand at a place that is tapped or dragged to."""
    x, y = visit.place(ASKS)
    narrow_to_place(visit, x, y)
    units, outline = visit.units, outline_of(visit.job)
    if not is_within(outline, x, y):
        raise BadInput(say("That place is not in the room."))
    found = height_at(visit.job, x, y)
    return HeightView(
        where=place_words(outline, x, y, units),
        stick_out=units.length(found.stick_out_mm),
        reading=units.length(found.target_reading_mm),
    )


def _narrow_to_marker(visit: Visit, label: str) -> None:
    """Narrow the job to the room that a marker stands in."""
    for one in visit.job.markers():
        if one.label.casefold() == label.strip().casefold():
            narrow_to_place(visit, one.x_mm, one.y_mm)
            return


STEP = _Markers()
