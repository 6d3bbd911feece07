"""`rig plan --patch`: the least work that passes a rule, for people and as JSON."""

from pathlib import Path
from typing import Any

from rig.cli.jobs import outline_of, units_of
from rig.cli.options import show
from rig.quantities.bags import waste_words
from rig.units import counted, format_area, format_chance, format_doubt, format_volume


def patch_floor(
    job_path: Path,
    rule_given: str,
    grind: float | None,
    fill: float | None,
    confidence: float,
    as_json: bool,
) -> None:
    """Plan patches and print them; the job's stored plan, if any, stays as it is."""
    from rig.cli.progress import working
    from rig.flatness.rules import load_rule
    from rig.job.store import Job
    from rig.study.patching import patch_result

    rule = load_rule(rule_given)
    with Job.open(job_path) as job, working("Looking for the least work"):
        units, denominator = units_of(job)
        result = patch_result(job, outline_of(job), rule, confidence, fill, grind)
    show(result, as_json, patch_text(result, units, denominator))


def patch_text(result: dict[str, Any], units: str, denominator: int) -> str:
    """Describe patches and the ways to choose from."""
    bags = result["bags"]
    lines = [
        f"{result['way'].capitalize()} for {result['rule']}: "
        f"{counted(len(result['patches']), 'place')}, "
        f"{format_area(result['area_m2'], units)} filled; it passes with "
        f"{format_chance(result['chance'])} probability.",
    ]
    for n, patch in enumerate(result["patches"], 1):
        lines.append(
            f"  {n}. {patch['where']}: {format_area(patch['area_m2'], units)}, up to "
            f"{format_doubt(patch['deepest_mm'], units, denominator)} deep, "
            + _volumes(patch, units)
        )
    lines += [
        f"BUY {counted(bags['p95'], 'bag').upper()} to be 95 % sure ({bags['p50']} at even odds); "
        f"{waste_words(bags)}.",
        "",
        f"{'':<16}{'fill':>10}{'grind':>10}{'bags':>6}{'cost':>9}{'passes':>10}",
    ]
    for way in result["comparison"]:
        cost = "" if way["cost"] is None else f"{way['cost']:.2f}"
        chance = "" if way["chance"] is None else format_chance(way["chance"])
        lines.append(
            f"{way['way']:<16}{format_volume(way['fill_l'], units):>10}"
            f"{format_volume(way['grind_l'], units):>10}"
            f"{way['bags']['p95']:>6}{cost:>9}{chance:>10}"
        )
    lines.append("What a pour leaves is proved after it: rig flatness --kind finished.")
    lines += [f"Assumed: {text}" for text in result["assumptions"]]
    lines += [f"! {text}" for text in result["warnings"]]
    lines += [f"Caution: {text}" for text in result["cautions"]]
    return "\n".join(lines)


def _volumes(patch: dict[str, Any], units: str) -> str:
    """What is filled and ground at a place, where it is anything to speak of."""
    told = [
        f"{word} {text}"
        for word in ("fill", "grind")
        if not (text := format_volume(patch[f"{word}_l"], units)).startswith("0 ")
    ]
    return ", ".join(told) or "next to no compound"
