"""`rig pour`: the plan of the pour, the list before it, and the live log."""

import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.jobs import boot_id, outline_of, setup_of, units_of
from rig.cli.markers_command import fresh_plan
from rig.cli.options import DURATION, Command, Length, Lengths, job_option, json_option, show, stack
from rig.cli.serve_options import announce, open_page, serve_options
from rig.errors import BadInput, CannotAnswer
from rig.units import counted, format_place, format_volume

if TYPE_CHECKING:
    from rig.job.rows import Plan
    from rig.job.store import Job
    from rig.page.server import Page

CAUTION = "Caution: silica dust, caustic mix, current near water; the sheet and local rules rule."

plan_options = stack(
    click.option("--mixers", type=click.IntRange(min=1), help="Mixers that run at once."),
    click.option("--crew", type=click.IntRange(min=1), help="People, mixing hands included."),
    click.option("--mix-time", type=DURATION, help="Of a batch, from the sheet: 2min."),
    click.option(
        "--working-time",
        type=DURATION,
        help="How long the mix flows and heals, from the sheet: 20min.",
    ),
    click.option(
        "--sheet",
        "sheet_path",
        type=click.Path(path_type=Path, dir_okay=False),
        metavar="FILE",
        help="What the product's data sheet says, in TOML; an option given here rules over it.",
    ),
    click.option("--temperature", metavar="21C", help="Of the floor; held against --sheet."),
    click.option("--start", type=Lengths("X", "Y"), help="Where the pour starts.  [default: the "
                 "place farthest from the exit, on foot]"),
    click.option("--exit", "exit_", type=Lengths("X", "Y"), help="Where the crew leaves.  "
                 "[default: the first door]"),
    click.option("--slake-time", type=DURATION, help="Rest after mixing.  [default: 0, or the "
                 "sheet's]"),
    click.option("--bags-per-batch", type=click.IntRange(min=1), default=1, show_default=True),
    click.option("--buckets", type=click.IntRange(min=1), help="Batches on the way at once.  "
                 "[default: as many as keep the edge youngest]"),
    click.option("--strip", type=Length(above=0.0), help="Depth of a strip along the front.  "
                 "[default: of 300 to 600 mm what keeps the edge youngest]"),
    click.option("--bays", type=click.IntRange(min=1, max=8), default=1, show_default=True,
                 help="Poured one after another, with a stop between."),
    click.option("--mix-distance", type=Length(minimum=0.0), default="3m", show_default=True,
                 help="From the mixers to the exit."),
    click.option("--water-time", type=DURATION, help="Measuring water for a bag.  [default: 15s]"),
    click.option("--powder-time", type=DURATION, help="Adding a bag's powder.  [default: 30s]"),
    click.option("--pour-time", type=DURATION, help="Pouring out a batch.  [default: 20s]"),
    click.option("--spread-time", type=DURATION, help="Spreading a m².  [default: 25s]"),
    click.option("--deair-time", type=DURATION, help="Taking air out of a m².  [default: 15s]"),
    click.option(
        "--crew-from",
        type=click.Path(path_type=Path, dir_okay=False),
        metavar="JOB",
        help="Begin with what this crew's last pour took, in another job.  [default: this job's]",
    ),
    click.option("--runs", type=click.IntRange(min=100, max=20_000), default=2_000,
                 show_default=True, help="Simulated pours."),
)  # fmt: skip


@click.group()
def command() -> None:
    """Plan the pour that can't be taken back, tick the list before it, log it live."""


@command.command("plan")
@job_option
@plan_options
@json_option
def plan_command(job_path: Path, as_json: bool, **options: Any) -> None:
    """Order of batches, crew and mixers, and how old the wet edge gets.

    Exits with 1 where one pour is not feasible, with the cheapest change that makes it so.
    """
    from rig.cli.progress import working
    from rig.job.store import Job
    from rig.study.pour_plan import open_pour

    with Job.open(job_path, write=True) as job, working("Simulating the crew"):
        units, _ = units_of(job)
        if open_pour(job, time.time()) is not None:
            raise CannotAnswer(
                "A pour is under way, and a new plan would forget its batches. Go on with it: rig "
                "pour run; or end it there with stop, then plan again."
            )
        result = _make_plan(job, _plan_of(job), options)
    show(result, as_json, pour_text(result, units))
    if not result["feasible"]:
        click.get_current_context().exit(1)


@command.command("list")
@job_option
@click.option("--tick", multiple=True, metavar="STEP", help="A step that is done. Repeatable.")
@json_option
def list_command(job_path: Path, tick: tuple[str, ...], as_json: bool) -> None:
    """Show or tick the steps before the pour, each with why."""
    from rig.job.store import Job
    from rig.pour.prepour import STEPS, step_called
    from rig.study.pour_plan import ticked_of

    steps = [step_called(word) for word in tick]
    with Job.open(job_path, write=bool(steps)) as job:
        for step in steps:
            job.log_event(None, None, time.time(), "tick", {"step": step.key})
        ticked = ticked_of(job)
    rows = [{"key": s.key, "text": s.text, "why": s.why, "ticked": s.key in ticked} for s in STEPS]
    left = [str(row["key"]) for row in rows if not row["ticked"]]
    show({"prepour": rows, "left": left}, as_json, _list_text(rows))


def run_options(options: Command) -> Command:
    """Add what `rig pour run` alone takes."""
    return stack(
        click.option("--bags", type=click.FloatRange(min=0.0, min_open=True),
                     help="Bags on site.  [default: the plan's, to be 95 % sure]"),
        click.option("--serial", "serial_url", metavar="URL",
                     help="A counter or button: each press is a batch."),
        click.option("--baud", type=click.IntRange(min=1), default=9600, show_default=True),
        click.option("--profile", "profile_name", metavar="KEY|FILE", default="sentence",
                     show_default=True, help="How the counter speaks; see rig devices."),
    )(options)  # fmt: skip


@command.command("run")
@job_option
@plan_options
@run_options
@serve_options
@json_option
def run_command(job_path: Path, as_json: bool, **options: Any) -> None:
    """Log the pour live: batch, front LABEL, undo, tick WORD, stop, by keys or typed words.

    Goes by the last rig pour plan, or makes one where its options are given. Cut off in mid-pour,
    it goes on where it was, with the true ages of the edges.
    """
    with open_page(options) as page:
        log_pour(job_path, as_json, options, page=page)


def log_pour(
    job_path: Path,
    as_json: bool,
    options: dict[str, Any],
    script: Sequence[tuple[float, str]] = (),
    speed: float = 1.0,
    more_sinks: Sequence[Any] = (),
    page: "Page | None" = None,
) -> None:
    """Log a pour from the keyboard and a page, or from a script by a faster clock."""
    from rig.job.store import Job
    from rig.session.pouring import PourRecorder, live_plan, pour_machine
    from rig.study.pour_plan import after_text, current_pour_plan, open_pour, plan_of_pour

    with Job.open(job_path, write=True) as job:
        plans_anew = any(options[name] is not None for name in ("mixers", "crew", "sheet_path"))
        begun = open_pour(job, time.time())
        if begun is not None:
            told, plan = plan_of_pour(job, begun.id)
            if plans_anew or job.current_plan() != plan:
                click.echo(
                    "rig: A pour is under way: it goes on by the plan that it was begun with.",
                    err=True,
                )
        else:
            plan = _plan_of(job)
            if plans_anew:
                made = _make_plan(job, plan, options)
                if not as_json and not made["feasible"]:
                    click.echo(f"rig: {made['advice']}", err=True)
            told = current_pour_plan(job, plan)
        live = live_plan(told.data, plan, options["bags"], units_of(job)[0])
        if live.bags > 3.0 * plan.result["bags"]["p95"]:
            raise BadInput(
                f"--bags {live.bags:g} is more than the room can take: the plan is for "
                f"{plan.result['bags']['p95']}. Count again, or plan again."
            )
        result = told.data["result"]
        boot, steady_s, utc_s = boot_id(), time.monotonic(), time.time()
        machine = pour_machine(job, told, live, boot, steady_s, utc_s)
        session = job.start_session(
            kind="pour",
            setup=setup_of(job, None),
            source="serial" if options["serial_url"] else "keys",
            profile_text="",
            capture={"pour_plan": told.id, "bags": live.bags},
            boot_id=boot,
            utc_s=utc_s,
            monotonic_s=steady_s,
        )
        if not as_json:
            click.echo(CAUTION, err=True)
        recorder = PourRecorder(job, session, result["interval_s"])
        if page is not None:
            from rig.page.scenes import pour_scene

            announce(page, as_json)
            page.begin(pour_scene(job, outline_of(job), plan, told.data, live.bags, acts=True))
            more_sinks = [*more_sinks, page.hear]
        _run(machine, recorder, options, as_json, units_of(job), script, speed, more_sinks, page)
    if not machine.finished:
        if not as_json:
            click.echo("Left with all kept: rig pour run goes on. Say stop to end the pour.")
        return
    if not as_json and not script:
        click.echo("\n".join(after_text(result["sheet"], time.time())))


def _plan_of(job: "Job") -> "Plan":
    """Return the job's plan, refusing one whose plane or bags are stale."""
    plan = fresh_plan(job)
    changed = job.changed_since(plan, bags=True)
    if changed:
        raise CannotAnswer(
            f"The plan's bags are stale: since it was made, {', '.join(changed)} changed. Run "
            "rig plan again."
        )
    return plan


def _run(
    machine: Any,
    recorder: Any,
    options: dict[str, Any],
    as_json: bool,
    units: tuple[str, int],
    script: Sequence[tuple[float, str]],
    speed: float,
    more_sinks: Sequence[Any],
    page: "Page | None",
) -> None:
    import asyncio

    from rig.devices.clock import Clock
    from rig.session import sources, terminal
    from rig.session.keys import keys
    from rig.session.pour_keys import HELP, PourKeys, parse_words
    from rig.session.run import run

    told = sources.Script(script, parse_words, speed) if script else None
    clock = told or Clock(speed)

    def complain(text: str) -> None:
        click.echo(f"rig: {text}", err=True)

    by_keys = not script and sys.stdin.isatty()
    if told is not None:
        streams = [told.items()]
        more_sinks = [*more_sinks, told]
    elif by_keys:
        streams = [sources.watched(keys(clock, PourKeys()), clock)]
    else:
        streams = [sources.watched(sources.words(parse_words, clock, complain), clock)]
    if page is not None:
        # The page goes on when standard input has ended; a script does not wait for it.
        streams.insert(len(streams) if script else 0, sources.watched(page.acts(clock), clock))
    if options["serial_url"]:
        from rig.devices.profile import load_profile
        from rig.devices.serial_port import SerialTransport

        transport = SerialTransport(options["serial_url"], options["baud"])
        streams.insert(0, sources.Device(transport, load_profile(options["profile_name"]), clock))

    def go(sink: Any) -> None:
        asyncio.run(run(machine, streams, recorder, [sink, *more_sinks], clock))

    if as_json:
        go(terminal.json_lines)
    elif by_keys and sys.stdout.isatty():
        with terminal.BigScreen(*units, HELP) as screen:
            go(screen)
    else:
        go(terminal.plain_lines(*units, click.echo))


def _make_plan(job: "Job", plan: "Plan", options: dict[str, Any]) -> dict[str, Any]:
    """Plan the pour from options and sheet, and keep it in the job."""
    from rig.job.store import Job
    from rig.pour.crew import Times, check_crew, check_gear
    from rig.pour.forecast import Crew
    from rig.pour.order import exit_on
    from rig.pour.sheet import Sheet, ask_for, parse_temperature, read_sheet
    from rig.study.pour_plan import ground_of, learnt_from, pour_result

    for name, flag in (("mixers", "--mixers 2"), ("crew", "--crew 3")):
        if options[name] is None:
            raise BadInput(f"Say how many there are: {flag}.")
    units, _ = units_of(job)
    check_crew(options["crew"], options["mixers"])
    notes = check_gear(options["bags_per_batch"], options["buckets"], options["strip"], units)
    outline = outline_of(job)
    if options["exit_"] is not None:
        x_mm, y_mm = options["exit_"]
        exit_on(outline, x_mm, y_mm, units)
    sheet = Sheet() if options["sheet_path"] is None else read_sheet(options["sheet_path"])
    temperature = None
    if options["temperature"] is not None:
        temperature = parse_temperature(options["temperature"], "--temperature")
    working_s = options["working_time"]
    if working_s is None:
        working_s, note = sheet.working_time(temperature, units)
        notes += [note] if note else []
    mix_s = options["mix_time"] if options["mix_time"] is not None else sheet.mixing_time_s
    if mix_s is None:
        raise ask_for("mixing_time")
    if working_s is None:
        raise ask_for("working_time")
    slake_s = options["slake_time"] if options["slake_time"] is not None else sheet.slake_time_s
    given = {
        "slake_s": slake_s,
        "water_s": options["water_time"],
        "powder_s": options["powder_time"],
        "pour_s": options["pour_time"],
        "spread_s_m2": options["spread_time"],
        "deair_s_m2": options["deair_time"],
    }
    times = Times(mix_s, **{name: value for name, value in given.items() if value is not None})
    crew = Crew(
        people=options["crew"],
        mixers=options["mixers"],
        times=times,
        working_s=working_s,
        buckets=options["buckets"],
        bags_per_batch=options["bags_per_batch"],
        strip_mm=options["strip"],
        bays=options["bays"],
    )
    if options["crew_from"] is None:
        learnt = learnt_from(job, units)
    else:
        with Job.open(options["crew_from"]) as other:
            learnt = learnt_from(other, units)
        if learnt is None:
            raise BadInput(f"{options['crew_from']} holds no pour that was logged to its end.")
    ground = ground_of(
        job, outline, plan, options["exit_"], options["start"], options["mix_distance"]
    )
    result = pour_result(
        job, outline, plan, ground, crew, sheet, temperature, learnt, options["runs"]
    )
    result["warnings"] += notes
    kept = {name: value for name, value in options.items() if value is not None}
    job.save_pour_plan(
        result["batches"],
        {
            "plan_id": plan.id,
            "inputs": {name: str(v) if isinstance(v, Path) else v for name, v in kept.items()},
            "result": result,
        },
    )
    return result


def pour_text(result: dict[str, Any], units: str) -> str:
    """Describe the plan of a pour for people."""
    from rig.pour.clock_text import clock, minutes

    edge = result["wet_edge_age_s"]
    lines = [
        f"{counted(len(result['batches']), 'batch', 'batches')}, "
        f"{counted(result['bags'], 'bag')}, in {counted(len(result['strips']), 'strip')} "
        f"{format_place(result['strip_mm'], units)} deep, from the far end to the exit:",
        "  batch strip   mix  pour  where (reach)",
    ]
    bay = 1
    for row in result["batches"]:
        if row["bay"] != bay:
            bay = row["bay"]
            lines.append(f"  -- stop: let bay {bay - 1} set, then bay {bay} --")
        deep = ", deep: first" if row["deep"] else ""
        lines.append(
            f"  {row['n']:>5} {row['strip']:>5} {clock(row['mix_s']):>5} "
            f"{clock(row['pour_s']):>5}  {row['where']} "
            f"({format_place(row['reach_mm'], units)}{deep})"
        )
    first = result["batches"][0]
    idle = ", ".join(f"{role} {share:.0%}" for role, share in result["idle"].items())
    lines += [
        f"A batch is {format_volume(first['volume_l'], units)} in place, with "
        f"{format_volume(first['water_l'], units, liquid=True)} of water.",
        f"Crew of {result['crew']}: {result['roles']['text']}; "
        f"{counted(result['buckets'], 'bucket')}. "
        f"Waiting: {idle}.",
        f"{result['rate_bags_per_h']:.0f} bags an hour; {minutes(result['duration_s']['p50'])} in "
        f"all, 95 times in 100 under {minutes(result['duration_s']['p95'])}.",
        f"Wet edge: oldest {minutes(edge['p95'])} in 95 of 100 pours ({minutes(edge['max'])} in "
        f"the worst of {result['runs']}); it keeps {minutes(result['working_time_s'])}: margin "
        f"{minutes(result['margin_s'])}; it dies in {result['chance_edge_dies']:.1%} of pours.",
        _verdict(result),
        result["advice"],
    ]
    lines += [f"  {c['change']}: margin {minutes(c['margin_s'])}" for c in result["changes"]]
    lines += [f"Assumed: {text}" for text in result["assumptions"]]
    lines += [f"! {text}" for text in result["warnings"] if text != result["advice"]]
    left = [row["key"] for row in result["prepour"] if not row["ticked"]]
    if left:
        lines.append(f"Not ticked before the pour: {', '.join(left)} (rig pour list)")
    lines += [f"Caution: {text}" for text in result["cautions"]]
    following = "rig pour list, then rig pour run"
    if not result["feasible"]:
        following = "change what holds it up, then rig pour plan again"
    return "\n".join([*lines, f"Next: {following}"])


def _verdict(result: dict[str, Any]) -> str:
    if result["feasible"]:
        return "FEASIBLE."
    if not result["allowed_by_sheet"]:
        return "NOT FEASIBLE AT THIS TEMPERATURE."
    return "NOT FEASIBLE IN ONE POUR."


def _list_text(rows: list[dict[str, Any]]) -> str:
    lines = ["Before the pour, because it can't be made good later:"]
    for row in rows:
        mark = "x" if row["ticked"] else " "
        lines.append(f"  [{mark}] {row['key']:<12} {row['text']}: {row['why']}")
    return "\n".join([*lines, "Tick: rig pour list --tick STEP"])
