"""The end of a report: cautions, every shot, versions, and how to check a copy."""

import platform
from importlib.metadata import PackageNotFoundError, version

from rig import __version__
from rig.job.rows import Shot
from rig.language import join, moment, numeral, say
from rig.pour.prepour import CAUTIONS as POUR_CAUTIONS
from rig.quantities.load import dead_load
from rig.report.document import Facts, Section, Table, Words, bullets, section
from rig.report.source import Source
from rig.study.acts import standing
from rig.units import MM_PER_IN
from rig.words.plan import cautions

KINDS = {
    "floor": say("The floor as found"),
    "benchmark": say("Benchmarks"),
    "threshold": say("Thresholds"),
    "marker": say("Tops of markers"),
    "finished": say("The finished surface"),
}
# What the numbers depend on.
LIBRARIES = ("numpy", "scipy", "shapely", "contourpy", "fpdf2")


def cautions_section(source: Source) -> Section:
    """What to mind, whoever reads this."""
    load = dead_load(0.0, 0.0).cautions
    said = list(source.plan.answer.cautions) if source.plan is not None else [*load, *cautions()]
    said += [text for text in POUR_CAUTIONS if text not in said]
    return section(
        "cautions",
        say("Cautions"),
        bullets(said),
        Words(
            say("Data sheets, local codes and licensed practice rule over anything printed here.")
        ),
    )


def appendix_section(source: Source, job_hash: str) -> Section:
    """Every shot, the versions, and the job's hash; for a customer only the shots that count."""
    shots = source.job.shots(current=False)
    out_of_use = _out_of_use(source, shots)
    for_customer = source.options.audience == "customer"
    if for_customer:
        shots, out_of_use = [shot for shot in shots if shot.id not in out_of_use], {}
    tables = _tables(source, shots, out_of_use)
    said = say(
        "A larger reading is a lower floor. ± is how far a shot is reckoned to be off (one "
        "standard deviation); n the readings in it; times are UTC."
    )
    if not for_customer:
        gone = say(
            "A shot that was undone, replaced, set aside because the line had moved, or corrected "
            "in the row of the same time stays here and counts nowhere."
        )
        said = join(" ", [said, gone])
    return section(
        "appendix",
        say("Data"),
        Words(said),
        *tables,
        None if tables else Words(say("No shots yet.")),
        Facts(
            (
                ("floor-rig", __version__),
                ("Python", platform.python_version()),
                *((name, _version(name)) for name in LIBRARIES),
            )
        ),
        Words(say("SHA-256 of the job: {job_hash}", job_hash=job_hash), "small"),
        Words(
            say(
                "The hash is of every row of the job file. rig report --check FILE tells whether a "
                "copy of this report is word for word what the job gives."
            )
        ),
    )


def _tables(source: Source, shots: list[Shot], out_of_use: dict[int, str]) -> list[Table]:
    """Shots by their kind, in the order they were written, in the job's units."""
    return [
        _table(source, [shot for shot in shots if shot.kind == kind], out_of_use)
        for kind in dict.fromkeys(shot.kind for shot in shots)
    ]


def _table(source: Source, shots: list[Shot], out_of_use: dict[int, str]) -> Table:
    """Shots of one kind; what became of them only where one of them is out of use."""
    days = {source.day(shot.utc_s) for shot in shots}
    one_day = len(days) == 1
    setups = dict.fromkeys(shot.setup for shot in shots)
    one_setup = len(setups) == 1
    gone = any(shot.id in out_of_use for shot in shots)
    rows = tuple(
        (
            shot.point,
            *(() if one_setup else (shot.setup,)),
            *_figures(source, shot),
            moment(shot.utc_s, "time" if one_day else "day and time", utc=True),
            *((out_of_use.get(shot.id, ""),) if gone else ()),
        )
        for shot in shots
    )
    head = (
        say("Point"),
        *(() if one_setup else (say("Set-up"),)),
        "x", "y", say("Reads"), "±", "n", say("Time"),
        *(("",) if gone else ()),
    )  # fmt: skip
    kind = shots[0].kind
    title = [KINDS.get(kind, kind)]
    if one_setup:
        title.append(say("set-up {name}", name=next(iter(setups))))
    title.append("mm" if source.units.is_metric else say("inches"))
    title.append(
        min(days) if one_day else say("{first} to {last}", first=min(days), last=max(days))
    )
    first = 1 if one_setup else 2
    right = tuple(range(first, first + 5))
    return Table(join(", ", title), head, rows, right=right, folded=True)


def _figures(source: Source, shot: Shot) -> tuple[str, ...]:
    """Place, reading and doubt of a shot, and the readings in it."""
    size, place_digits, digits = (1.0, 0, 2) if source.units.is_metric else (MM_PER_IN, 1, 4)

    def told(mm: float | None, places: int) -> str:
        return "" if mm is None else numeral(mm / size, f".{places}f")

    return (
        told(shot.x_mm, place_digits),
        told(shot.y_mm, place_digits),
        told(shot.reading_mm, digits),
        told(shot.stderr_mm, digits),
        str(shot.n),
    )


def _out_of_use(source: Source, shots: list[Shot]) -> dict[int, str]:
    """What became of each shot that counts no more, by its number."""
    rewritten = {(shot.point, shot.kind, shot.session_id, shot.time_s): shot.id for shot in shots}
    states = {}
    for shot in shots:
        if shot.superseded_by is None:
            continue
        last = rewritten[shot.point, shot.kind, shot.session_id, shot.time_s]
        if shot.superseded_by != shot.id:
            states[shot.id] = say("replaced")
        elif last != shot.id and shot.session_id is not None:
            states[shot.id] = say("corrected")
        else:
            states[shot.id] = say("undone")
    for jolt in standing(source.job, ["jolt", "set_aside"]):
        ids = jolt.data.get("shots")
        if ids is not None:
            states |= dict.fromkeys((one for one in ids if one in states), say("set aside"))
            continue
        for label in jolt.data["labels"]:  # an older file names them by label
            last_undone = _last_undone(shots, states, label, jolt.utc_s)
            if last_undone is not None:
                states[last_undone] = say("set aside")
    return states


def _last_undone(
    shots: list[Shot], states: dict[int, str], label: str, until_s: float
) -> int | None:
    """Number of the last undone shot of a point until then."""
    before = [
        shot.id
        for shot in shots
        if shot.point == label and shot.utc_s <= until_s and states.get(shot.id) == "undone"
    ]
    return before[-1] if before else None


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return say("not known")
