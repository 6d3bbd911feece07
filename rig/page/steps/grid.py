"""The grid: how far apart the points stand, what that is likely to cost, and the walk."""

from dataclasses import dataclass

from markupsafe import Markup

from rig.errors import BadInput
from rig.page.drawn import look, markup
from rig.page.visit import NO_PART, Served, Step, Visit
from rig.record import Record
from rig.study.grid import doubts_of, make_grid, make_lines, usual_edge_mm, usual_spacing_mm
from rig.study.room import outline_of
from rig.study.rooms import refuse_several
from rig.words import grid as words
from rig.words import say


@dataclass(frozen=True, slots=True, kw_only=True)
class GridView(Record):
    """What the page of the grid shows."""

    drawing: Markup | None
    points: int
    spacing: str
    edge: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CostView(Record):
    """What each spacing is likely to cost."""

    assumed: str
    lines: tuple[str, ...]


class _Grid(Step):
    key = "grid"

    def view(self, visit: Visit) -> GridView:
        from rig.drawing.points import walk_drawing

        job, units = visit.job, visit.units
        points = job.points()
        shot = {point.label for point in points} - {p.label for p in job.unshot("floor")}
        drawing = None
        if points:
            drawing = markup(walk_drawing(outline_of(job), look(units), points, shot))
        return GridView(
            drawing=drawing,
            points=len(points),
            spacing=units.place(usual_spacing_mm(units)),
            edge=units.place(usual_edge_mm(units)),
            warnings=tuple(doubts_of(job, None)),
        )

    def act(self, visit: Visit, act: str) -> str:
        if act == "lines":
            make_lines(visit.job)
            return ""
        form = visit.form
        spacing = form.length("spacing", say("The spacing"), visit.room_unit, above=0.0)
        edge = form.length("edge", say("The edge"), visit.cover_unit, minimum=0.0)
        form.check()
        shots = len(visit.job.shots(kinds=["floor"]))
        form.confirm([words.shots_stay(shots)] if shots else [])
        with form.at("spacing"):
            make_grid(visit.job, spacing, edge)
        return ""

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        from rig.study.spacing import spacing_answer, usual_spacings_mm

        if part != "cost":
            raise BadInput(NO_PART)
        job, units = visit.job, visit.units
        refuse_several(job)
        told = spacing_answer(job, outline_of(job), usual_spacings_mm(units), usual_edge_mm(units))
        lines = [
            words.cost_of_spacing(c.spacing_mm, c.points, c.safety_mm, c.safety_bags, units)
            for c in told.advise
        ]
        return "grid_cost.html", CostView(
            assumed=words.cost_of_doubt(told.assumed), lines=tuple(lines)
        )


STEP = _Grid()
