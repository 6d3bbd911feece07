"""`rig hand-in`: bring jobs to the company's office."""

from pathlib import Path

import click

from rig.cli.options import json_option, show
from rig.errors import RigError
from rig.language import join, put

_MOST_TOLD = 1_000_000


@click.command()
@click.argument("jobs", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="JOB...")
@click.option(
    "--to", "to", metavar="PLACE", help="A folder or s3://bucket/folder.  [default: RIG_OFFICE]"
)
@click.option(
    "--with-customer",
    "customer",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A file about the customer, kept apart from the job and never in the books.",
)
@json_option
def command(jobs: tuple[Path, ...], to: str | None, customer: Path | None, as_json: bool) -> int:
    """Bring jobs to the company's office, each whole and once.

    A job may be brought again as it goes on; what is on the shelf is never overwritten. A job that
    cannot be brought is named, and the others are brought all the same.
    """
    from rig.cli.options import tell
    from rig.errors import BadInput, OfficeUnavailable
    from rig.files import read_whole
    from rig.office import shelf
    from rig.office.place import place_of
    from rig.words import office as words

    if customer is not None and len(jobs) != 1:
        raise BadInput(words.one_customer())
    about = None
    if customer is not None:
        about = read_whole(customer, _MOST_TOLD, words.too_much())
    place = place_of(to)
    done, code = [], 0
    for job in jobs:
        try:
            done.append(shelf.hand_in(place, job))
        except OfficeUnavailable:
            raise
        except RigError as error:
            tell(put("rig: {error}", error=error), err=True)
            code = code or error.exit_code
    if about is not None and done:
        shelf.put_customer(place, done[0].uid, about)
    lines = [words.handed_in(one.job, one.content, one.was_there) for one in done]
    show({"jobs": [one.as_json() for one in done]}, as_json, join("\n", lines))
    return code
