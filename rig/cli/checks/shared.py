"""What the checks share: numbers typed with or without units, limits, where they are kept."""

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from rig import units
from rig.cli.jobs import boot_id, outline_of, setup_of
from rig.cli.live_options import (
    Source,
    SourceWish,
    open_source,
    picked,
    run_live,
    source_options,
)
from rig.cli.options import (
    Command,
    Length,
    _ParamType,
    json_option,
    stack,
    tell,
    typed,
    unit_option,
)
from rig.errors import BadInput
from rig.language import current, join, say

if TYPE_CHECKING:
    from rig.events import ShotTaken
    from rig.job.store import Job
    from rig.room import Outline
    from rig.session.check_log import CheckLog
    from rig.session.run import Machine
    from rig.study.checks import CheckResult
    from rig.survey.capture import Stand

CAUTION = say("Caution: never look into the laser's beam; its class and its maker's rules apply.")


class Slope(_ParamType):
    """A slope such as 0.1mm/m, 0.01% or 1/8in/100ft, in mm per m."""

    name = "slope"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text, or fail with what is accepted."""
        if isinstance(value, float):
            return value
        try:
            text = typed(value, ctx, "limit")
            if text.strip().endswith("%"):
                slope = units.parse_percent(text) * 1000.0
            else:
                rise, _, run = text.rpartition("/")
                run = run.strip()
                run = run if run[:1].isdigit() else f"1{run}"
                slope = units.parse_length(rise) / units.parse_length(run) * 1000.0
        except (BadInput, ZeroDivisionError):
            self.fail(
                say("{value!r} is no slope; write 0.1mm/m, 0.01% or 1/8in/100ft.", value=value),
                param,
                ctx,
            )
        if not 0.0 < slope < 1000.0:
            self.fail(say("{value!r} must be more than nothing.", value=value), param, ctx)
        return slope


check_job_option = click.option(
    "--job",
    "job_path",
    type=click.Path(path_type=Path, dir_okay=False),
    is_eager=True,
    envvar="RIG_JOB",
    show_envvar=True,
    help="Keep the check in this job.  [default: ./job.sqlite where it is there]",
)

slope_limit_option = click.option(
    "--limit",
    type=Slope(),
    help="The maker's figure or your own.  [default: what the job needs, else 0.1mm/m]",
)

stderr_option = click.option(
    "--stderr",
    "stderr_mm",
    type=Length(above=0.0),
    help="Standard error of one typed reading.  [default: a tape's]",
)


def check_options(command: Command) -> Command:
    """Add what every check takes: job, source, unit, output."""
    return stack(check_job_option, source_options, unit_option, json_option)(command)


@dataclass
class Bench:
    """Where a check is made: its job, if there is one, and the units that people see."""

    job: "Job | None"
    outline: "Outline | None"
    setup: str
    units: units.Units
    as_json: bool


@contextlib.contextmanager
def bench(job_path: Path | None, as_json: bool) -> Iterator[Bench]:
    """Open the job that was named, or the one that lies here, or go without.

    A job that merely lies here must not keep a laser from being checked: where it cannot be
    written, that is said and the check goes on without it.
    """
    from rig.errors import JobUnusable
    from rig.job.store import Job

    path = job_path or Path("job.sqlite")
    job = None
    if job_path is not None or path.exists():
        try:
            job = Job.open(path, write=True)
        except JobUnusable as error:
            if job_path is not None:
                raise
            tell(say("rig: the check is not kept: {error}", error=error), err=True)
    if job is None:
        yield Bench(None, None, "1", units.Units("mm"), as_json)
        return
    with job:
        yield Bench(job, outline_of(job), setup_of(job, None), job.units, as_json)


def numbers(text: str, unit: str | None, names: Sequence[str], what: str) -> list[float]:
    """Read lengths between commas, in `unit` where they are bare.

    Raises
    ------
    BadInput
        Another count than the names, or a bare length without `unit`.
    """
    parts = units.parted(text, len(names))
    if len(parts) != len(names):
        raise BadInput(
            say(
                "{what} {text!r} has {parts} parts; it takes {names}.",
                what=what,
                text=text,
                parts=len(parts),
                names=",".join(names),
            )
        )
    return [length(part, unit, name) for part, name in zip(parts, names, strict=True)]


def listed(text: str) -> list[str]:
    """Part readings at their `;` or commas; refuse a comma that may be a decimal's."""
    if ";" in text or current().decimal == ".":
        return text.split(";" if ";" in text else ",")
    parts = units.parted(text, 0)
    if "," in text and any(part.strip()[-1:].isdigit() for part in parts):
        raise BadInput(
            say(
                "“{text}” could be one reading or several: part readings by ; or give each its "
                "unit.",
                text=text[:40],
            )
        )
    return parts


def length(text: str, unit: str | None, what: str) -> float:
    """Read one length, in `unit` where it is bare."""
    text = units.with_point(units.pointed(text, unit, what), unit)
    if unit is None:
        try:
            return units.parse_length(text, what=what)
        except BadInput as error:
            raise BadInput(
                say("{error} Or say the unit of all of them: --unit mm.", error=error)
            ) from None
    return units.parse_length(text, unit=unit, what=what)


def typed_stderr_mm(unit: str | None, given_mm: float | None) -> float:
    """Return the standard error of one typed reading: as given, else a tape's."""
    from rig.devices.typed import TAPE_RESOLUTION_MM
    from rig.devices.typed import typed_stderr_mm as tape

    return given_mm or tape(TAPE_RESOLUTION_MM["in" if unit in ("in", "ft") else "mm"])


def is_live(options: dict[str, Any], typed_in: Sequence[Any], how: str) -> bool:
    """Say whether the readings come from a rod; refuse both and neither."""
    live = any(options.get(name) for name in ("serial_url", "ble_rod", "typed", "replay"))
    if live and typed_in:
        raise BadInput(say("Readings come from {how} or from a rod, not from both.", how=how))
    if not live and not typed_in:
        raise BadInput(
            say(
                "Give the readings by {how}, or read them live: --serial PORT, or --typed.", how=how
            )
        )
    return live


def shoot(
    place: Bench, kind: str, stands: "Sequence[Stand]", options: dict[str, Any]
) -> "tuple[list[ShotTaken], int | None]":
    """Take a sight at each stand, as in a survey; return the sights and the session.

    Raises
    ------
    BadInput
        Where it ended before every stand had its sight.
    """
    from rig.session.checks import all_taken
    from rig.survey.capture import Capture

    source = open_source(picked(SourceWish, options), _typed_units(place, options))
    machine = Capture(
        stands,
        kind="check",
        dwell_s=options["dwell"],
        walk_s=options["walk"],
        still_mm=options["still"],
        resolution_mm=source.resolution_mm,
        foot_mm=source.foot_mm,
        show=place.units.length,
    )
    log, session = _run(place, kind, machine, source, options)
    return all_taken(stands, log.sights), session


def watch(
    place: Bench, seconds: float, options: dict[str, Any]
) -> tuple[list[float], list[float], int | None]:
    """Watch a standing rod for so long; return times, readings and the session."""
    from rig.survey.laser.watch import Watch

    machine = Watch(seconds, place.units)
    source = open_source(picked(SourceWish, options), _typed_units(place, options))
    _, session = _run(place, "drift", machine, source, options, seconds)
    return machine.times_s, machine.readings_mm, session


def finish(
    context: click.Context,
    place: Bench,
    result: "CheckResult",
    inputs: Mapping[str, object],
    lines: Sequence[str],
    *,
    live: bool,
    session: int | None = None,
) -> None:
    """Keep a check where there is a job, print it, and exit 1 where it is not ok."""
    import json

    from rig.study.checks import keep_check, kind_of

    if place.job is not None:
        keep_check(place.job, result, inputs, session)
    if place.as_json:
        told = {"check": kind_of(result), **result.as_json()}
        tell(json.dumps({"event": "result", **told} if live else told, allow_nan=False))
    else:
        kept = [] if place.job is None else [say("Kept in the job.")]
        tell(join("\n", [*lines, *kept]))
    if not result.ok:
        context.exit(1)


def limit_of_line(place: Bench, given: float | None) -> tuple[float, str]:
    """Largest slope that is good enough, in mm/m, and who says so."""
    from rig.study.lasers import limit_of

    if given is not None:
        return given, "--limit"
    return limit_of(place.job, place.outline, place.setup)


def _typed_units(place: Bench, options: dict[str, Any]) -> Literal["in", "mm"]:
    unit = options["unit"]
    if unit in ("in", "mm"):
        return "in" if unit == "in" else "mm"
    if unit is not None:
        raise BadInput(say("Readings typed live are in mm or in: --unit mm, or --unit in."))
    if place.job is None and options["typed"]:
        raise BadInput(say("Say what bare readings are in: --unit mm, or --unit in."))
    return place.units.system


def _run(
    place: Bench,
    kind: str,
    machine: "Machine",
    source: Source,
    options: dict[str, Any],
    seconds: float | None = None,
) -> "tuple[CheckLog, int | None]":
    import time

    from rig.session.check_log import CheckLog
    from rig.session.kinds.drift import CheckSettings

    utc_s = time.time()
    settings = replace(picked(CheckSettings, options), seconds=seconds)

    def start() -> int:
        assert place.job is not None
        return place.job.start_session(
            kind=f"check {kind}",
            setup=place.setup,
            source=source.name,
            profile_text=source.profile.text_toml if source.profile else "",
            capture=settings.as_json(),
            boot_id=boot_id(),
            utc_s=utc_s,
        )

    if not place.as_json:
        tell(CAUTION, err=True)
    log = CheckLog(place.job, start)
    run_live(
        machine,
        source,
        log,
        as_json=place.as_json,
        units=place.units,
    )
    return log, log.session
