"""Options and words for the live page: `--serve`, and its address as text and as a QR code."""

import contextlib
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import Command, stack, tell
from rig.errors import BadInput
from rig.language import say

if TYPE_CHECKING:
    from rig.page.server import Page, Pages
    from rig.page.tls import Link

address_options = stack(
    click.option(
        "--host",
        help="Address for the page; 0.0.0.0 for every network this machine is in.  "
        "[default: this machine alone]",
    ),
    click.option(
        "--port", type=click.IntRange(0, 65535), help="Port for the page.  [default: a free one]"
    ),
)


def serve_options(command: Command) -> Command:
    """Add `--serve` and where it listens."""
    return stack(
        click.option("--serve", is_flag=True, help="Show the work on a phone too, and let it act."),
        address_options,
    )(command)


@contextlib.contextmanager
def open_page(
    options: dict[str, Any], always: bool = False, site_of: "Callable[[Page], Pages] | None" = None
) -> "Iterator[Page | None]":
    """Serve the page while a command runs, if its options ask for it; takes them off `options`.

    The address is told by `announce`, once there is something to show.

    Raises
    ------
    BadInput
        When the port is taken, the host is not ours, or either is given without `--serve`.
    """
    wanted = options.pop("serve", False) or always
    host, port = options.pop("host", None), options.pop("port", None)
    encrypts, key = options.pop("encrypts", False), options.pop("key", "")
    if not wanted:
        if host is not None or port is not None:
            raise BadInput(
                say("--host and --port go with --serve: add --serve, or leave them out.")
            )
        yield None
        return
    from rig.page.server import Page

    page = Page("127.0.0.1" if host is None else host, port or 0, key)
    page.encrypts = _encrypted if encrypts else None
    page.site = None if site_of is None else site_of(page)
    page.start()
    try:
        yield page
    finally:
        page.close()


def _encrypted(names: set[str]) -> "Link":
    import time

    from rig.page.tls import encrypted
    from rig.products.library import data_folder

    return encrypted(data_folder() / "tls", names, time.time())


def announce(page: "Page", as_json: bool) -> None:
    """Say where the page is, the first time only, before anything else is said."""
    if page.announced:
        return
    page.announced = True
    from rig.events import Serving
    from rig.session.terminal import print_json

    if as_json:
        print_json(Serving(url=page.url))
        return
    import segno

    segno.make(page.url, error="m").terminal(compact=True)
    tell(say("The page: {url}", url=page.url))
    if page.here_only:
        tell(say("(On this machine alone; for a phone on the same Wi-Fi: --host 0.0.0.0)"))
