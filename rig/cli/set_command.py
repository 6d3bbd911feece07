"""`rig set`: live raise and lower prompts, marker after marker."""

import time
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.jobs import boot_id, outline_of, setup_of, units_of
from rig.cli.live_options import (
    Source,
    is_job_replay,
    log_limit_option,
    open_source,
    replayed_sessions,
    run_live,
    source_options,
)
from rig.cli.options import Length, Lengths, job_option, json_option
from rig.cli.serve_options import open_page, serve_options
from rig.errors import CannotAnswer
from rig.units import counted

if TYPE_CHECKING:
    from rig.devices.clock import Clock
    from rig.job.rows import Plan
    from rig.job.store import Job
    from rig.page.server import Page

CAUTION = "Caution: never look into the laser's beam; screw heads trip and tear, mind your knees."


@click.command()
@job_option
@source_options
@log_limit_option
@click.option(
    "--tolerance",
    type=Length(above=0.0),
    default="1mm",
    show_default=True,
    help="How near a marker's top must come to its height.",
)
@click.option("--laser", type=Lengths("X", "Y"), help="Where the laser stands at this set-up.")
@click.option("--setup", help="Name of this position of the laser; a new name ties a new line.")
@click.option("--marker", metavar="LABEL", help="Begin with this marker.")
@click.option("--skip-check", is_flag=True, help="Do without the sight that ties today's line.")
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
    more_sinks: Iterable[Any] = (),
    page: "Page | None" = None,
    clock: "Clock | None" = None,
    **options: Any,
) -> None:
    """Set the markers of a job from the source that the options name.

    A `clock` stands in for the rod's usual one.
    """
    from rig.job.store import Job
    from rig.study.fresh import fresh_plan
    from rig.study.lasers import set_place

    replays_job = is_job_replay(options, job_path)
    with Job.open(job_path, write=True) as job:
        units, _ = units_of(job)
        plan = fresh_plan(job)
        if not job.markers():
            raise CannotAnswer("The job has no markers yet. Lay them out first: rig markers")
        rounds: Iterable[tuple[Source, str, dict[str, Any]]]
        if replays_job:
            rounds = (
                (source, session.setup, session.capture)
                for session, source in replayed_sessions(
                    options["replay"], "set", units, options["speed"]
                )
            )
        else:
            capture = {
                "dwell_s": options["dwell"],
                "walk_s": options["walk"],
                "still_mm": options["still"],
                "tolerance_mm": options["tolerance"],
                "marker": options["marker"],
                "skip_check": options["skip_check"],
                "units": units,
            }
            source = open_source(options, units, clock)
            capture["clamp_mm"] = source.profile.clamp_mm if source.profile else None
            if options["laser"] is not None:
                set_place(job, setup_of(job, options["setup"]), options["laser"])
            rounds = [(source, setup_of(job, options["setup"]), capture)]
        failed = None
        for source, setup, capture in rounds:
            most_bytes = options["log_limit"]
            failed = _set(job, plan, source, setup, capture, as_json, more_sinks, page, most_bytes)
        left = [marker.label for marker in job.markers() if not marker.is_set]
    if failed:
        raise CannotAnswer(failed)
    if not as_json:
        click.echo(
            f"{counted(len(left), 'marker')} left: {', '.join(left)}."
            if left
            else "All markers set."
        )


def _set(
    job: "Job",
    plan: "Plan",
    source: Source,
    setup: str,
    capture: dict[str, Any],
    as_json: bool,
    more_sinks: Iterable[Any],
    page: "Page | None",
    most_bytes: int | None,
) -> str | None:
    """Go one round; return what the check found wrong, if anything."""
    from rig.session.machines import guard_of, setting_machine
    from rig.session.recorder import Recorder

    units, denominator = units_of(job)
    known = {shot.setup for shot in job.shots()}
    machine = setting_machine(
        job,
        plan,
        outline_of(job),
        setup=setup,
        tolerance_mm=capture["tolerance_mm"],
        dwell_s=capture["dwell_s"],
        walk_s=capture["walk_s"],
        still_mm=capture["still_mm"],
        resolution_mm=source.resolution_mm,
        foot_mm=source.foot_mm,
        start_marker=capture.get("marker"),
        skip_check=capture.get("skip_check", False),
    )
    start = partial(
        job.start_session,
        kind="set",
        setup=setup,
        source=source.name,
        profile_text=source.profile.text_toml if source.profile else "",
        capture=capture,
        boot_id=boot_id(),
        utc_s=source.utc_s(),
        monotonic_s=time.monotonic(),
    )
    scene = None
    if page is not None:
        from rig.page.scenes import set_scene

        scene = set_scene(
            job,
            outline_of(job),
            capture,
            source.resolution_mm,
            source.foot_mm,
            acts=source.clock is not None,
        )
    if not as_json:
        click.echo(CAUTION, err=True)
    run_live(
        machine,
        source,
        Recorder(job, start, ties_line=setup not in known, most_bytes=most_bytes),
        guard=guard_of(job, setup, source.profile, [m.target_reading_mm for m in job.markers()]),
        as_json=as_json,
        units=units,
        denominator=denominator,
        more_sinks=more_sinks,
        page=page,
        scene=scene,
    )
    return machine.failed
