"""The proof: the cured floor shot, the rule, the verdict with the worst place on the map."""

from dataclasses import dataclass, replace

from rig.errors import BadInput
from rig.flatness.coverings import rule_of_covering
from rig.flatness.rules import SHIPPED, load_rule
from rig.language import put, say
from rig.page.drawn import look
from rig.page.steps.source import SourceView, benchmark_wish, keep_profile, source_of, source_view
from rig.page.told import Parts, parts
from rig.page.visit import NO_ACT, NO_PART, Served, Step, Visit
from rig.page.work import Wanted
from rig.record import Record
from rig.report.proof_part import proof_section
from rig.report.source import DEFAULT_RULE, Options, Source
from rig.session.begin import SurveyWish
from rig.study.room import outline_of
from rig.study.rooms import refuse_several

CURED = "cured"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofView(Record):
    """What the page of the proof shows."""

    source: SourceView
    left: int
    points: int
    benchmark: bool
    known: str
    rules: tuple[tuple[str, str], ...]
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictView(Record):
    """A verdict."""

    told: Parts


class _Proof(Step):
    key = "proof"

    def view(self, visit: Visit) -> ProofView:
        job = visit.job
        covering = job.settings.covering
        of_covering = None if covering is None else rule_of_covering(covering)
        finished = job.shots(kinds=["finished"])
        sights = {shot.setup for shot in job.shots(kinds=["benchmark"])}
        setup = finished[-1].setup if finished else CURED
        return ProofView(
            source=replace(source_view(visit), setup=setup),
            left=len(job.unshot("finished")),
            points=len(job.points()),
            benchmark=setup in sights,
            known=next((shot.point for shot in job.shots(kinds=["benchmark"])), "BM1"),
            rules=tuple(
                (key, put("{key}: {text}", key=key, text=visit.units.own(load_rule(key).text)))
                for key in SHIPPED
            ),
            rule=of_covering or DEFAULT_RULE,
        )

    def act(self, visit: Visit, act: str) -> "str | Wanted | None":
        form = visit.form
        if keep_profile(visit, act):
            return None
        source = source_of(visit)
        setup = form.name("setup", say("The set-up"), needed=False) or CURED
        form.check()
        match act:
            case "benchmark":
                wish = benchmark_wish(visit, setup)
            case "survey":
                wish = SurveyWish(kind="finished", setup=setup)
            case _:
                raise BadInput(NO_ACT)
        return Wanted(wish=wish, source=source)

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        if part != "verdict":
            raise BadInput(NO_PART)
        rule = visit.form.text("rule")
        if rule not in SHIPPED:
            raise BadInput(say("There is no such rule."))
        refuse_several(visit.job)
        found = Source(visit.job, outline_of(visit.job), Options(rule=rule), visit.name)
        found.look = look(visit.units)
        return "verdict.html", VerdictView(told=parts([proof_section(found)]))


STEP = _Proof()
