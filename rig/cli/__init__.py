"""The command line: one file a command, each a thin shell over the library.

Commands are imported only when they run, so that `rig --help` is quick on a small computer.
"""

import importlib
import os
import sys
import warnings
from collections.abc import Sequence
from typing import TextIO

import click

from rig import __version__
from rig.cli.click_words import lend_words
from rig.errors import BadInput, JobWarning, RigError
from rig.language import LANGUAGES, as_before, join, of_environment, put, say, shown, speak

COMMANDS = {
    "new": say("Create a job: the room, its units, the compound."),
    "room": say("Several rooms in one job, on one plan."),
    "log": say("Log air, floor, moisture, primer, notes and photos."),
    "quote": say("Tell what a job will cost, by your price book."),
    "product": say("Remember products, primers, crews by name."),
    "firm": say("Tell who you are: what heads a customer's page."),
    "edit": say("Change what `new` set; the change is kept in the job's log."),
    "check": say("Check the laser and the rod before you trust them."),
    "grid": say("Lay out the points to shoot and the order to walk them."),
    "survey": say("Shoot the points, hands-free, with a rod or a tape."),
    "look": say("Tell what a straightedge showed between the shots."),
    "relabel": say("Mend wrong tags: move shots along the walk."),
    "undo": say("Take back the last act, or one that --list shows."),
    "import": say("Take a table of points instead of a survey."),
    "floor": say("Tell what the floor is like, with its doubt."),
    "plan": say("Choose the finished plane; tell volume and bags."),
    "markers": say("Lay out the depth markers and their heights."),
    "set": say("Set the markers by live raise and lower prompts."),
    "pour": say("Plan the pour: batches, crew, wet edge; log it live."),
    "flatness": say("Prove the floor against a tolerance: in, out, too close."),
    "rules": say("List the tolerance rules and their sources."),
    "report": say("Write the job as one HTML file, and a PDF."),
    "copy": say("Copy the job safely, also while a session writes to it."),
    "export": say("Write points, surface, contours, markers to a file."),
    "site": say("Several rods in one job: the broker of a place."),
    "rod": say("Be the box at a rod of a site."),
    "serve": say("Do the whole job on a phone; or watch a running session."),
    "devices": say("List ports, rods in reach over Bluetooth, and the shipped profiles."),
    "record": say("Keep a rod's messages with their times in a trace."),
    "practice": say("Practise a whole job on the page, and be scored."),
    "demo": say("Run the whole job on a simulated rod."),
    "hand-in": say("Bring jobs to the company's office, each whole and once."),
    "office": say("A company's jobs on one shelf, and what they teach."),
    "guide": say("Read on: chapters about each part of the job."),
}


INTRODUCTION = (
    say("Level a floor with self-levelling compound: from rod readings to set markers."),
    say(
        "A first job: rig new --room 12ft,15ft; rig grid; rig survey; rig plan; rig markers; rig "
        "set. Lengths carry their unit: 3ft, 2 1/4in, 57mm."
    ),
)
OPTIONS = {
    "version": say("Show the version and exit."),
    "language": say(
        "Language to be told in, before or after the command: {keys}.  [default: the job's, else "
        "the environment's]",
        keys=join(", ", LANGUAGES),
    ),
}

KEEPS_LANGUAGE = ("new", "edit")
"""Commands whose `--language` is kept in the job."""

PACKAGES = {"fpdf": "fpdf2", "serial": "pyserial", "re2": "pyre2"}
"""Packages that are not called as what they hold is."""

EXTRAS = {
    "obstore": "office", "deltalake": "office", "duckdb": "office", "zstandard": "office",
    "distributed": "fleet", "dask": "fleet",
    "ibis": "postgres", "psycopg": "postgres", "sqlglot": "postgres",
}  # fmt: skip
"""Packages of an extra, which most users do without."""


class _LazyGroup(click.Group):
    """A group that knows its commands' names and help before it imports any of them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"rig.cli.{cmd_name.replace('-', '_')}_command")
        command: click.Command = module.command
        command.name = cmd_name
        command.short_help = shown(COMMANDS[cmd_name])
        return command

    def format_help(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        self.help = shown(join("\n\n", INTRODUCTION))
        for option in self.params:
            if isinstance(option, click.Option) and option.name in OPTIONS:
                option.help = shown(OPTIONS[option.name])
        super().format_help(ctx, formatter)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section(shown(say("Commands"))):
            formatter.write_dl([(name, shown(text)) for name, text in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            raise click.UsageError(
                say(
                    "There is no command {args!r}. The commands are: {commands}.",
                    args=args[0],
                    commands=join(", ", COMMANDS),
                ),
                ctx,
            )
        return super().resolve_command(ctx, args)


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="floor-rig")
@click.option("--language", metavar="KEY")
def rig(language: str | None) -> None:
    """Run a command."""


def main(args: Sequence[str] | None = None) -> None:
    """Run the command line and exit with the code that section by section the help promises.

    0 done; 1 the job cannot answer; 2 bad input; 3 device not available; 4 job file unusable;
    5 job held by another process.
    """
    with as_before():
        sys.exit(_run(list(sys.argv[1:] if args is None else args)))


def _run(args: list[str]) -> int:
    """Run the command line in the language that is asked for, and return its exit code."""
    try:
        args, asked = _language_of(args)
        speak(asked or of_environment(), until_a_job=asked is None)
        lend_words()
        with warnings.catch_warnings():
            _tell_of_jobs()
            code = rig.main(args, "rig", standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    except (click.Abort, KeyboardInterrupt):
        code = 130
    except RigError as error:
        _say(put("rig: {error}", error=error))
        code = error.exit_code
    except ModuleNotFoundError as error:
        _say(put("rig: {what}", what=_missing(error)))
        code = 2
    except BrokenPipeError:
        code = 0  # who read has enough
        _speak_no_more()
    except OSError as error:
        if error.filename is not None:  # no write to the output that failed
            raise
        _speak_no_more()
        click.echo(
            shown(say("rig: the output cannot be written: {strerror}.", strerror=error.strerror)),
            err=True,
        )
        code = 2
    return code if isinstance(code, int) else 0


def _language_of(args: list[str]) -> tuple[list[str], str | None]:
    """Take `--language` from wherever it stands, and return its key.

    What `new` and `edit` are given is the job's too, so they get it as well.
    """
    left: list[str] = []
    asked = None
    rest = iter(args)
    for arg in rest:
        if arg == "--":
            left += [arg, *rest]
            break
        name, equals, value = arg.partition("=")
        if name != "--language":
            left.append(arg)
            continue
        asked = value if equals else next(rest, "")
        if left and left[0] in KEEPS_LANGUAGE:
            left += ["--language", asked]
    if asked is not None and asked not in LANGUAGES:
        raise BadInput(
            say(
                "--language {asked!r} is none that floor-rig speaks; it speaks {languages}.",
                asked=asked,
                languages=", ".join(LANGUAGES),
            )
        )
    return left, asked


def _say(text: str) -> None:
    from rig.cli.options import tell

    tell(text, err=True)


def _tell_of_jobs() -> None:
    """Say what the user should hear of a job file as errors are said; other warnings as usual."""
    usual = warnings.showwarning

    def tell(
        message: Warning | str,
        category: type[Warning],
        filename: str,
        lineno: int,
        file: TextIO | None = None,
        line: str | None = None,
    ) -> None:
        if issubclass(category, JobWarning):
            _say(put("rig: {message}", message=message))
        else:
            usual(message, category, filename, lineno, file, line)

    warnings.simplefilter("always", JobWarning)
    warnings.showwarning = tell


def _missing(error: ModuleNotFoundError) -> str:
    name = (error.name or "").partition(".")[0]
    if name in EXTRAS:
        from rig.words.office import missing

        return missing(name, EXTRAS[name])
    return say(
        "the library {name} is not installed, and this command needs it. Install it (pip "
        "install {get}), or all of them with bash tools/setup.",
        name=name,
        get=PACKAGES.get(name, name),
    )


def _speak_no_more() -> None:
    """Let the interpreter flush what is left into nothing, so that its end is a quiet one."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
