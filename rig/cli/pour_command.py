"""`rig pour`: the plan of the pour, the list before it, and the live log."""

import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.jobs import mend_pour, outline_of
from rig.cli.options import (
    DURATION,
    Command,
    Length,
    Lengths,
    Number,
    Typed,
    _ParamType,
    job_option,
    json_option,
    lift_option,
    room_option,
    show,
    stack,
    tell,
    why_option,
)
from rig.cli.serve_options import announce, open_page, serve_options
from rig.cli.site_options import rods_options, site_wish
from rig.errors import BadInput
from rig.words import join, put, say
from rig.words import pour as words

if TYPE_CHECKING:
    from rig.page.server import Page
    from rig.session.items import Log
    from rig.session.rods import SiteWish
    from rig.session.run import Machine, Sink
    from rig.study.pour_answer import PourPlan, PourWish, Prepour
    from rig.study.pour_plan import ToLog
    from rig.units import Units


class _People(_ParamType):
    """How many people, or the name of a crew that is remembered."""

    name = "people"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Take a text that is no number as a name."""
        if isinstance(value, str) and not value.strip().lstrip("-").isdecimal():
            return value
        if int(value) < 1:
            self.fail(say("{value!r} is nobody; give how many they are.", value=value), param, ctx)
        return int(value)


def wish_of(options: dict[str, Any]) -> "PourWish":
    """Return what a pour is asked for, with what is remembered of crew and mixer by their names.

    What is given beside a name rules over what is remembered.
    """
    from rig.study.pour_answer import PourWish
    from rig.study.pour_wish import by_names

    mixer, crew = options.pop("mixer", None), options["crew"]
    called = crew if isinstance(crew, str) else None
    options["crew"] = None if called else crew
    options |= by_names(options, called, mixer)
    if options["bags_per_batch"] is None:
        options["bags_per_batch"] = 1
    return PourWish(**options)


def _time(flag: str, name: str, text: str) -> Callable[[Command], Command]:
    return click.option(flag, name, type=DURATION, help=text)


plan_options = stack(
    click.option("--mixers", type=click.IntRange(min=1), help="Mixers that run at once."),
    click.option(
        "--crew",
        type=_People(),
        help="People, mixing hands included; or a crew's name, as rig product knows it.",
    ),
    click.option("--mixer", metavar="NAME", help="The mixer, as rig product knows it."),
    _time("--mix-time", "mix_time_s", "Of a batch, from the sheet: 2min."),
    _time(
        "--working-time",
        "working_time_s",
        "How long the mix flows and heals, from the sheet: 20min.",
    ),
    click.option(
        "--sheet",
        "sheet_path",
        type=click.Path(dir_okay=False),
        metavar="FILE",
        help="What the product's data sheet says, in TOML; an option given here rules over it.",
    ),
    click.option(
        "--temperature", type=Typed(), metavar="21C", help="Of the floor; held against --sheet."
    ),
    click.option(
        "--start",
        "start_mm",
        type=Lengths("X", "Y"),
        help="Where the pour starts.  [default: the place farthest from the exit, on foot]",
    ),
    click.option(
        "--exit",
        "exit_mm",
        type=Lengths("X", "Y"),
        help="Where the crew leaves.  [default: the first door]",
    ),
    _time("--slake-time", "slake_time_s", "Rest after mixing.  [default: 0, or the sheet's]"),
    click.option("--bags-per-batch", type=click.IntRange(min=1), help="[default: 1]"),
    click.option(
        "--buckets",
        type=click.IntRange(min=1),
        help="Batches on the way at once.  [default: as many as keep the edge youngest]",
    ),
    click.option(
        "--strip",
        "strip_mm",
        type=Length(above=0.0),
        help="Depth of a strip along the front.  [default: of 300 to 600 mm what keeps the edge "
        "youngest]",
    ),
    click.option(
        "--bays",
        type=click.IntRange(min=1, max=8),
        default=1,
        show_default=True,
        help="Poured one after another, with a stop between.",
    ),
    click.option(
        "--mix-distance",
        "mix_distance_mm",
        type=Length(minimum=0.0),
        default="3m",
        show_default=True,
        help="From the mixers to the exit.",
    ),
    _time("--water-time", "water_time_s", "Measuring water for a bag.  [default: 15s]"),
    _time("--powder-time", "powder_time_s", "Adding a bag's powder.  [default: 30s]"),
    _time("--pour-time", "pour_time_s", "Pouring out a batch.  [default: 20s]"),
    _time("--spread-time", "spread_time_s_m2", "Spreading a m².  [default: 25s]"),
    _time("--deair-time", "deair_time_s_m2", "Taking air out of a m².  [default: 15s]"),
    click.option(
        "--crew-from",
        type=click.Path(dir_okay=False),
        metavar="JOB",
        help="Begin with what this crew's last pour took, in another job.  [default: this job's]",
    ),
    lift_option,
    room_option,
    click.option(
        "--runs",
        type=click.IntRange(min=100, max=20_000),
        default=2_000,
        show_default=True,
        help="Simulated pours.",
    ),
)


@click.group()
def command() -> None:
    """Plan the pour that can't be taken back, tick the list before it, log it live."""


@command.command("plan")
@job_option
@plan_options
@why_option
@json_option
def plan_command(job_path: Path, why: bool, as_json: bool, **options: Any) -> None:
    """Order of batches, crew and mixers, and how old the wet edge gets.

    Exits with 1 where one pour is not feasible, with the cheapest change that makes it so.
    """
    from rig.cli.progress import working
    from rig.job.store import Job
    from rig.study.lifting import has_no_lift
    from rig.study.pour_log import last_pour_plan
    from rig.study.pour_plan import make_pour_plan
    from rig.study.rooms import has_several, in_room, pour_order

    room_name = options.pop("room_name")
    wish = wish_of(options)
    mend_pour(job_path)
    found: dict[str, PourPlan] = {}
    with Job.open(job_path, write=True) as job, working(say("Simulating the crew")):
        in_room(job, room_name)
        first, units, several = last_pour_plan(job) is None, job.units, has_several(job)
        names = pour_order(job) if several else [room_name]
        with job.together(say("the pour was not planned")):
            for name in names:
                in_room(job, name)
                if several and has_no_lift(job, wish.lift):
                    continue
                found[name or ""] = make_pour_plan(job, outline_of(job), wish, time.time())
    if not found:
        raise BadInput(say("No room has a lift {lift}: see rig plan.", lift=wish.lift))
    feasible = all(made.feasible for made in found.values())
    if as_json and several:
        rooms = [{"name": name, **made.as_json()} for name, made in found.items()]
        show({"order": names, "rooms": rooms, "feasible": feasible}, True, "")
    elif as_json:
        show(made_one(found).as_json(), True, "")
    else:
        _tell_plans(found, units, several=several, first=first, why=why)
    if not feasible:
        click.get_current_context().exit(1)


def _tell_plans(
    found: "dict[str, PourPlan]", units: "Units", *, several: bool, first: bool, why: bool
) -> None:
    """Write the plans by room; the `first` of a job has its cautions in full."""
    from rig.report.pour_part import pour_plan_section
    from rig.report.text import to_text
    from rig.words.rooms import pour_order as told_order

    if several:
        tell(told_order(list(found)))
    for name, made in found.items():
        if several:
            tell(f"{name}:")
        part = pour_plan_section(made, units, first=first and name == next(iter(found)))
        following = words.NEXT_LIST if made.feasible else words.NEXT_PLAN_AGAIN
        tell(to_text([part], why=why, last=following))


def made_one(found: "dict[str, PourPlan]") -> "PourPlan":
    """Return the plan of the one room there is."""
    (made,) = found.values()
    return made


@command.command("list")
@job_option
@click.option("--tick", multiple=True, metavar="STEP", help="A step that is done. Repeatable.")
@json_option
def list_command(job_path: Path, tick: tuple[str, ...], as_json: bool) -> None:
    """Show or tick the steps before the pour, each with why."""
    from rig.job.store import Job
    from rig.pour.prepour import step_called
    from rig.study.pour_log import prepour_of

    steps = [step_called(word) for word in tick]
    mend_pour(job_path)
    with Job.open(job_path, write=bool(steps)) as job:
        for step in steps:
            job.log_event(None, None, time.time(), "tick", {"step": step.key})
        listed = prepour_of(job)
    show(listed.as_json(), as_json, _list_text(listed))


def run_options(options: Command) -> Command:
    """Add what `rig pour run` alone takes."""
    return stack(
        click.option("--bags", type=Number(min=0.0, min_open=True),
                     help="Bags on site.  [default: the plan's, to be 95 % sure]"),
        click.option("--serial", "serial_url", metavar="URL",
                     help="A counter or button: each press is a batch."),
        click.option(
            "--baud", type=click.IntRange(min=1), help="[default: the profile's, else 9600]"
        ),
        click.option("--profile", "profile_name", metavar="KEY|FILE", default="sentence",
                     show_default=True, help="How the counter speaks; see rig devices."),
    )(options)  # fmt: skip


@dataclass(frozen=True)
class Counter:
    """A counter or button at a port, each press of which is a batch."""

    url: str
    baud: int | None
    profile_name: str


@command.command("run")
@job_option
@plan_options
@run_options
@rods_options
@serve_options
@json_option
def run_command(
    job_path: Path,
    bags: float | None,
    serial_url: str | None,
    baud: int | None,
    profile_name: str,
    as_json: bool,
    **options: Any,
) -> None:
    """Log the pour live: batch, front LABEL, undo, tick WORD, stop, by keys or typed words.

    Goes by the last rig pour plan, or makes one where its options are given. Cut off in mid-pour,
    it goes on where it was, with the true ages of the edges.
    """
    counter = Counter(serial_url, baud, profile_name) if serial_url else None
    room_name, site = options.pop("room_name"), site_wish(options)
    with open_page(options) as page:
        log_pour(
            job_path,
            wish_of(options),
            bags,
            counter,
            as_json=as_json,
            page=page,
            room=room_name,
            site=site,
        )


def log_pour(
    job_path: Path,
    wish: "PourWish",
    bags: float | None = None,
    counter: Counter | None = None,
    *,
    as_json: bool,
    script: Sequence[tuple[float, str]] = (),
    speed: float = 1.0,
    more_sinks: "Sequence[Sink]" = (),
    page: "Page | None" = None,
    room: str | None = None,
    site: "SiteWish | None" = None,
) -> None:
    """Log a pour from the keyboard and a page, or from a script by a faster clock."""
    from rig.job.store import Job
    from rig.session.begin import begin_pour
    from rig.session.kinds.pour import KIND
    from rig.session.run import Tell
    from rig.study.plan_answer import read_plan
    from rig.study.pour_log import after
    from rig.study.rooms import in_room

    found: list[ToLog] = []
    mend_pour(job_path)
    with Job.open(job_path, write=True) as job:
        in_room(job, room)
        begun = begin_pour(job, bags, wish, found.append)
        answer = found[0].pour.answer
        lifts = read_plan(found[0].pour.plan).answer.lifts
        if found[0].goes_on_by_another:
            tell("rig: " + words.GOES_ON, err=True)
        elif found[0].is_new and not answer.feasible and not as_json:
            tell("rig: " + answer.advice, err=True)
        machine = KIND.machine(begun)
        log = KIND.log(begun, KIND.start(begun, "serial" if counter else "keys"))
        if not as_json:
            tell(words.CAUTION, err=True)
        sinks = list(more_sinks)
        if page is not None:
            announce(page, as_json)
            page.begin(KIND.scene(begun, KIND.acts))
            sinks.append(Tell(page.hear))
        beside = None if site is None else (job.uid, site)
        _run(machine, log, counter, as_json, job.units, script, speed, sinks, page, beside)
    if as_json:
        return
    if not machine.finished:
        tell(words.LEFT)
    elif not script:
        lift = None if answer.lift is None else (answer.lift, lifts)
        tell(join("\n", after(answer.sheet, time.time(), lift)))


def _run(
    machine: "Machine",
    log: "Log",
    counter: Counter | None,
    as_json: bool,
    units: "Units",
    script: Sequence[tuple[float, str]],
    speed: float,
    sinks: "list[Sink]",
    page: "Page | None",
    beside: "tuple[str, SiteWish] | None" = None,
) -> None:
    import asyncio

    from rig.devices.clock import Clock
    from rig.session import sources, terminal
    from rig.session.keys import keys
    from rig.session.pour_keys import HELP, PourKeys, parse_words
    from rig.session.run import Stream, run

    told = sources.Script(script, parse_words, speed) if script else None
    clock = told or Clock(speed)

    def complain(text: str) -> None:
        tell(put("rig: {what}", what=text), err=True)

    by_keys = not script and sys.stdin.isatty()
    if told is not None:
        streams = [Stream(told.items())]
        sinks.append(told)
    elif by_keys:
        streams = [Stream(sources.watched(keys(clock, PourKeys()), clock))]
    else:
        spoken = sources.words(parse_words, clock, complain)
        streams = [Stream(sources.watched(spoken, clock))]
    if page is not None:
        # The page goes on when standard input has ended; a script does not wait for it.
        acts = Stream(sources.watched(page.acts(clock), clock))
        streams.insert(len(streams) if script else 0, acts)
    if counter is not None:
        from rig.devices.profile import load_profile
        from rig.devices.serial_port import SerialTransport

        profile = load_profile(counter.profile_name)
        transport = SerialTransport(counter.url, counter.baud, profile)
        streams.insert(0, sources.Device(transport, profile, clock))
    with terminal.screen(as_json, units, tell, HELP if by_keys else "") as screen:
        everybody = [screen, *sinks]
        if beside is None:
            asyncio.run(run(machine, streams, log, everybody, clock))
        else:
            from rig.session.rods import run_beside

            job, site = beside
            asyncio.run(run_beside(machine, log, job, site, streams, everybody, clock))


def _list_text(listed: "Prepour") -> str:
    lines = [say("Before the pour, because it can't be made good later:")]
    for step in listed.prepour:
        mark = "x" if step.ticked else " "
        lines.append(f"  [{mark}] {step.key:<12} {step.text}: {step.why}")
    lines += [f"  [{'x' if one.within else ' '}] {one.text}" for one in listed.asks]
    return join("\n", [*lines, say("Tick: rig pour list --tick STEP")])
