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
    from rig.page.server import Page
    from rig.session.following import Follower

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
    from rig.session.scene import idle_scene

    followed: Session | None = None
    follower: Follower | None = None
    page.begin(idle_scene(job, outline_of(job)))
    announce(page, as_json)
    while not stopped:
        latest = max(job.sessions(), key=lambda session: session.id, default=None)
        if latest is not None and latest != followed:
            followed = latest
            if follower is not None:
                follower.close()
            follower = _begin(job, page, latest)
        if follower is not None:
            for event in follower.news(time.time()):
                page.hear(event)
        time.sleep(POLL_S)
    if follower is not None:
        follower.close()


def _begin(job: "Job", page: "Page", session: "Session") -> "Follower | None":
    """Show a session, what it has told so far included; nothing where it cannot be followed."""
    from rig.events import time_of
    from rig.session.following import Follower
    from rig.session.kinds import kinds
    from rig.session.scene import idle_scene

    if session.kind in kinds():
        try:
            follower = Follower(job, session)
            scene = follower.scene(quiet_s=QUIET_S)
            now_s = time.monotonic()
            behind_s = time.time() - session.utc_s - now_s
            for event in follower.news(time.time()):
                scene.hear(event, min(now_s, (time_of(event) or 0.0) - behind_s))
        except RigError as error:
            click.echo(f"rig: the session cannot be followed: {error}", err=True)
        else:
            if not follower.ended:
                page.begin(scene)
                return follower
            follower.close()
    page.begin(idle_scene(job, outline_of(job)))
    return None
