"""The end of a report: cautions, every shot, versions, and how to check a copy."""

import platform
from importlib.metadata import PackageNotFoundError, version

from rig import __version__
from rig.job.rows import Shot
from rig.pour.prepour import CAUTIONS as POUR_CAUTIONS
from rig.quantities.load import dead_load
from rig.report.document import Facts, Section, Table, Words, bullets, section
from rig.report.source import Source
from rig.words.plan import cautions

# What the numbers depend on.
LIBRARIES = ("numpy", "scipy", "shapely", "contourpy", "fpdf2")


def cautions_section(source: Source) -> Section:
    """What to mind, whoever reads this."""
    load = dead_load(0.0, 0.0).cautions
    said = list(source.plan.answer.cautions) if source.plan is not None else [*load, *cautions()]
    said += [text for text in POUR_CAUTIONS if text not in said]
    return section(
        "cautions",
        "Cautions",
        bullets(said),
        Words("Data sheets, local codes and licensed practice rule over anything printed here."),
    )


def appendix_section(source: Source, job_hash: str) -> Section:
    """Every shot, the versions, and the job's hash."""
    shots = source.job.shots(current=False)
    out_of_use = _out_of_use(source, shots)
    rows = tuple(
        (
            shot.point,
            shot.kind,
            shot.setup,
            "" if shot.x_mm is None else f"{shot.x_mm:.0f}",
            "" if shot.y_mm is None else f"{shot.y_mm:.0f}",
            f"{shot.reading_mm:.2f}",
            f"{shot.stderr_mm:.2f}",
            str(shot.n),
            source.time(shot.utc_s),
            out_of_use.get(shot.id, ""),
        )
        for shot in shots
    )
    head = ("Point", "Kind", "Set-up", "x mm", "y mm", "Reading mm", "Stderr mm", "n", "UTC", "")
    table = Table("Every shot, in the order it was written", head, rows, right=(3, 4, 5, 6, 7))
    return section(
        "appendix",
        "Data",
        Words(
            "A larger reading is a lower floor. Stderr is one standard deviation of the shot; n "
            "the readings in it. A shot that was undone, replaced, set aside because the line had "
            "moved, or corrected in the row of the same time stays here and counts nowhere."
        ),
        table if rows else Words("No shots yet."),
        Facts(
            (
                ("floor-rig", __version__),
                ("Python", platform.python_version()),
                *((name, _version(name)) for name in LIBRARIES),
                ("SHA-256 of the job", job_hash),
            )
        ),
        Words(
            "The hash is of every row of the job file. rig report --check FILE tells whether a "
            "copy of this report is word for word what the job gives."
        ),
        new_page=True,
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
            states[shot.id] = "replaced"
        elif last != shot.id and shot.session_id is not None:
            states[shot.id] = "corrected"
        else:
            states[shot.id] = "undone"
    for jolt in source.job.events(["jolt"]):
        for label in jolt.data["labels"]:
            before = [
                shot.id
                for shot in shots
                if shot.point == label
                and shot.utc_s <= jolt.utc_s
                and states.get(shot.id) == "undone"
            ]
            if before:
                states[before[-1]] = "set aside"
    return states


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not known"
