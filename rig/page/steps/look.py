"""Looks between the shots: where one is worth it, and what a straightedge or a slide showed."""

from dataclasses import dataclass

from markupsafe import Markup

from rig.errors import BadInput, CannotAnswer
from rig.language import say
from rig.page.drawn import look, markup
from rig.page.steps.source import SourceView, source_of, source_view
from rig.page.visit import NO_ACT, Step, Visit
from rig.page.work import Wanted
from rig.record import Record
from rig.report.source import place_words
from rig.session.begin import DragWish
from rig.study.dragged import drags_of, ends_beside
from rig.study.floor_answer import floor_answer
from rig.study.looked import edge_through, keep_look, looks_of
from rig.study.looks import WorthLook
from rig.study.picture import picture_of
from rig.study.room import outline_of
from rig.surface.looked import Looked
from rig.words import floor as floor_words
from rig.words import look as words

CONFIDENCE = 0.95
MOST_TOLD = 6
AT = {"middle": 0.5, "start": 0.0, "end": 1.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class LookView(Record):
    """What the page of the looks shows: places worth one by number, and what was looked at.

    `ends` are the shots on both sides of the first of these places.
    """

    drawing: Markup
    places: tuple[tuple[str, str], ...]
    usual: str
    source: SourceView
    ends: tuple[str, str]
    looked: tuple[str, ...]


class _Look(Step):
    key = "look"

    def view(self, visit: Visit) -> LookView:
        from rig.drawing.points import pins_drawing

        if visit.in_house:
            raise CannotAnswer(say("Which room? Pick it above."))
        job, units = visit.job, visit.units
        outline, worth = outline_of(job), _worth(visit)
        pins = [(str(n), one.x_mm, one.y_mm) for n, one in enumerate(worth, 1)]
        return LookView(
            drawing=markup(pins_drawing(outline, look(units), pins, words.WHERE_TO_LOOK)),
            places=tuple(
                (
                    f"{one.x_mm:.0f}mm,{one.y_mm:.0f}mm",
                    floor_words.look_worth_it(
                        place_words(outline, one.x_mm, one.y_mm, units),
                        one.hides_mm,
                        one.bags,
                        units,
                    ),
                )
                for one in worth
            ),
            usual="2m" if units.is_metric else "6ft",
            source=source_view(visit),
            ends=ends_beside(visit.job, *[(one.x_mm, one.y_mm) for one in worth[:1]]),
            looked=(
                *(words.kept(o.gap_mm, o.at_mm is None, o.rocks, units) for o in looks_of(job)),
                *(one.text for one in drags_of(job)),
            ),
        )

    def act(self, visit: Visit, act: str) -> "str | Wanted":
        if act == "slide":
            return _slide(visit)
        if act not in ("flat", "gap"):
            raise BadInput(NO_ACT)
        form, outline = visit.form, outline_of(visit.job)
        at = _place(visit)
        needed = say("How long is the straightedge?")
        long = form.length(
            "long", say("The straightedge"), visit.room_unit, needed=needed, above=0.0
        )
        gap = None
        if act == "gap":
            needed = say("How large is the gap?")
            gap = form.length("gap", say("The gap"), visit.cover_unit, needed=needed, above=0.0)
        form.check()
        assert long is not None
        with form.at("long"):
            start, end = edge_through(outline, at, form.text("way") != "y", long, visit.units)
        found = Looked(start, end)
        if gap is not None:
            share = AT.get(form.text("under"), 0.5)
            where = tuple(a + share * (b - a) for a, b in zip(start, end, strict=True))
            found = Looked(start, end, gap, (where[0], where[1]))
        with form.at("gap"):
            keep_look(visit.job, found)
        return ""


def _slide(visit: Visit) -> Wanted:
    """Return the slide of the rod that is wanted."""
    form = visit.form
    start = form.name("start", say("The shot where the slide begins"))
    end = form.name("end", say("The shot where it ends"))
    source = source_of(visit)
    form.check()
    assert start is not None
    assert end is not None
    return Wanted(wish=DragWish(drag=(start, end)), source=source)


def _worth(visit: Visit) -> tuple[WorthLook, ...]:
    picture = picture_of(visit.job, outline_of(visit.job), CONFIDENCE)
    return floor_answer(visit.job, picture).look_between[:MOST_TOLD]


def _place(visit: Visit) -> tuple[float, float]:
    """Return the place that was tapped or typed, else the one that was picked from the list."""
    form = visit.form
    picked = form.text("place").split(",")
    if not form.text("x") and not form.text("y") and len(picked) == 2:
        form.fields = {**form.fields, "x": picked[0], "y": picked[1]}
    return visit.place(say("Pick a place of the list, or tap one."))


STEP = _Look()
