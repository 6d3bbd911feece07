"""The survey: what to shoot, with what, from which set-up; the session is shown on its own page."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count

from rig.errors import BadInput
from rig.language import say
from rig.page.steps.source import (
    SourceView,
    benchmark_wish,
    keep_profile,
    listen,
    rods_in_reach,
    source_of,
    source_view,
)
from rig.page.visit import NO_ACT, NO_PART, Served, Step, Visit
from rig.page.work import Wanted
from rig.record import Record
from rig.session.begin import SurveyWish


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyView(Record):
    """What the page of the survey shows."""

    source: SourceView
    left: int
    points: int
    benchmarks: tuple[str, ...]
    benchmark: str
    shots: tuple[tuple[str, str], ...]


class _Survey(Step):
    key = "survey"

    def view(self, visit: Visit) -> SurveyView:
        job = visit.job
        shots = job.shots(kinds=["floor"])
        known = list(dict.fromkeys(s.point for s in job.shots(kinds=["benchmark"])))
        return SurveyView(
            source=source_view(visit),
            left=len(job.unshot("floor")),
            points=len(job.points()),
            benchmarks=tuple(known),
            benchmark=_free_benchmark(known),
            shots=tuple((shot.point, visit.units.length(shot.reading_mm)) for shot in shots),
        )

    def act(self, visit: Visit, act: str) -> "str | Wanted | None":
        form = visit.form
        if keep_profile(visit, act):
            return None
        source = source_of(visit)
        setup = form.name("setup", say("The set-up"), needed=False)
        match act.partition(" "):
            case "benchmark", _, _:
                wish = benchmark_wish(visit, setup)
            case "sight", _, known if known:
                form.check()
                wish = SurveyWish(kind="benchmark", labels=(known,), setup=setup)
            case "threshold", _, _:
                label = form.name("threshold", say("The threshold's name"))
                at = visit.place(say("Where is it?"))
                assert label is not None
                wish = SurveyWish(kind="threshold", labels=(label,), at=at, setup=setup)
            case "again", _, label if label:
                form.check()
                wish = SurveyWish(labels=(label,), setup=setup)
            case "survey", _, _:
                form.check()
                wish = SurveyWish(setup=setup)
            case _:
                raise BadInput(NO_ACT)
        return Wanted(wish=wish, source=source)

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        if part == "listen":
            return "listen.html", listen(visit)
        if part != "rods":
            raise BadInput(NO_PART)
        return "rods.html", rods_in_reach()


def _free_benchmark(known: Sequence[str]) -> str:
    """Return a name that no benchmark has yet."""
    taken = {label.casefold() for label in known}
    return next(name for n in count(1) if (name := f"BM{n}").casefold() not in taken)


STEP = _Survey()
