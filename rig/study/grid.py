"""Where to shoot: the grid of a job's points and its walk, or lines for F-numbers."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rig.errors import BadInput, CannotAnswer
from rig.language import say
from rig.record import Record
from rig.study.room import outline_of
from rig.study.rooms import each_room, everywhere, has_several
from rig.survey.grid import GridPoint, lay_out, named_apart
from rig.units import Units

if TYPE_CHECKING:
    from rig.job.store import Job


@dataclass(frozen=True, slots=True, kw_only=True)
class GridAnswer(Record):
    """Points in the order to walk them, as `rig grid --json` prints them."""

    points: tuple[GridPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedShot(Record):
    """A shot that was tagged to a wrong point."""

    was: str
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RelabelAnswer(Record):
    """Shots that were moved along the walk, as `rig relabel --json` prints them."""

    shots: int
    moved: tuple[MovedShot, ...] = field(default=())


def usual_spacing_mm(units: Units) -> float:
    """Return the most that neighbours stand apart unless said otherwise."""
    return 900.0 if units.is_metric else 914.4


def usual_edge_mm(units: Units) -> float:
    """Return how far the outermost points are from the wall unless said otherwise."""
    return 150.0 if units.is_metric else 152.4


def make_grid(
    job: "Job",
    spacing_mm: float | None = None,
    edge_mm: float | None = None,
    pairs: bool = False,
) -> GridAnswer:
    """Lay out a grid and keep it; shots already taken keep their labels.

    Parameters
    ----------
    job : Job
        Open for writing.
    spacing_mm : float, optional
        The most that neighbours stand apart.
    edge_mm : float, optional
        From the wall to the outermost points.
    pairs : bool
        A tenth of the points have another close beside them.
    """
    if has_several(job):
        with each_room(job) as rooms:
            made = [make_grid(one, spacing_mm, edge_mm, pairs) for one in rooms]
        return GridAnswer(points=tuple(point for one in made for point in one.points))
    units = job.units
    spacing_mm = usual_spacing_mm(units) if spacing_mm is None else spacing_mm
    edge_mm = usual_edge_mm(units) if edge_mm is None else edge_mm
    beats_mm = beats_of(job)
    laid = lay_out(outline_of(job), spacing_mm, edge_mm, units, pairs=pairs, beats_mm=beats_mm)
    return _keep(job, laid)


def beats_of(job: "Job") -> tuple[float | None, float | None]:
    """Return how far apart the floor repeats itself across x and along y, by its joists."""
    joists = job.settings.joists
    if joists is None:
        return None, None
    return (None, joists.spacing_mm) if joists.along == "x" else (joists.spacing_mm, None)


def doubts_of(job: "Job", spacing_mm: float | None) -> list[str]:
    """Say before the walk where the points stand too wide apart for the rule of the covering."""
    covering, units = job.settings.covering, job.units
    if covering is None:
        return []
    from rig.flatness.coverings import rule_of_covering
    from rig.flatness.measures.straightedge import Straightedge
    from rig.flatness.rules import load_rule
    from rig.words.grid import too_wide_for

    key = rule_of_covering(covering)
    rule = None if key is None else load_rule(key)
    if not isinstance(rule, Straightedge) or rule.between == "line":
        return []
    # An edge is judged from two spacings up.
    shortest_mm = rule.lengths_mm[0]
    apart_mm = usual_spacing_mm(units) if spacing_mm is None else spacing_mm
    if apart_mm <= shortest_mm / 2.0 * (1.0 + 1e-3):
        return []
    return [too_wide_for(covering, rule.key, shortest_mm, units)]


def make_lines(job: "Job") -> GridAnswer:
    """Lay out lines for F-numbers, a reading every 12 in (300 mm), and keep them."""
    from rig.flatness.line_layout import lay_lines

    if has_several(job):
        with each_room(job) as rooms:
            made = [make_lines(one) for one in rooms]
        return GridAnswer(points=tuple(point for one in made for point in one.points))
    laid = lay_lines(outline_of(job), 300.0 if job.units.is_metric else 304.8, job.units)
    return _keep(job, [GridPoint(p.label, p.x_mm, p.y_mm, p.order) for p in laid])


def _keep(job: "Job", points: list[GridPoint]) -> GridAnswer:
    mine = {point.label for point in job.points()} if job.room is not None else set()
    with everywhere(job):
        taken = [
            (shot.point, shot.x_mm, shot.y_mm)
            for shot in job.shots(kinds=["floor", "finished"])
            if shot.x_mm is not None and shot.y_mm is not None
        ]
        if job.settings.rooms:  # no label comes twice in a job
            others = [point for point in job.points() if point.label not in mine]
            taken += [(point.label, point.x_mm, point.y_mm) for point in others]
    points = named_apart(points, taken)
    job.set_points([(p.label, p.x_mm, p.y_mm, p.order) for p in points])
    if job.room is not None:
        points = [GridPoint(p.label, p.x_mm, p.y_mm, p.order) for p in job.points()]
    return GridAnswer(points=tuple(sorted(points, key=lambda point: point.order)))


def relabel(job: "Job", first: str, shift: int, kind: str) -> RelabelAnswer:
    """Move shots from a label on along the walk.

    Parameters
    ----------
    job : Job
        Open for writing.
    first : str
        The first wrong tag.
    shift : int
        Points along the walk; negative moves back.
    kind : {"floor", "finished"}

    Raises
    ------
    BadInput
        No such point, no shots from there on, or one that would leave the walk.
    CannotAnswer
        No grid yet.
    """
    walk = points_of(job)
    place = {point.label: n for n, point in enumerate(walk)}
    first = first.upper()
    if first not in place:
        raise BadInput(say("There is no grid point {first!r}; see rig grid.", first=first))
    shots = {shot.point: shot for shot in job.shots(kinds=[kind])}
    moves, moved = [], []
    for n in range(place[first], len(walk)):
        shot = shots.get(walk[n].label)
        if shot is None:
            continue
        if not 0 <= n + shift < len(walk):
            raise BadInput(
                say(
                    "{point} would move past the end of the walk. Undo that shot first, or give a "
                    "smaller --shift.",
                    point=shot.point,
                )
                if shift > 0
                else say(
                    "{point} would move past the start of the walk. Undo that shot first, or give "
                    "a smaller --shift.",
                    point=shot.point,
                )
            )
        target = walk[n + shift]
        moves.append((shot.id, target.label, target.x_mm, target.y_mm))
        moved.append(MovedShot(was=shot.point, label=target.label))
    if not moves:
        raise BadInput(say("There are no shots from {first} on to move.", first=first))
    job.relabel(moves)
    return RelabelAnswer(shots=len(moved), moved=tuple(moved))


def points_of(job: "Job") -> list[GridPoint]:
    """Return the job's grid in walk order, refusing a job that has none."""
    points = [GridPoint(p.label, p.x_mm, p.y_mm, p.order) for p in job.points()]
    if not points:
        raise CannotAnswer(say("The job has no grid yet. Lay it out first: rig grid"))
    return points
