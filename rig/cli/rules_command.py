"""`rig rules`: the tolerance rules and their sources."""

from pathlib import Path

import click

from rig.cli.options import Length, json_option, show
from rig.units import format_length


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
    told = []
    lines = []
    for rule in rules:
        limit = rule.limit_mm(span) if span is not None else None
        told.append(
            {
                "key": rule.key,
                "text": rule.text,
                "source": rule.source,
                "limit_mm": limit,
                "edition": rule.edition,
                "from_memory": rule.from_memory,
                "measure": rule.measure,
                "lengths_mm": list(rule.lengths_mm),
                "limits_mm": list(rule.limits_mm),
            }
        )
        lines.append(f"{rule.key:<12} {rule.text}")
        if span is not None:
            at = "no limit at this length" if limit is None else _both(limit)
            lines.append(f"{'':<12} at {_both(span)}: {at}")
        lines.append(f"{'':<12} {rule.source}{f' ({rule.edition})' if rule.edition else ''}")
        if rule.from_memory:
            lines.append(f"{'':<12} From memory: {rule.from_memory}")
    show({"span_mm": span, "rules": told}, as_json, "\n".join(lines))


def _both(mm: float) -> str:
    """Write a length in both systems: rules are printed in either, and there is no job here."""
    return f"{format_length(mm, 'mm')} ({format_length(mm, 'in', 64)})"
