"""`rig rules`: the tolerance rules and their sources."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.options import Length, json_option, show
from rig.language import join, put, say
from rig.record import Record
from rig.units import METRIC, Units

if TYPE_CHECKING:
    from rig.flatness.rule import Rule


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleAnswer(Record):
    """A tolerance rule; `limit_mm` is that at the span asked for, None where there is none."""

    key: str
    text: str
    source: str
    limit_mm: float | None
    edition: str
    from_memory: str
    measure: str
    lengths_mm: tuple[float, ...]
    limits_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RulesAnswer(Record):
    """The tolerance rules, as `rig rules --json` prints them."""

    span_mm: float | None
    rules: tuple[RuleAnswer, ...]


@click.command()
@click.option("--span", type=Length(above=0.0), help="Tell each rule's limit at this length.")
@click.option(
    "--rule",
    "files",
    type=click.Path(path_type=Path, dir_okay=False),
    multiple=True,
    help="A rule of your own to show too: a TOML file. May be given again.",
)
@json_option
def command(span: float | None, files: tuple[Path, ...], as_json: bool) -> None:
    """List the tolerance rules and their sources.

    What is quoted from memory is said so; the standard itself rules.
    """
    from rig.flatness.rules import SHIPPED, load_rule

    rules = [*map(load_rule, SHIPPED), *map(load_rule, files)]
    told = RulesAnswer(span_mm=span, rules=tuple(_told(rule, span) for rule in rules))
    text = join("\n", (line for rule in told.rules for line in _lines(rule, span)))
    show(told.as_json(), as_json, text)


def _told(rule: Rule, span_mm: float | None) -> RuleAnswer:
    return RuleAnswer(
        key=rule.key,
        text=rule.text,
        source=rule.source,
        limit_mm=None if span_mm is None else rule.limit_mm(span_mm),
        edition=rule.edition,
        from_memory=rule.from_memory,
        measure=rule.measure,
        lengths_mm=rule.lengths_mm,
        limits_mm=rule.limits_mm,
    )


def _lines(rule: RuleAnswer, span_mm: float | None) -> list[str]:
    lines = [put("{key:<12} {text}", key=rule.key, text=rule.text)]
    if span_mm is not None:
        at = say("no limit at this length") if rule.limit_mm is None else _both(rule.limit_mm)
        more = [say("at {span}: {at}", span=_both(span_mm), at=at)]
    else:
        more = []
    source = rule.source
    if rule.edition:
        source = put("{source} ({edition})", source=source, edition=rule.edition)
    more.append(source)
    if rule.from_memory:
        more.append(say("From memory: {what}", what=rule.from_memory))
    return lines + [put("{nothing:<12} {text}", nothing="", text=text) for text in more]


def _both(mm: float) -> str:
    """Write a length in both systems: rules are printed in either, and there is no job here."""
    return f"{METRIC.length(mm)} ({Units('in', 64).length(mm)})"
