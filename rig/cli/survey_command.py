"""`rig survey`: shoot the points live, hands-free."""

import time
from collections.abc import Callable, Iterable, Iterator
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
from rig.cli.options import Lengths, job_option, json_option
from rig.cli.serve_options import open_page, serve_options
from rig.errors import BadInput
from rig.units import counted

if TYPE_CHECKING:
    from rig.devices.clock import Clock
    from rig.job.store import Job
    from rig.page.scene import Scene
    from rig.page.server import Page
    from rig.survey.capture import Capture
    from rig.survey.plausibility import Guard

WALKED = ("floor", "finished")
KINDS = (*WALKED, "benchmark", "threshold")
Place = tuple[str, float | None, float | None]
CAUTION = "Caution: never look into the laser's beam; its class and its maker's rules apply."

UNTIED = (
    "Set-up {setup} has shots and no benchmark: nobody can tell whether its line still stands "
    "where it did. If the laser was neither moved nor switched off, shoot a benchmark now (--kind "
    "benchmark --label BM1), so that it can be checked; else begin anew under a new --setup."
)


@click.command()
@job_option
@source_options
@log_limit_option
@click.option("--rock", is_flag=True, help="Wave the rod through plumb; the vertex is the shot.")
@click.option(
    "--kind", type=click.Choice(KINDS), default="floor", show_default=True, help="What is shot."
)
@click.option(
    "--label",
    "labels",
    multiple=True,
    help="A benchmark's or threshold's name, grid points to shoot again, or a name for --at.",
)
@click.option(
    "--at", type=Lengths("X", "Y"), help="Where a threshold is, or a place beside the grid."
)
@click.option("--laser", type=Lengths("X", "Y"), help="Where the laser stands at this set-up.")
@click.option("--setup", help="Name of this position of the laser.  [default: the last one's]")
@click.option(
    "--skip-check", is_flag=True, help="Do without the sights back to this set-up's benchmark."
)
@serve_options
@json_option
def command(job_path: Path, as_json: bool, **options: Any) -> None:
    """Shoot the points, hands-free, with a rod or a tape.

    Stand the rod on the point, hold still until it is taken, walk on. Ends when every point has a
    shot, or on Ctrl-C with all kept; the next run goes on where it stopped. Where the set-up has a
    benchmark, the walk goes back to it every twenty minutes and at its end.
    """
    with open_page(options) as page:
        survey(job_path, as_json, page=page, **options)


def survey(
    job_path: Path,
    as_json: bool,
    more_sinks: Iterable[Any] = (),
    page: "Page | None" = None,
    clock: "Clock | None" = None,
    **options: Any,
) -> None:
    """Survey into a job from the source that the options name, on a page too if there is one.

    A `clock` stands in for the rod's usual one.
    """
    from rig.job.store import Job
    from rig.session.recorder import Recorder
    from rig.session.watcher import watcher_of
    from rig.study.lasers import line_of, set_place

    replays_job = is_job_replay(options, job_path)
    with Job.open(job_path, write=True) as job:
        if replays_job:
            shots = sum(_replay_job(job, options, as_json, page))
        else:
            units, denominator = units_of(job)
            points = _wanted(job, options)
            setup = setup_of(job, options["setup"])
            source = open_source(options, units, clock)
            if options["laser"] is not None:
                set_place(job, setup, options["laser"])
            capture = {
                "dwell_s": options["dwell"],
                "walk_s": options["walk"],
                "still_mm": options["still"],
                "rock": options["rock"],
                "kind": options["kind"],
                "units": units,  # of what is typed, should the job's change
                "points": points,
                "resumes_from": _last_shot(job, options["kind"], setup),
                "line": line_of(job, setup, options["kind"], source.utc_s()),
                "checks": options["kind"] in WALKED and not options["skip_check"],
                "clamp_mm": source.profile.clamp_mm if source.profile else None,
            }
            if not as_json:
                click.echo(CAUTION, err=True)
                if capture["resumes_from"] and not capture["line"]:
                    click.echo(UNTIED.format(setup=setup), err=True)
            watcher = watcher_of(job, options["kind"], setup)
            recorder = Recorder(
                job,
                _begin(job, source, setup, capture),
                watcher=watcher,
                setup=setup,
                most_bytes=options["log_limit"],
            )
            machine = _machine(job, capture, source)
            run_live(
                machine,
                source,
                recorder,
                guard=_guard(job, setup, source),
                as_json=as_json,
                units=units,
                denominator=denominator,
                more_sinks=more_sinks,
                page=page,
                scene=_scene(job, capture, source) if page else None,
            )
            shots = recorder.shots
        left = _left(job, options["kind"])
    if not as_json:
        taken = f"{counted(shots, 'shot')} taken"
        still = f", {counted(left, 'point')} left."
        click.echo(taken + (still if left else "."))
        if options["kind"] == "floor" and not left:
            click.echo("Next: rig floor, then rig plan")


def _wanted(job: "Job", options: dict[str, Any]) -> list[Place]:
    """The places that this session is to shoot, in order."""
    kind, labels, at = options["kind"], options["labels"], options["at"]
    if kind not in WALKED:
        if len(labels) != 1:
            raise BadInput(f"A {kind} needs one name: --label BM1.")
        if kind == "threshold" and at is None:
            raise BadInput("A threshold needs its place: --at X,Y.")
        if labels[0].upper() in {point.label for point in job.points()}:
            raise BadInput(
                f"{labels[0]} is a grid point: give the {kind} a name of its own, as "
                f"--label {'BM' if kind == 'benchmark' else 'T'}1."
            )
        x_mm, y_mm = at or (None, None)
        shot_before = {shot.point.upper(): shot.point for shot in job.shots(kinds=[kind])}
        return [(shot_before.get(labels[0].upper(), labels[0]), x_mm, y_mm)]
    if at is not None:
        return [_own_place(job, labels, at)]
    from rig.study.grid import points_of

    points: list[Place] = [(p.label, p.x_mm, p.y_mm) for p in points_of(job)]
    if labels:
        known = {point[0]: point for point in points}
        unknown = [label for label in labels if label.upper() not in known]
        if unknown:
            raise BadInput(f"There is no grid point {unknown[0]!r}; see rig grid.")
        return [known[label.upper()] for label in labels]
    left: list[Place] = [(p.label, p.x_mm, p.y_mm) for p in job.unshot(kind)]
    if not left:
        raise BadInput(
            "Every point has a shot. Shoot one again with --label LABEL, or go on: rig floor."
        )
    return left


def _own_place(job: "Job", labels: tuple[str, ...], at: tuple[float, float]) -> Place:
    """A point beside the grid, as `rig floor` suggests them."""
    from rig.room import contains

    if len(labels) != 1:
        raise BadInput("A place beside the grid needs one name: --label N1 --at X,Y.")
    known = {p.label: (p.x_mm, p.y_mm) for p in job.points()}
    if known.get(labels[0], at) != at:
        raise BadInput(f"{labels[0]} is a grid point elsewhere; give the place another name.")
    if not contains(outline_of(job), at[0], at[1]).all():
        raise BadInput("--at lies outside the floor; give X,Y from the room's corner.")
    return labels[0], at[0], at[1]


def _left(job: "Job", kind: str) -> int:
    return len(job.unshot(kind)) if kind in WALKED else 0


def _last_shot(job: "Job", kind: str, setup: str) -> tuple[str, float] | None:
    """The last shot that this line gave, for a walk that is taken up again."""
    if kind not in WALKED:
        return None
    mine = [shot for shot in job.shots(kinds=[kind]) if shot.setup == setup]
    return (mine[-1].point, mine[-1].reading_mm) if mine else None


def _begin(job: "Job", source: Source, setup: str, capture: dict[str, Any]) -> Callable[[], int]:
    """What starts the session, by the clocks as they are now."""
    return partial(
        job.start_session,
        kind="survey",
        setup=setup,
        source=source.name,
        profile_text=source.profile.text_toml if source.profile else "",
        capture=capture,
        boot_id=boot_id(),
        utc_s=source.utc_s(),
        monotonic_s=time.monotonic(),
    )


def _machine(job: "Job", capture: dict[str, Any], source: Source) -> "Capture":
    from rig.session.machines import survey_machine

    return survey_machine(job, outline_of(job), capture, source.resolution_mm, source.foot_mm)


def _guard(job: "Job", setup: str, source: Source) -> "Guard":
    from rig.session.machines import guard_of

    return guard_of(job, setup, source.profile)


def _scene(job: "Job", capture: dict[str, Any], source: Source) -> "Scene":
    """What a page shows of it."""
    from rig.page.scenes import survey_scene

    return survey_scene(
        job,
        outline_of(job),
        capture,
        source.resolution_mm,
        source.foot_mm,
        acts=source.clock is not None,
    )


def _replay_job(
    job: "Job", options: dict[str, Any], as_json: bool, page: "Page | None"
) -> Iterator[int]:
    """Replay the survey sessions of another job with the settings they were made with."""
    from rig.session.recorder import Recorder
    from rig.session.sources import as_logged

    units, denominator = units_of(job)
    for session, source in replayed_sessions(options["replay"], "survey", units, options["speed"]):
        with as_logged(options["replay"], session.id):
            machine = _machine(job, session.capture, source)
        number = _begin(job, source, session.setup, session.capture)
        recorder = Recorder(job, number, setup=session.setup)
        run_live(
            machine,
            source,
            recorder,
            guard=_guard(job, session.setup, source),
            as_json=as_json,
            units=units,
            denominator=denominator,
            page=page,
            scene=_scene(job, session.capture, source) if page else None,
        )
        yield recorder.shots
