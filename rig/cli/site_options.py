"""What commands share that work with the rods of a site."""

from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from rig.cli.options import stack
from rig.errors import BadInput
from rig.language import say

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.page.server import Page
    from rig.session.rods import SiteWish
    from rig.session.rods_work import Start, Work

T = TypeVar("T")

site_option = click.option(
    "--site",
    "site_path",
    type=click.Path(path_type=Path, dir_okay=False),
    envvar="RIG_SITE",
    show_envvar=True,
    metavar="FILE",
    help="The invitation to the site; see rig site invite.",
)

rods_options = stack(
    site_option,
    click.option(
        "--rod",
        "rods",
        metavar="NAME",
        multiple=True,
        help="A rod of the site that takes part; repeatable.  [default: all that are there]",
    ),
    click.option(
        "--take-over", is_flag=True, help="End another session of this job on the site first."
    ),
)


def site_wish(options: dict[str, Any]) -> "SiteWish | None":
    """Take what is asked of a site off the options, or None where no site is named.

    Raises
    ------
    BadInput
        Where rods are named without a site, or a source beside it.
    """
    path, rods = options.pop("site_path", None), tuple(options.pop("rods", ()))
    take_over = options.pop("take_over", False)
    if path is None:
        if rods or take_over:
            raise BadInput(say("--rod and --take-over go with --site: name the site's invitation."))
        return None
    sources = ("serial_url", "ble_rod", "typed", "replay")
    if any(options.get(name) for name in sources):
        raise BadInput(
            say("--site is a source itself: leave --serial, --ble, --typed, --replay out.")
        )
    from rig.devices.site import read_account
    from rig.session.rods import SiteWish

    usual = None
    if options.get("profile_name"):
        from rig.cli.live_options import RodWish, picked, read_profile

        usual = read_profile(picked(RodWish, options))
    account = read_account(path)
    return SiteWish(account=account, rods=rods, take_over=take_over, usual=usual)


def run_work(
    job: "Job",
    make: "Callable[[Start], Work]",
    wish: "SiteWish",
    *,
    as_json: bool,
    page: "Page | None" = None,
) -> int:
    """Run what several rods do together, with the screens that fit the output; return its shots."""
    import asyncio
    import time

    from rig.cli.options import tell
    from rig.cli.serve_options import announce
    from rig.devices.clock import Clock
    from rig.session import terminal
    from rig.session.keys import keys
    from rig.session.rods import run_rods
    from rig.session.rods_scene import RodsScenes, Together
    from rig.session.rods_work import start_now
    from rig.session.run import Stream, Tell

    async def work() -> int:
        clock = Clock()
        made = make(start_now(time.time()))
        streams, sinks = [Stream(keys(clock))], [screen]
        if page is not None:
            announce(page, as_json)
            page.begin(Together.of(made.scene((*made.kind.acts, "quit"))))
            sinks.append(Tell(page.hear))
            streams.append(Stream(page.acts(clock)))
        return await run_rods(
            made, wish, streams, sinks, clock, lambda hub: [RodsScenes(hub, made)]
        )

    with terminal.screen(as_json, job.units, tell, "", of_several=True) as screen:
        return asyncio.run(work())


def run_to_the_end(work: Coroutine[Any, Any, T], stopped: Callable[[], T]) -> T:
    """Run until it ends or a signal says stop, and let it say goodbye."""
    import asyncio
    import contextlib
    import signal

    async def until_told() -> T:
        loop, task = asyncio.get_running_loop(), asyncio.current_task()
        assert task is not None
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            with contextlib.suppress(ValueError, RuntimeError, NotImplementedError):
                loop.add_signal_handler(number, task.cancel)
        try:
            return await work
        except asyncio.CancelledError:
            return stopped()

    return asyncio.run(until_told())
