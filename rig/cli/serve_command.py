"""`rig serve`: the whole job on a phone; or a live page that watches a job of another process."""

import signal
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.jobs import outline_of
from rig.cli.options import Number, json_option, tell
from rig.cli.serve_options import address_options, announce, open_page
from rig.cli.site_options import run_to_the_end, site_option
from rig.errors import BadInput, RigError
from rig.language import say

if TYPE_CHECKING:
    from rig.job.rows import Session
    from rig.job.store import Job
    from rig.page.server import Page
    from rig.session.following import Follower

POLL_S = 0.2
QUIET_S = 3.0
"""What a session logs comes about once a second."""


@click.command()
@click.option(
    "--jobs",
    "jobs_path",
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder of the jobs that the page works on; made where it is not there.  "
    "[default: one among your own data]",
)
@click.option(
    "--job",
    "job_path",
    type=click.Path(path_type=Path, dir_okay=False),
    envvar="RIG_JOB",
    show_envvar=True,
    help="Watch this one job instead.  [default: job.sqlite, where there is one]",
)
@click.option("--simulate", is_flag=True, help="Offer a simulated rod beside the real ones.")
@click.option("--simulated-speed", type=Number(0.1, 100.0), default=4.0, hidden=True)
@site_option
@click.option("--rod", metavar="NAME", help="With --site: that rod's page, which acts for it.")
@click.option(
    "--tls", "encrypts", is_flag=True, help="Encrypt the link; phones must trust it once."
)
@click.option(
    "--new-key", is_flag=True, help="Make a new key for the folder: each phone must scan again."
)
@address_options
@json_option
def command(
    jobs_path: Path | None,
    job_path: Path | None,
    simulate: bool,
    simulated_speed: float,
    encrypts: bool,
    new_key: bool,
    site_path: Path | None,
    rod: str | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Serve a folder of jobs to a phone, which does the whole job; or watch one job, read-only.

    It stays up until Ctrl-C. To let a phone act in a session of this terminal, give --serve to the
    survey, set or pour run itself.
    """
    if site_path is not None:
        _serve_site(site_path, job_path, rod, as_json, options | {"encrypts": encrypts})
        return
    if rod is not None:
        raise BadInput(say("--rod goes with --site: name the site's invitation."))
    if jobs_path is None and job_path is None and Path("job.sqlite").exists() and not simulate:
        job_path = Path("job.sqlite")
    if jobs_path is not None or job_path is None:
        speed = simulated_speed if simulate else 0.0
        _serve_jobs(jobs_path, speed, new_key, as_json, options | {"encrypts": encrypts})
        return
    if new_key:
        raise BadInput(say("--new-key goes with --jobs: with --job the key is new at each start."))
    if simulate:
        raise BadInput(say("--simulate goes with --jobs: --job only watches."))
    from rig.job.store import Job

    options["encrypts"] = encrypts
    with Job.open(job_path) as job, open_page(options, always=True) as page:
        assert page is not None
        watch(job, page, as_json)


def _serve_site(
    path: Path, job_path: Path | None, rod: str | None, as_json: bool, options: dict[str, Any]
) -> None:
    """Show what a session on a site shows, of one rod or of all, until a signal says stop."""
    from rig.devices.clock import Clock
    from rig.devices.site import read_account
    from rig.job.store import Job
    from rig.session.told_scene import ToldScene, watch_site

    account, uid = read_account(path), None
    if job_path is not None:
        with Job.open(job_path) as job:
            uid = job.uid
    with open_page(options, always=True) as page:
        assert page is not None
        page.begin(ToldScene())

        async def work() -> None:
            await watch_site(account, uid, rod, page.told, page.acts(Clock()))

        announce(page, as_json)
        run_to_the_end(work(), lambda: None)


def _serve_jobs(
    path: Path | None,
    simulated_speed: float,
    new_key: bool,
    as_json: bool,
    options: dict[str, Any],
) -> None:
    """Serve a folder of jobs until a signal says stop."""
    from rig.demo.on_page import simulated_on_page
    from rig.job.folder import JobFolder
    from rig.page.kept_key import kept_key
    from rig.page.memory import one_pool
    from rig.page.site import Site
    from rig.page.work import Rods, Work
    from rig.products.library import data_folder

    one_pool()
    folder = JobFolder((path or data_folder() / "jobs").absolute())
    folder.make()
    options["key"] = kept_key(folder.path, new_key)
    simulate = simulated_on_page(folder.path, simulated_speed) if simulated_speed else None

    def site_of(page: "Page") -> Site:
        rods = Rods(simulate)
        site = Site(folder, Work(page, rods), rods)
        site.encrypted = page.encrypts is not None
        return site

    stopped = told_to_stop()
    with open_page(options, always=True, site_of=site_of) as page:
        assert page is not None
        assert page.site is not None
        announce(page, as_json)
        if not as_json:
            tell(say("The jobs: {path}", path=folder.path))
        while not stopped:
            time.sleep(POLL_S)
        page.site.close()


def told_to_stop() -> list[int]:
    """Return a list that is empty until a signal says stop."""
    stopped: list[int] = []
    for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT):
        signal.signal(number, lambda number, _: stopped.append(number))
    return stopped


def watch(job: "Job", page: "Page", as_json: bool) -> None:
    """Follow the job's latest session, one after the other, until a signal says stop."""
    stopped = told_to_stop()
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
            tell(say("rig: the session cannot be followed: {error}", error=error), err=True)
        else:
            if not follower.ended:
                page.begin(scene)
                return follower
            follower.close()
    page.begin(idle_scene(job, outline_of(job)))
    return None
