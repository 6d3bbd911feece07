"""`rig survey`: shoot the points live, hands-free."""

import math
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.live_options import (
    Source,
    SourceWish,
    begin_now,
    is_job_replay,
    log_limit_option,
    picked,
    replayed_sessions,
    run_kind,
    source_options,
    typed_unit_option,
)
from rig.cli.options import Lengths, Name, Names, job_option, json_option, room_option, tell
from rig.cli.serve_options import open_page, serve_options
from rig.cli.site_options import rods_options, run_work, site_wish
from rig.errors import BadInput
from rig.language import say, say_many

if TYPE_CHECKING:
    from rig.devices.clock import Clock
    from rig.job.store import Job
    from rig.page.server import Page
    from rig.session.begin import SurveyWish
    from rig.session.kind import Beginning
    from rig.session.kinds.drag import DragSettings
    from rig.session.kinds.survey import SurveySettings
    from rig.session.rods import SiteWish
    from rig.session.run import Sink

KINDS = ("floor", "finished", "benchmark", "threshold")
CAUTION = say("Caution: never look into the laser's beam; its class and its maker's rules apply.")


@click.command()
@job_option
@source_options
@rods_options
@typed_unit_option
@log_limit_option
@click.option("--rock", is_flag=True, help="Wave the rod through plumb; the vertex is the shot.")
@click.option(
    "--kind", type=click.Choice(KINDS), default="floor", show_default=True, help="What is shot."
)
@click.option(
    "--label",
    "labels",
    type=Name(),
    multiple=True,
    help="A benchmark's or threshold's name, grid points to shoot again, or a name for --at.",
)
@click.option(
    "--at", type=Lengths("X", "Y"), help="Where a threshold is, or a place beside the grid."
)
@click.option("--laser", type=Lengths("X", "Y"), help="Where the laser stands at this set-up.")
@click.option(
    "--setup", type=Name(), help="Name of this position of the laser.  [default: the last one's]"
)
@click.option(
    "--skip-check", is_flag=True, help="Do without the sights back to this set-up's benchmark."
)
@click.option(
    "--drag",
    type=Names("FROM", "TO"),
    help="Slide the rod's foot from one shot to another, and keep what is between.",
)
@room_option
@serve_options
@json_option
def command(job_path: Path, as_json: bool, **options: Any) -> None:
    """Shoot the points, hands-free, with a rod or a tape.

    Stand the rod on the point, hold still until it is taken, walk on. Ends when every point has a
    shot, or on Ctrl-C with all kept; the next run goes on where it stopped. Where the set-up has a
    benchmark, the walk goes back to it every twenty minutes and at its end.
    """
    with open_page(options) as page:
        if options["drag"] is not None:
            slide(job_path, as_json, page=page, **options)
            return
        survey(job_path, as_json, page=page, **options)


def survey(
    job_path: Path,
    as_json: bool,
    more_sinks: "Iterable[Sink]" = (),
    page: "Page | None" = None,
    clock: "Clock | None" = None,
    **options: Any,
) -> None:
    """Survey into a job from the source that the options name, on a page too if there is one.

    A `clock` stands in for the rod's usual one.
    """
    from rig.job.store import Job
    from rig.session.begin import Hand, SurveyWish, begin_survey
    from rig.session.kinds.survey import KIND
    from rig.study.lasers import set_place
    from rig.study.rooms import in_room
    from rig.words.laser import untied

    options["room"] = options.pop("room_name", None)
    site = site_wish(options)
    wish, wanted = picked(SurveyWish, options), picked(SourceWish, options)
    replays_job = is_job_replay(wanted, job_path)
    with Job.open(job_path, write=True) as job:
        shots = 0
        rounds: Iterable[tuple[Beginning[SurveySettings], Source]] = ()
        if site is not None:
            if not as_json:
                tell(CAUTION, err=True)
            shots = _of_rods(job, wish, site, as_json, page)
        else:
            rounds = (
                _replayed(job, wanted)
                if replays_job
                else [begin_survey(job, wish, wanted, Hand(clock=clock))]
            )
        for begun, source in rounds:
            if not as_json and not replays_job:
                tell(CAUTION, err=True)
                if begun.settings.resumes_from and not begun.settings.line:
                    tell(untied(begun.setup), err=True)
            start = partial(KIND.start, begun, source.name)
            log = KIND.log(begun, start, wish.log_limit, watched=not replays_job)
            machine = KIND.machine(begun)
            run_kind(
                KIND, begun, machine, log, source, as_json=as_json, more_sinks=more_sinks, page=page
            )
            shots += log.shots
            if wish.laser is not None and not replays_job:
                # What the laser's place was told for is the set-up that it was found in.
                set_place(job, job.last_setup() or begun.setup, wish.laser)
        in_room(job, wish.room)
        left = len(job.unshot(wish.kind)) if wish.kind in ("floor", "finished") else 0
    if not as_json:
        _tell_end(wish.kind, shots, left)


def slide(job_path: Path, as_json: bool, page: "Page | None" = None, **options: Any) -> None:
    """Slide the rod between two shots, or play such slides of another job again."""
    from rig.job.store import Job
    from rig.session.begin import DragWish, Hand, begin_drag
    from rig.session.kinds.drag import KIND

    options["room"] = options.pop("room_name", None)
    given = [name for name in ("rock", "labels", "at", "laser") if options[name]]
    if given or options["kind"] != "floor" or site_wish(options) is not None:
        raise BadInput(
            say(
                "--drag is a slide of one rod from one shot to another: it goes with a source, "
                "and with none of --kind, --label, --at, --laser, --rock, --site."
            )
        )
    wish, wanted = picked(DragWish, options), picked(SourceWish, options)
    replays_job = is_job_replay(wanted, job_path)
    with Job.open(job_path, write=True) as job:
        rounds: Iterable[tuple[Beginning[DragSettings], Source]]
        if replays_job:
            found = replayed_sessions(wanted, KIND, job.units.system)
            rounds = ((begin_now(job, s, old.setup, source), source) for old, s, source in found)
        else:
            rounds = [begin_drag(job, wish, wanted, Hand())]
        before = len(job.events(["drag"]))
        for begun, source in rounds:
            if not as_json and not replays_job:
                tell(CAUTION, err=True)
            log = KIND.log(begun, partial(KIND.start, begun, source.name), wish.log_limit)
            machine = KIND.machine(begun)
            run_kind(KIND, begun, machine, log, source, as_json=as_json, page=page)
        kept = len(job.events(["drag"])) - before
    if not as_json:
        tell(say("Next: rig floor, then rig plan") if kept else say("No slide was kept."))


def _tell_end(kind: str, shots: int, left: int) -> None:
    tell(
        say(
            "{shots} taken, {points} left." if left else "{shots} taken.",
            shots=say_many("{count} shot", "{count} shots", shots),
            points=say_many("{count} point", "{count} points", left),
        )
    )
    if kind == "floor" and not left:
        tell(say("Next: rig floor, then rig plan"))


def _of_rods(
    job: "Job", wish: "SurveyWish", site: "SiteWish", as_json: bool, page: "Page | None"
) -> int:
    """Survey with the rods of a site; return how many shots were taken."""
    from rig.session.rods_work import SurveyWork
    from rig.session.source import setup_of
    from rig.study.lasers import set_place
    from rig.survey.setups import stand_of

    if wish.laser is not None:
        set_place(job, stand_of(setup_of(job, wish.setup)), wish.laser)
    return run_work(
        job, lambda start: SurveyWork(job, wish, start), site, as_json=as_json, page=page
    )


def _replayed(
    job: "Job", wanted: SourceWish
) -> "Iterator[tuple[Beginning[SurveySettings], Source]]":
    """The survey sessions of another job, as they were set, and what was done between them."""
    from rig.job.store import Job
    from rig.session.acts_again import ActsAgain
    from rig.session.kinds.survey import KIND

    assert wanted.replay is not None
    with Job.open(wanted.replay) as other:
        acts = ActsAgain(other, job)
        for session, settings, source in replayed_sessions(wanted, KIND, job.units.system):
            acts.until(session.utc_s)
            yield begin_now(job, settings, session.setup, source), source
            acts.replayed(session)
        acts.until(math.inf)
