"""`rig practice`: a whole job on the page, the trainee's finger being the walker; scored."""

import asyncio
import json
import tempfile
from pathlib import Path
from typing import Any

import click

from rig.cli.options import Lengths, Number, json_option, tell
from rig.cli.serve_options import address_options, announce, open_page
from rig.language import join, say


@click.command()
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@click.option(
    "--room", type=Lengths("W", "L"), default="10ft,8ft", show_default=True, help="Its size."
)
@click.option(
    "--speed",
    type=Number(min=1.0, max=20.0),
    default=1.0,
    show_default=True,
    help="How much faster than life the rod is.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the job and its files.  [default: a new temporary one]",
)
@address_options
@json_option
def command(
    seed: int,
    room: tuple[float, float],
    speed: float,
    out: Path | None,
    as_json: bool,
    **served: Any,
) -> None:
    """Practise a whole job on the page without any hardware, and be scored.

    You move the rod with your finger on a simulated floor, set the markers, and tip the batches.
    At the end the round is held against the truth, and can be seen again.
    """
    from rig.cli.staged import Staged
    from rig.demo.practice import Practice
    from rig.demo.stage import quiet

    folder = out or Path(tempfile.mkdtemp(prefix="floor-rig-practice-"))
    folder.mkdir(parents=True, exist_ok=True)
    with open_page(served, always=True) as page:
        assert page is not None
        announce(page, as_json)
        practice = Practice(Staged(), page, folder, seed, speed, room)
        with quiet(as_json):
            told = practice.work()
        if as_json:
            tell(json.dumps(told.as_json(), allow_nan=False))
        else:
            rows = (
                "  " + say("{what:<12} {got} (aim: {aim})", what=row.what, got=row.got, aim=row.aim)
                for row in told.rows
            )
            tell(join("\n", rows))
        asyncio.run(practice.see_again(told.rows))
