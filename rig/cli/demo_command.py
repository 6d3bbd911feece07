"""`rig demo`: the whole job on simulated devices, and how far each number is from their truth."""

import json
import tempfile
from pathlib import Path
from typing import Any

import click

from rig.cli.options import Number, json_option, tell
from rig.cli.serve_options import announce, open_page, serve_options

SPEED, WATCHED_SPEED = 40.0, 3.0
COMING_S = 30.0


@click.command()
@click.option("--seed", type=click.IntRange(min=0), default=5, show_default=True)
@click.option(
    "--speed",
    type=Number(min=1.0, max=100.0),
    help="How much faster than life the simulated installer works, at most.  "
    f"[default: {SPEED:g}, with --serve {WATCHED_SPEED:g}]",
)
@click.option(
    "--link",
    type=click.Choice(["serial", "ble"]),
    default="serial",
    show_default=True,
    help="A cable (a pseudo-terminal), or Bluetooth (a private D-Bus).",
)
@click.option(
    "--faults",
    is_flag=True,
    help="Show instead how a small survey meets each fault of a rod and its link.",
)
@click.option(
    "--office",
    "company",
    type=click.IntRange(3, 1000),
    metavar="N",
    help="Show instead what an office learns of so many jobs of a simulated company.",
)
@click.option(
    "--rods",
    type=click.IntRange(2, 8),
    help="Show instead how so many rods share a survey, on a broker of its own.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the job and its files.  [default: a new temporary one]",
)
@serve_options
@json_option
def command(
    seed: int,
    speed: float | None,
    link: str,
    faults: bool,
    rods: int | None,
    company: int | None,
    out: Path | None,
    as_json: bool,
    **served: Any,
) -> None:
    """Run the whole job on a simulated rod, over a real pseudo-terminal or a private D-Bus.

    Floor, laser, rod and installer are simulated and their data invented; everything else is the
    product as it is. Ends with how far each number is from the simulated truth.
    """
    from rig.cli.staged import Staged

    if faults:
        from rig.demo.faults import show_faults

        show_faults(Staged(), link, seed, as_json)
        return
    if company is not None:
        from rig.demo.company import company_text, show_company

        learnt = show_company(_made(out), company, seed)
        tell(json.dumps(learnt.as_json()) if as_json else company_text(learnt))
        return
    if rods is not None:
        _show_rods(rods, out, seed, as_json)
        return
    from rig.demo.stage import quiet
    from rig.demo.truth import apart_text
    from rig.demo.whole_job import PROVED, Demo, last_word, run

    with open_page(served) as page:
        if page is not None:
            announce(page, as_json)
            page.wait_for_phone(COMING_S)
        folder = _made(out)
        if speed is None:
            speed = SPEED if page is None else WATCHED_SPEED
        with quiet(as_json):
            told = run(Demo(Staged(), folder, link, seed, speed, page))
        if page is not None:
            page.close(last_word(told))
        if as_json:
            tell(json.dumps(told.as_json(), allow_nan=False))
        else:
            tell(apart_text(told, PROVED))


def _made(out: Path | None) -> Path:
    folder = out or Path(tempfile.mkdtemp(prefix="floor-rig-demo-"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _show_rods(count: int, out: Path | None, seed: int, as_json: bool) -> None:
    from rig.demo.rods import rods_text, show_rods

    told = show_rods(_made(out), count, seed, as_json)
    tell(json.dumps(told.as_json()) if as_json else rods_text(told))
