"""Parts of a report on what was there: the job, its instruments and checks, the floor as found."""

from collections.abc import Callable, Mapping

from rig.drawing.points import room_drawing, walk_drawing
from rig.errors import BadInput
from rig.flatness.coverings import told_covering
from rig.job.rows import StoredEvent
from rig.language import join, numeral, put, say, say_many
from rig.report.document import Block, Facts, Figure, Section, Table, Words, bullets, section
from rig.report.floor_part import TITLE, FloorTold, floor_section
from rig.report.source import Source
from rig.study.findings import outside_warnings
from rig.texts import parse_toml
from rig.units import MM_PER_IN
from rig.words.kept import CHECKS, FIGURES, READ_BY, WORK

# What a check's result holds beside its error: in the job, and told by rig check.
_INNER = {"ok", "rise_mm", "residuals_mm", "redundancy", "chance_in", "closure_allowed_mm"}
# How a key ends, its unit and size in a metric job, and both in one of inches.
_ENDS = {
    "_mm_per_m": ("mm/m", 1.0, "in/ft", 12.0 / 1000.0),
    "_per_m": ("mm/m", 1.0, "in/ft", 12.0 / 1000.0),
    "_mm": ("mm", 1.0, "in", 1.0 / MM_PER_IN),
    "_s": ("s", 1.0, "s", 1.0),
}
# Reasons of words to the hand at the keys; they say nothing about rod, laser or floor.
SLIPS = {"act", "accept", "undo", "goto", "tick", "front", "planned", "end", say("off height")}


def job_section(source: Source) -> Section:
    """What the job is about."""
    settings, outline = source.settings, source.outline
    doors = [
        say("{width} wide", width=source.place(door.width_mm))
        if n == 0
        else say("another, {width}", width=source.place(door.width_mm))
        for n, door in enumerate(outline.doors)
    ]
    rows = [
        (
            say("Room"),
            say(
                "{area}, {perimeter} of wall",
                area=source.area(outline.area_m2),
                perimeter=source.place(outline.perimeter_mm),
            ),
        ),
        (say("Doors"), join("; ", doors) or say("none given")),
        (say("Openings"), str(len(outline.openings)) if outline.openings else say("none")),
        (say("Covering"), told_covering(settings.covering or say("not given"))),
        (say("Minimum cover"), _amount(settings.min_cover_mm, source.length)),
        (say("Maximum cover in one lift"), _amount(settings.max_cover_mm, source.length)),
        (say("A bag makes"), _amount(settings.bag_yield_l, source.volume)),
        (say("A bag weighs"), _amount(settings.bag_mass_kg, source.mass)),
        (say("Water a bag"), _amount(settings.bag_water_l, lambda v: source.volume(v, True))),
        (say("Waste"), _amount(settings.waste_share, lambda v: f"{v:.0%}")),
        (say("Lengths are in"), say("millimetres") if source.units.is_metric else say("inches")),
    ]
    points = source.job.points()
    if points:
        shot = {one.point for one in source.shots if one.kind in ("floor", "finished")}
        figure = Figure("walk", walk_drawing(outline, source.look, points, shot))
    else:
        figure = Figure("room", room_drawing(outline, source.look))
    return section("job", say("The job"), Facts(tuple(rows)), figure)


def instruments_section(source: Source) -> Section:
    """With what it was measured, and what was checked."""
    return section(
        "instruments",
        say("Instruments and checks"),
        *_sessions(source),
        *_ties(source),
        *_checks(source),
        *_troubles(source),
    )


def _sessions(source: Source) -> list[Block | None]:
    sessions = source.job.sessions()
    rows = []
    for one in sessions:
        taken = [shot for shot in source.shots if shot.session_id == one.id]
        work, by = WORK.get(one.kind, one.kind), READ_BY.get(one.source, one.source)
        rows.append((source.time(one.utc_s), work, one.setup, by, str(len(taken))))
    imported = sum(shot.session_id is None for shot in source.shots)
    if not rows and not imported:
        return [Words(say("Nothing has been measured yet."))]
    blocks: list[Block | None] = []
    if rows:
        head = (say("Begun (UTC)"), say("Work"), say("Set-up"), say("Read by"), say("Shots"))
        rods = dict.fromkeys(_rod(one.source, one.profile_text) for one in sessions)
        blocks += [
            Table(say("Sessions"), head, tuple(rows), right=(4,)),
            bullets([rod for rod in rods if rod]),
        ]
    if imported:
        came = say(
            "{shots} came in a table; how they were read is not known here.",
            shots=say_many("{count} shot", "{count} shots", imported),
        )
        blocks.append(Words(came))
    return blocks


def _checks(source: Source) -> list[Block | None]:
    checks = source.job.checks()
    blocks: list[Block | None] = []
    if checks:
        blocks.append(
            Table(
                say("Checks of laser and rod"),
                (say("Made (UTC)"), say("Check"), say("Result"), say("Good enough")),
                tuple(
                    (source.time(one.utc_s), CHECKS.get(one.kind, one.kind),
                     _figures(source, one.result),
                     say("yes") if one.ok else say("NO"))
                    for one in checks
                ),
            )
        )  # fmt: skip
    if any(not one.ok for one in checks):
        blocks.append(Words(say("A check of the laser or the rod was not good enough."), "warning"))
    if not any(one.kind in ("two-peg", "cross") for one in checks):
        blocks.append(
            Words(
                say(
                    "The laser's line was not checked in this job (rig check two-peg, rig check "
                    "cross). A tilted line tilts everything here, and no number below would show "
                    "it."
                ),
                "warning",
            )
        )
    return blocks


def _troubles(source: Source) -> list[Block | None]:
    troubles = [one for one in source.job.events(["trouble"]) if one.data["reason"] not in SLIPS]
    if not troubles or source.options.audience == "customer":
        return []
    return [
        Words(
            say_many(
                "Told while measuring, once:",
                "Told while measuring, {count} times:",
                len(troubles),
            )
        ),
        bullets([_trouble(source, one) for one in troubles[:20]]),
    ]


def floor_part(source: Source) -> Section:
    """The floor as found, with its doubt, or why nothing is known of it yet."""
    if source.floor is None:
        shots = [shot for shot in source.shots if shot.kind == "floor"]
        said = (
            say(
                "The set-ups are not tied to each other: no common heights. Shoot a benchmark "
                "from each set-up."
            )
            if shots
            else say("The floor has not been shot yet.")
        )
        return section("floor", TITLE, Words(said))
    if source.picture is None or source.found is None:
        return section(
            "floor",
            TITLE,
            Words(
                say(
                    "{shots}, too few or on one line: they say nothing of the floor between them "
                    "yet.",
                    shots=say_many("{count} shot", "{count} shots", len(source.floor.labels)),
                )
            ),
            bullets(outside_warnings(source.job, source.outline, "floor"), "warning"),
        )
    return floor_section(
        FloorTold(
            answer=source.found,
            picture=source.picture,
            look=source.look,
            units=source.units,
            where=source.where,
            looked_on=source.planned_high is None,
        )
    )


def _ties(source: Source) -> list[Block | None]:
    setups = list(dict.fromkeys(shot.setup for shot in source.shots))
    if len(setups) < 2:
        return []
    tied = {line.setup for line in source.lines}
    loose = [setup for setup in setups if setup not in tied]
    if len(tied) < 2:
        return [
            Words(say("The set-ups share no benchmark: their heights are not tied."), "warning")
        ]
    rows = tuple(
        (line.setup, source.length(line.line_mm), source.doubt(2 * line.stderr_mm) if n else "")
        for n, line in enumerate(source.lines)
    )
    return [
        Table(say("Set-ups tied by benchmarks"),
              (say("Set-up"), say("Line over the first"), "95 %"),
              rows, right=(1, 2)),
        bullets([say(
"Set-up {name} shares no benchmark with these.",
name=name
) for name in loose], "warning"),
    ]  # fmt: skip


def _rod(kind: str, profile_text: str) -> str:
    """What a profile says of its rod, empty where it says nothing."""
    try:
        text = str(parse_toml(profile_text, say("The profile")).get("text", ""))
    except BadInput:
        text = ""
    return put("{kind}: {text}", kind=READ_BY.get(kind, kind), text=say(text)) if text else ""


def _trouble(source: Source, event: StoredEvent) -> str:
    # What is told before the first reading has no time of day.
    text = event.data["text"]
    if event.utc_s <= 0:
        return str(text)
    return put("{when}: {text}", when=source.time(event.utc_s), text=text)


def _figures(source: Source, result: Mapping[str, object]) -> str:
    """A check's own numbers in the job's units, as its keys name them."""
    said = []
    for key, value in result.items():
        told = value if isinstance(value, list) else [value]
        numbers = [n for n in told if isinstance(n, int | float) and not isinstance(n, bool)]
        if key in _INNER or not numbers or len(numbers) < len(told):
            continue
        end = next((end for end in _ENDS if key.endswith(end)), "")
        unit, scale, other_unit, other_scale = _ENDS.get(end, ("", 1.0, "", 1.0))
        if not source.units.is_metric:
            unit, scale = other_unit, other_scale
        shown = join(" / ", [numeral(n * scale, ".3g") for n in numbers])
        bare = key.removesuffix(end).replace("_", " ")
        form = "{name} {shown} {unit}" if unit else "{name} {shown}"
        said.append(put(form, name=FIGURES.get(bare, bare), shown=shown, unit=unit))
    return join(", ", said[:6])


def _amount(value: float | None, written: Callable[[float], str]) -> str:
    return say("not given") if value is None else written(value)
