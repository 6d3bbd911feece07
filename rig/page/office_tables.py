"""An answer of the office's books as a table for people, the same on a terminal and on a page."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rig.language import say
from rig.report.document import Table, Words
from rig.words import moment, numeral, put
from rig.words import office as words

if TYPE_CHECKING:
    from rig.office.ask import Answer, Question
    from rig.report.document import Block

_MOST_ROWS = 200


def answer_parts(answer: "Answer", question: "Question | None", title: str = "") -> "list[Block]":
    """Return the table of an answer, under the words of its question or a title."""
    title = title if question is None else words.question(question.text)
    units: Mapping[str, str] = {} if question is None else question.columns
    names = list(answer.rows[0]) if answer.rows else []
    shown = answer.rows[:_MOST_ROWS]
    parts: list[Block] = []
    if names:
        head = tuple(_head(name, units.get(name, "")) for name in names)
        rows = tuple(tuple(_cell(name, row[name]) for name in names) for row in shown)
        right = tuple(
            nth for nth, name in enumerate(names)
            if any(isinstance(row[name], int | float) for row in shown)
        )  # fmt: skip
        parts.append(Table(title, head, rows, right, told="answer"))
    else:
        parts.append(Words(words.nothing_yet(title), told="answer"))
    if len(answer.rows) > _MOST_ROWS:
        parts.append(Words(words.and_more(len(answer.rows) - _MOST_ROWS), told="answer"))
    parts.append(Words(words.stand(answer.jobs, answer.as_of), "small", told="answer"))
    return parts


def job_facts(row: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return what the books tell of one job as names and values; what is not known is left out."""
    told = (
        (say("Job"), "uid", None),
        (say("Crew"), "crew", None),
        (say("Compound"), "product", None),
        (say("Laser"), "laser", None),
        (say("Floor"), "floor", None),
        (say("Area"), "area_m2", (".1f", "m²")),
        (say("Begun on"), "made_utc_s", None),
        (say("Last worked on"), "last_utc_s", None),
        (say("Poured on"), "poured_utc_s", None),
        (say("Volume"), "volume_l", (".0f", "l")),
        (say("Mean cover"), "cover_mean_mm", (".1f", "mm")),
        (say("Chance to keep the minimum cover"), "chance_min_cover", (".0%", "")),
        (say("Bags stated at even odds"), "stated_bags", (".1f", "")),
        (say("Bags stated as enough"), "upper_bags", (".1f", "")),
        (say("Bags to buy"), "buy_bags", (".0f", "")),
        (say("Bags used"), "used_bags", (".1f", "")),
    )
    return tuple(
        (name, _cell(key, row[key]) if form is None else _figure(row[key], *form))
        for name, key, form in told
        if row[key] is not None
    )


def _figure(value: float, spec: str, unit: str) -> str:
    number = numeral(value, spec)
    return put("{number} {unit}", number=number, unit=put(unit)) if unit else number


def _head(name: str, unit: str) -> str:
    shown = name
    for suffix in ("_utc_s", "_mm_per_m", "_mm", "_s"):
        shown = shown.removesuffix(suffix)
    shown = words.column(shown)
    return f"{shown} ({unit})" if unit and not name.endswith("_utc_s") else shown


def _cell(name: str, value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "✓" if value else ""
    if name.endswith("utc_s") and isinstance(value, float):
        return moment(value, "day", utc=True)
    if isinstance(value, float):
        return numeral(value, ".0f" if abs(value) >= 1000 else ".3g")
    return str(value)
