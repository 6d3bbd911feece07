"""`rig serve`: a live page that watches a job, whatever process works on it."""

import signal
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.jobs import outline_of
from rig.cli.options import job_option, json_option
from rig.cli.serve_options import address_options, announce, open_page
from rig.errors import RigError

if TYPE_CHECKING:
    from rig.job.rows import Session
    from rig.job.store import Job
    from rig.live.following import Follower
    from rig.page.scene import Scene
    from rig.page.server import Page

POLL_S = 0.2
QUIET_S = 3.0
"""What a session logs comes about once a second."""


@click.command()
@job_option
@address_options
@json_option
def command(job_path: Path, as_json: bool, **options: Any) -> None:
    """Show a job on a phone, read-only, until Ctrl-C: the session that runs, about a second late.

    To let the phone act too, and without delay, give --serve to the survey, set or pour run itself.
    """
    from rig.job.store import Job

    with Job.open(job_path) as job, open_page(options, always=True) as page:
        assert page is not None
        watch(job, page, as_json)


def watch(job: "Job", page: "Page", as_json: bool) -> None:
    """Follow the job's latest session, one after the other, until a signal says stop."""
    stopped: list[int] = []
    for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT):
        signal.signal(number, lambda number, _: stopped.append(number))
    from rig.page.scenes import idle_scene

    followed: Session | None = None
    follower: Follower | None = None
    page.begin(idle_scene(job, outline_of(job)))
    announce(page, as_json)
    while not stopped:
        latest = max(job.sessions(), key=lambda session: session.id, default=None)
        if latest is not None and latest != followed:
            followed = latest
            follower = _begin(job, page, latest)
        if follower is not None:
            for told in follower.news(time.time()):
                page.hear(told)
        time.sleep(POLL_S)


def _begin(job: "Job", page: "Page", session: "Session") -> "Follower | None":
    """Show a session, what it has told so far included; nothing where it cannot be followed."""
    from rig.live.following import FOLLOWED, Follower
    from rig.page.scenes import idle_scene

    outline = outline_of(job)
    if session.kind in FOLLOWED:
        try:
            follower = Follower(job, session, outline)
            scene = _scene(job, session, follower)
            now_s = time.monotonic()
            behind_s = time.time() - session.utc_s - now_s
            for told in follower.news(time.time()):
                scene.hear(told, min(now_s, told.get("time_s", 0.0) - behind_s))
        except RigError as error:
            click.echo(f"rig: the session cannot be followed: {error}", err=True)
        else:
            if not follower.ended:
                page.begin(scene)
                return follower
    page.begin(idle_scene(job, outline))
    return None


def _scene(job: "Job", session: "Session", follower: "Follower") -> "Scene":
    from rig.live.pouring import current_pour_plan
    from rig.page.scenes import pour_scene, set_scene, survey_scene

    outline, then, capture = outline_of(job), follower.then, session.capture
    if session.kind == "pour":
        plan = job.current_plan()
        assert plan is not None
        result = current_pour_plan(job, plan).data["result"]
        return pour_scene(then, outline, result, capture["bags"], acts=False)
    make = survey_scene if session.kind == "survey" else set_scene
    profile = follower.profile
    return make(
        then,
        outline,
        capture,
        profile.resolution_mm if profile else 0.0,
        profile.foot_mm if profile else 0.0,
        acts=False,
        quiet_s=QUIET_S,
    )
