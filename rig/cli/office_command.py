"""`rig office`: the company's shelf and books."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import Typed, json_option, show, stack
from rig.cli.serve_options import address_options, announce, open_page
from rig.language import join, say

if TYPE_CHECKING:
    from rig.office.accounts import Accounts
    from rig.office.books import Only

_HERE = (None, "127.0.0.1", "localhost", "::1")
"""Hosts that nobody but this machine reaches."""

office_option = click.option(
    "--office",
    "office",
    metavar="PLACE",
    help="A folder or s3://bucket/folder.  [default: RIG_OFFICE]",
)

only_options = stack(
    click.option("--crew", metavar="NAME", help="Only this crew's jobs."),
    click.option("--product", metavar="NAME", help="Only jobs with this product."),
    click.option("--laser", metavar="NAME", help="Only jobs with this laser."),
    click.option("--since", metavar="DATE", help="Only jobs worked on since, as 2026-03-01."),
)


@click.group()
def command() -> None:
    """A company's jobs on one shelf, the books made from them, and what they teach.

    Crews bring jobs with rig hand-in. The shelf keeps each version whole; the books are a table
    made from it, to be thrown away and made anew at any time.
    """


@command.command()
@office_option
@json_option
def take(office: str | None, as_json: bool) -> None:
    """Take what arrived into the books; name forks and damaged files."""
    from rig.cli.progress import working
    from rig.office.place import place_of
    from rig.office.take import take
    from rig.words import office as words

    place = place_of(office)
    with working(say("Taking jobs into the books")):
        told = take(place)
    lines = [words.taken(told.taken, told.there_already)]
    lines += [words.forks(told.forks)] if told.forks else []
    lines += [words.damaged_ones(told.damaged)] if told.damaged else []
    show(told.as_json(), as_json, join("\n", lines))


@command.command()
@office_option
@json_option
def check(office: str | None, as_json: bool) -> int:
    """Hold every file on the shelf against its name, and the books against the shelf.

    Ends with code 1 where a file is damaged or missing.
    """
    from rig.cli.progress import working
    from rig.office.place import place_of
    from rig.office.take import check
    from rig.words import office as words

    place = place_of(office)
    with working(say("Looking at every file")):
        told = check(place)
    lines = [words.checked(told.files)]
    lines += [words.damaged_ones(told.damaged)] if told.damaged else []
    lines += [words.missing_ones(told.missing)] if told.missing else []
    lines += [words.waiting(told.untaken)] if told.untaken else []
    show(told.as_json(), as_json, join("\n", lines))
    return 1 if told.damaged or told.missing else 0


@command.command()
@click.argument("uid")
@office_option
@click.option("--version", metavar="CONTENT", help="A version.  [default: the one that counts]")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="A file, or a folder.  [default: UID.sqlite]",
)
@json_option
def out(uid: str, office: str | None, version: str | None, out: Path | None, as_json: bool) -> None:
    """Give a job file back, unchanged."""
    from rig.office.give import give
    from rig.office.place import place_of
    from rig.words import office as words

    file = give(place_of(office), uid, version, out)
    show({"file": str(file)}, as_json, words.given(str(file)))


@command.command()
@click.argument("key", required=False)
@office_option
@click.option(
    "--sql",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A question of your own: SQL over the view job.",
)
@click.option(
    "--at",
    metavar="ADDRESS",
    help="Ask a PostgreSQL there instead, as postgresql://user@host:5432/database.",
)
@only_options
@json_option
def ask(
    key: str | None,
    office: str | None,
    sql: Path | None,
    at: str | None,
    crew: str | None,
    product: str | None,
    laser: str | None,
    since: str | None,
    as_json: bool,
) -> None:
    """Ask the books: yield, laser, short, coverage, markers, flatness or pace.

    With --at (it needs floor-rig[postgres]) the books are copied into the schema floor_rig of that
    database first, where they are ahead of it.
    """
    from rig.errors import BadInput
    from rig.office import ask as asking
    from rig.office.place import place_of
    from rig.page.office_tables import answer_parts
    from rig.report.document import Section
    from rig.report.text import to_text
    from rig.words import office as words

    if (key is None) == (sql is None):
        raise BadInput(words.one_question())
    only = _only(crew, product, laser, since)
    place = place_of(office)
    if sql is not None:
        if at is not None:
            raise BadInput(words.only_named())
        answer, question = asking.ask_sql(place, sql, only), None
    elif at is not None:
        from rig.office.postgres import ask_postgres

        answer = ask_postgres(place, str(key), at, only)
        question = asking.questions()[str(key)]
    else:
        answer = asking.ask(place, str(key), only)
        question = asking.questions()[str(key)]
    text = ""
    if not as_json:
        text = to_text([Section("ask", "", tuple(answer_parts(answer, question)))], why=False)
    show(answer.as_json(), as_json, text)


def _only(crew: str | None, product: str | None, laser: str | None, since: str | None) -> "Only":
    from datetime import UTC, datetime

    from rig.errors import BadInput
    from rig.office.books import Only
    from rig.words import office as words

    at = None
    if since is not None:
        try:
            at = datetime.strptime(since, "%Y-%m-%d").replace(tzinfo=UTC).timestamp()
        except ValueError:
            raise BadInput(words.no_date(since[:40])) from None
    return Only(crew, product, laser, at)


@command.command()
@office_option
@click.option("--crew", metavar="NAME", help="Who will do it.")
@click.option("--product", metavar="NAME", help="The compound.")
@click.option("--temperature", type=Typed(), metavar="T", help="Of the air, as 18C or 65F.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A file for rig plan --history, which needs no network.",
)
@json_option
def expect(
    office: str | None,
    crew: str | None,
    product: str | None,
    temperature: str | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """Tell the next job's bags and pace by what this crew and this product took before."""
    import json

    from rig.files import write_whole
    from rig.office.expect import expect
    from rig.office.place import place_of
    from rig.units import parse_temperature
    from rig.words import numeral
    from rig.words import office as words

    at = None if temperature is None else parse_temperature(temperature, "--temperature")
    told = expect(place_of(office), crew, product, at)
    if out is not None:
        write_whole(out, json.dumps(told.as_json(), indent=1) + "\n")
    factor, sd = told.factor, told.sd
    lines = [
        words.expected(
            numeral(factor.p50, ".0%"),
            numeral(factor.low, ".0%"),
            numeral(factor.high, ".0%"),
            told.jobs.crew,
            told.jobs.product,
        ),
        words.spreads(*(numeral(one, ".1%") for one in (sd.crew, sd.product, sd.job))),
    ]
    if told.pace is not None:
        pace = told.pace
        p50, low, high = (numeral(one, ".0%") for one in (pace.p50, pace.low, pace.high))
        lines.append(words.expected_pace(p50, low, high, pace.pours, pace.others))
    lines += [words.written_for_plans(str(out))] if out is not None else []
    show(told.as_json(), as_json, join("\n", lines))


@command.command()
@office_option
@click.option(
    "--workers", type=click.IntRange(min=1), default=1, show_default=True, help="Processes here."
)
@click.option("--at", metavar="ADDRESS", help="A scheduler whose workers do it, as tcp://...:8786.")
@json_option
def redo(office: str | None, workers: int, at: str | None, as_json: bool) -> int:
    """Reckon surface and plan of every job by today's model, beside the books.

    What was done is not done again; several workers need floor-rig[fleet]. Ends with code 1 where a
    job could not be reckoned.
    """
    from rig.cli.progress import working
    from rig.office.place import place_of
    from rig.office.redo import redo
    from rig.words import office as words
    from rig.words import say

    place = place_of(office)
    with working(say("Reckoning every job anew")):
        told = redo(place, workers, at)
    lines = [words.redone(told.done, told.model)]
    lines += [words.not_redone(told.failed)] if told.failed else []
    show(told.as_json(), as_json, "\n".join(lines))
    return 1 if told.failed else 0


_folder_option = click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Where the accounts are kept.  [default: office, among your own data]",
)


def _accounts_in(folder: Path | None) -> "Accounts":
    from rig.office.accounts import Accounts
    from rig.products.library import data_folder

    return Accounts(folder or data_folder() / "office")


@command.command()
@click.argument("name")
@_folder_option
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The invitation's file.  [default: NAME.office]",
)
@click.option("--withdraw", is_flag=True, help="Let NAME in no more instead.")
@json_option
def invite(name: str, folder: Path | None, out: Path | None, withdraw: bool, as_json: bool) -> None:
    """Make an account for the office's page: a file to carry there, and a code to scan.

    To invite NAME anew makes the old invitation worthless.
    """
    from rig.devices.site import kept_secret
    from rig.errors import BadInput
    from rig.words import office as words

    accounts = _accounts_in(folder)
    if withdraw:
        accounts.withdraw(name)
        show({"name": name, "withdrawn": True}, as_json, words.withdrawn(name))
        return
    made, path = accounts.invite(name), out or Path(f"{name}.office")
    try:
        kept_secret(path, made.as_text())
    except OSError as error:
        raise BadInput(
            say("{path} cannot be written: {reason}.", path=path, reason=error.strerror)
        ) from None
    if not as_json:
        import segno

        segno.make(made.as_text(), error="l").terminal(compact=True)
    told = {"file": str(path.absolute()), "name": name}
    show(told, as_json, words.invited(str(path), name))


@command.command()
@office_option
@_folder_option
@address_options
@click.option("--tls", "encrypts", is_flag=True, help="Encrypt the link; always, with --host.")
@json_option
def serve(office: str | None, folder: Path | None, as_json: bool, **options: Any) -> None:
    """Show jobs, reports and questions on a page, read only, until Ctrl-C.

    Whom rig office invite let in comes in by name and password. Before anybody was invited, this
    machine alone may look, by the key in the address, which is new at each start.
    """
    import time

    from rig.cli.serve_command import POLL_S, told_to_stop
    from rig.errors import BadInput
    from rig.office.place import place_of
    from rig.page.office_door import Door
    from rig.page.office_site import OfficeSite
    from rig.words import office as words

    accounts, elsewhere = _accounts_in(folder), options["host"] not in _HERE
    invited = bool(accounts.names())
    if elsewhere and not invited:
        raise BadInput(words.nobody_invited())
    site = OfficeSite(place_of(office), Door(accounts) if invited else None)
    if invited:  # the address is no secret then, and a password goes through no network in clear
        options |= {"key": "office", "encrypts": options["encrypts"] or elsewhere}
    stopped = told_to_stop()
    with open_page(options, always=True, site_of=lambda _: site) as page:
        assert page is not None
        announce(page, as_json)
        while not stopped:
            time.sleep(POLL_S)
        site.close()
