"""`rig set`: live raise and lower prompts, marker after marker."""

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
from rig.cli.options import (
    Length,
    Lengths,
    Name,
    job_option,
    json_option,
    lift_option,
    room_option,
    tell,
)
from rig.cli.serve_options import open_page, serve_options
from rig.cli.site_options import rods_options, run_work, site_wish
from rig.errors import CannotAnswer
from rig.language import say
from rig.words.markers import all_set, markers_left

if TYPE_CHECKING:
    from rig.devices.clock import Clock
    from rig.job.store import Job
    from rig.page.server import Page
    from rig.session.kind import Beginning
    from rig.session.kinds.set import SetSettings
    from rig.session.run import Sink

CAUTION = say(
    "Caution: never look into the laser's beam; screw heads trip and tear, mind your knees."
)


@click.command()
@job_option
@source_options
@rods_options
@typed_unit_option
@log_limit_option
@click.option(
    "--tolerance",
    type=Length(above=0.0),
    default="1mm",
    show_default=True,
    help="How near a marker's top must come to its height.",
)
@click.option("--laser", type=Lengths("X", "Y"), help="Where the laser stands at this set-up.")
@click.option(
    "--setup", type=Name(), help="Name of this position of the laser; a new name ties a new line."
)
@click.option("--marker", metavar="LABEL", help="Begin with this marker.")
@click.option("--skip-check", is_flag=True, help="Do without the sight that ties today's line.")
@lift_option
@room_option
@serve_options
@json_option
def command(job_path: Path, as_json: bool, **options: Any) -> None:
    """Set the markers: the prompt says raise, lower or hold, and by how much.

    Begins with a sight that ties today's line to the survey, so that a laser bumped or restarted
    since then never shifts the pour.
    """
    with open_page(options) as page:
        set_markers(job_path, as_json, page=page, **options)


def set_markers(
    job_path: Path,
    as_json: bool,
    more_sinks: "Iterable[Sink]" = (),
    page: "Page | None" = None,
    clock: "Clock | None" = None,
    **options: Any,
) -> None:
    """Set the markers of a job from the source that the options name.

    A `clock` stands in for the rod's usual one.
    """
    from rig.job.store import Job
    from rig.session.begin import Hand, SetWish, begin_setting
    from rig.session.kinds.set import KIND
    from rig.study.fresh import fresh_plan
    from rig.study.rooms import each_room, in_room

    lift, site = options.pop("lift", None), site_wish(options)
    wish, wanted = picked(SetWish, options), picked(SourceWish, options)
    replays_job = is_job_replay(wanted, job_path)
    with Job.open(job_path, write=True) as job:
        in_room(job, options.pop("room_name", None))
        with each_room(job) as rooms:
            for one in rooms:
                fresh_plan(one)
        if not job.markers():
            raise CannotAnswer(say("The job has no markers yet. Lay them out first: rig markers"))
        if lift is not None:
            from rig.study.markers_answer import refuse_other_lift

            refuse_other_lift(job, lift)
        failed = None
        rounds: Iterable[tuple[Beginning[SetSettings], Source]] = ()
        if site is not None:
            from rig.session.rods_work import SetWork

            if not as_json:
                tell(CAUTION, err=True)
            run_work(job, lambda start: SetWork(job, wish, start), site, as_json=as_json, page=page)
        else:
            rounds = (
                _replayed(job, wanted)
                if replays_job
                else [begin_setting(job, wish, wanted, Hand(clock=clock))]
            )
        for begun, source in rounds:
            machine = KIND.machine(begun)
            log = KIND.log(begun, partial(KIND.start, begun, source.name), wish.log_limit)
            if not as_json:
                tell(CAUTION, err=True)
            run_kind(
                KIND, begun, machine, log, source, as_json=as_json, more_sinks=more_sinks, page=page
            )
            failed = machine.line.failed
        markers = job.markers()
    left = [marker.label for marker in markers if not marker.is_set]
    if failed:
        raise CannotAnswer(failed)
    if not as_json:
        tell(markers_left(left) if left else all_set(markers[-1].label))


def _replayed(job: "Job", wanted: SourceWish) -> "Iterator[tuple[Beginning[SetSettings], Source]]":
    """The settings of another job, with what they were made with."""
    from rig.session.kinds.set import KIND

    for session, settings, source in replayed_sessions(wanted, KIND, job.units.system):
        yield begin_now(job, settings, session.setup, source), source
