"""Options that several commands share, and the types that read quantities with their units."""

import contextlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import click

from rig import units
from rig.errors import BadInput, RigError
from rig.language import numeral, say, shown, waits_for_a_job

Command = Callable[..., Any]

if TYPE_CHECKING:  # generic for the type checker only, since click 8.4
    _ParamType = click.ParamType[Any]
else:
    _ParamType = click.ParamType


class Length(_ParamType):
    """A length with its unit, in millimetres."""

    name = "length"

    def __init__(self, *, above: float | None = None, minimum: float | None = None) -> None:
        self._above, self._minimum = above, minimum

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text, or fail with what is wrong and what is accepted."""
        if isinstance(value, float):
            return value
        what = _name(param)
        try:
            length_mm = units.parse_length(typed(value, ctx, what), what=what)
        except BadInput as error:
            self.fail(error.text, param, ctx)
        if self._above is not None and not length_mm > self._above:
            self.fail(
                say(
                    "{value!r} must be more than {above} mm.",
                    value=value,
                    above=numeral(self._above, "g"),
                ),
                param,
                ctx,
            )
        if self._minimum is not None and length_mm < self._minimum:
            self.fail(
                say(
                    "{value!r} must not be less than {minimum} mm.",
                    value=value,
                    minimum=numeral(self._minimum, "g"),
                ),
                param,
                ctx,
            )
        return length_mm


class JoistsGiven(_ParamType):
    """Which way joists run and how far apart: `x,16in`; gives the axis and mm."""

    name = "direction,spacing"
    _WAYS: ClassVar = {"x": "x", "along": "x", "0": "x", "y": "y", "across": "y", "90": "y"}

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, float]:
        """Read the text, or fail with what is wrong and what is accepted."""
        if isinstance(value, tuple):
            return value
        way, _, spacing = str(value).partition(",")
        along = self._WAYS.get(way.strip().lower().removesuffix("deg").strip())
        if along is None:
            self.fail(
                say(
                    "{value!r}: joists run along x (with the first length of the room) or "
                    "along y (across it); give it as x,16in or y,16in.",
                    value=value,
                ),
                param,
                ctx,
            )
        length = Length(above=0.0).convert(spacing.strip(), param, ctx)
        return along, length


class Name(_ParamType):
    """A label or a name: seen, at most 64 characters, and no formula of a spreadsheet."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Take the text, or fail with what is wrong."""
        from rig.texts import name_of

        try:
            return name_of(value, _name(param))
        except BadInput as error:
            self.fail(error.text, param, ctx)


class Names(_ParamType):
    """Several labels between commas."""

    def __init__(self, *names: str) -> None:
        self._names = names
        self.name = ",".join(names)

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, ...]:
        """Take the labels, or fail with how many there are to be."""
        if isinstance(value, tuple):
            return value
        parts = [Name().convert(part.strip(), param, ctx) for part in value.split(",")]
        if len(parts) != len(self._names):
            self.fail(
                say(
                    "{value!r} has {parts} parts; it takes {names}: {wanted}.",
                    value=value,
                    parts=len(parts),
                    names=len(self._names),
                    wanted=self.name,
                ),
                param,
                ctx,
            )
        return tuple(parts)


class Lengths(_ParamType):
    """Several lengths between commas, each with its unit, in millimetres."""

    def __init__(self, *names: str) -> None:
        self._names = names
        self.name = ",".join(names)

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, ...]:
        """Read the text, or fail with what is wrong and what is accepted."""
        if isinstance(value, tuple):
            return value
        try:
            hear_job(value, ctx)
            parts = units.parted(value, len(self._names))
        except BadInput as error:
            self.fail(error.text, param, ctx)
        if len(parts) != len(self._names):
            wanted = ",".join(self._names)
            self.fail(
                say(
                    "{value!r} has {parts} parts; it takes {names}: {wanted}.",
                    value=value,
                    parts=len(parts),
                    names=len(self._names),
                    wanted=wanted,
                ),
                param,
                ctx,
            )
        try:
            return tuple(
                units.parse_length(part, what=name)
                for part, name in zip(parts, self._names, strict=True)
            )
        except BadInput as error:
            self.fail(error.text, param, ctx)


class LaserPlace(Lengths):
    """Where the laser stood: X,Y, or SETUP:X,Y where there are several set-ups."""

    def __init__(self) -> None:
        super().__init__("X", "Y")
        self.name = "[SETUP:]X,Y"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read an optional name and two lengths."""
        if not isinstance(value, str):
            return value
        setup, colon, place = value.rpartition(":")
        return (setup.strip() if colon else None), super().convert(place, param, ctx)


laser_place_option = click.option(
    "--laser",
    "laser_at",
    type=LaserPlace(),
    multiple=True,
    help="Where the laser stood, from the room's corner; with several set-ups SETUP:X,Y for each.",
)


class Quantity(_ParamType):
    """A quantity that one of the parsers of `rig.units` reads, more than zero unless said."""

    def __init__(
        self,
        name: str,
        parse: Callable[..., float],
        *,
        zero: bool = False,
        negative: bool = False,
        **keywords: Any,
    ) -> None:
        self.name = name
        self._parse, self._zero, self._negative, self._keywords = parse, zero, negative, keywords

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text, or fail with what is wrong and what is accepted."""
        if isinstance(value, float):
            return value
        try:
            text = typed(value, ctx, _name(param))
            amount = self._parse(text, what=_name(param), **self._keywords)
        except BadInput as error:
            self.fail(error.text, param, ctx)
        if not self._negative and (amount < 0 or (amount == 0 and not self._zero)):
            self.fail(say("{value!r} must be more than zero.", value=value), param, ctx)
        return amount


VOLUME = Quantity("volume", units.parse_volume)
MASS = Quantity("mass", units.parse_mass)
PERCENT = Quantity("percent", units.parse_percent, zero=True)
SLOPE = Quantity("slope", units.parse_slope, zero=True)
DURATION = Quantity("duration", units.parse_duration)
SECONDS = Quantity("seconds", units.parse_duration, bare="s")


class Money(_ParamType):
    """A sum of money, more than zero; the currency is the user's own."""

    name = "money"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the number, or fail."""
        try:
            amount = float(typed(value, ctx, _name(param)))
        except BadInput as error:
            self.fail(error.text, param, ctx)
        except ValueError:
            self.fail(
                say("{value!r} is no sum of money; write a number such as 2.50.", value=value),
                param,
                ctx,
            )
        if not 0.0 < amount < 1e9:
            self.fail(say("{value!r} must be more than zero.", value=value), param, ctx)
        return amount


class Size(_ParamType):
    """A size of a file with its unit, in bytes."""

    name = "size"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Read the text, or fail with what is accepted."""
        if isinstance(value, int):
            return value
        text = typed(value, ctx, _name(param))
        found = re.fullmatch(r"\s*(\d{1,6}(?:\.\d{1,3})?)\s*([kMG])B\s*", text)
        if found is None or not float(found[1]):
            self.fail(
                say("{value!r} is no size; write 200MB, or with kB or GB.", value=value), param, ctx
            )
        return round(float(found[1]) * {"k": 1e3, "M": 1e6, "G": 1e9}[found[2]])


class Confidence(_ParamType):
    """A probability such as 0.95 or 95%, from even odds up to, not including, certainty."""

    name = "confidence"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text, or fail with what is wrong and what is accepted."""
        if isinstance(value, float):
            return value
        try:
            text = typed(value, ctx, _name(param))
            share = units.parse_percent(text) if "%" in text else float(text)
        except (BadInput, ValueError):
            self.fail(
                say("{value!r} is no probability; write 0.95 or 95%.", value=value), param, ctx
            )
        if not 0.5 <= share < 1.0:
            self.fail(
                say("{value!r} is not from 50% up to 99.9%; write 95% or 0.95.", value=value),
                param,
                ctx,
            )
        return share


class Number(click.FloatRange):
    """A number without a unit."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read it as the language writes numbers."""
        return super().convert(_pointed(self, value, param, ctx), param, ctx)


class Typed(_ParamType):
    """A text with quantities in it, which come with a decimal point."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Take the text, or fail where a number in it could mean two things."""
        return _pointed(self, value, param, ctx)


def _pointed(
    kind: _ParamType, value: Any, param: click.Parameter | None, ctx: click.Context | None
) -> Any:
    try:
        return typed(value, ctx, _name(param)) if isinstance(value, str) else value
    except BadInput as error:
        kind.fail(error.text, param, ctx)


def typed(text: str, ctx: click.Context | None, what: str) -> str:
    """Return a quantity that was typed, as the language in use writes it, with a decimal point."""
    hear_job(text, ctx)
    return units.with_point(units.pointed(text, what=what))


def hear_job(text: str, ctx: click.Context | None) -> None:
    """Use the language of the command's job where what was typed hangs on it.

    Options are read before the job is opened.
    """
    if not waits_for_a_job() or not units.hangs_on_language(text):
        return
    path = None if ctx is None else ctx.params.get("job_path")
    # One that was not given is a mark of click's own as long as options are read.
    if not isinstance(path, str | Path) or not Path(path).is_file():
        return
    import warnings

    from rig.job.store import Job

    with contextlib.suppress(RigError), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it is told when the command opens the job
        with Job.open(path) as job:
            job.settings  # noqa: B018 (its language is used from now on)


def _name(param: click.Parameter | None) -> str:
    return param.opts[0].lstrip("-") if param is not None and param.opts else "value"


def job_option(command: Command) -> Command:
    """Add `--job PATH`, else RIG_JOB, else ./job.sqlite."""
    return click.option(
        "--job",
        "job_path",
        type=click.Path(path_type=Path, dir_okay=False),
        envvar="RIG_JOB",
        default=Path("job.sqlite"),
        is_eager=True,
        show_default=True,
        show_envvar=True,
        help="The job file.",
    )(command)


def json_option(command: Command) -> Command:
    """Add `--json`."""
    return click.option(
        "--json",
        "as_json",
        is_flag=True,
        help="Print JSON: one object, or one an event for live commands. Lengths in mm.",
    )(command)


why_option = click.option(
    "--why", is_flag=True, help="Tell what stands behind the answer too, as the report does."
)

confidence_option = click.option(
    "--confidence",
    type=Confidence(),
    default="0.95",
    show_default=True,
    help="How sure to be.",
)

room_option = click.option(
    "--room",
    "room_name",
    metavar="NAME",
    help="One room of a job that has several; see rig room list.",
)

folder_option = click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path(),
    help="The folder to write to.  [default: the current one]",
)

lift_option = click.option(
    "--lift",
    type=click.IntRange(min=1),
    metavar="N",
    help="One lift of the plan's; 1 is poured first.  [default: the finished plane]",
)

unit_option = click.option(
    "--unit",
    type=click.Choice(["mm", "cm", "m", "in", "ft"]),
    help="The unit of every length in the table.",
)


def stack(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """Join several option decorators into one, shown in the help in the order given."""

    def decorate(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


def show(result: dict[str, Any], as_json: bool, text: str) -> None:
    """Print a command's result: one JSON object, or the text for people."""
    tell(json.dumps(result, allow_nan=False) if as_json else text)


def tell(text: str, err: bool = False) -> None:
    """Print text with nothing in it that steers a terminal: a job may come from anywhere."""
    from rig.texts import harmless

    click.echo(harmless(shown(text)), err=err)
