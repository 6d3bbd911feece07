"""`rig demo --faults`: a small survey meets each fault, and what becomes of it."""

import contextlib
import io
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from rig.cli.demo_command import Stage, simulated_rod
from rig.errors import CannotAnswer, DeviceUnavailable, RigError
from rig.events import (
    Drifted,
    Event,
    Jolted,
    LinkBack,
    LinkLost,
    Noticed,
    ShotTaken,
    Trouble,
)
from rig.session.run import Tell
from rig.units import counted

SPEED = 25.0
ROOM = ["--room", "2m,2m", "--units", "mm"]
IN_ROOM = ["--room-mm", "2000,2000", "--mistakes", "0"]
TRUE_MM = 1.0
"""A shot this near the true reading is as good as without the fault."""
GIVE_UP = ("noisy", "moving")
"""Told that no shot will come, an installer stops."""


class _GivesUp(Exception):
    pass


def show_faults(link: str, seed: int, as_json: bool) -> None:
    """Survey once for each fault of a link and tell what became of it.

    Raises
    ------
    CannotAnswer
        Where a fault left wrong numbers without a word.
    """
    listed = subprocess.run(
        [sys.executable, "-m", "simulated_devices", "faults", "--link", link],
        capture_output=True,
        text=True,
        check=True,
    )
    rows = []
    for fault in json.loads(listed.stdout):
        row = _meet(link, seed, fault)
        rows.append(row)
        if not as_json:
            click.echo(f"{row['outcome']:<9} {fault['fault']:<14} {fault['text']}")
            for text in row["told"]:
                click.echo(f"{'':<10}! {text}")
            if row["worst_mm"] is not None:
                click.echo(
                    f"{'':<10}{counted(row['shots'], 'shot')}, worst {row['worst_mm']:.2f} mm off"
                )
    if as_json:
        click.echo(json.dumps({"link": link, "faults": rows}, allow_nan=False))
    silent = [row["fault"] for row in rows if row["outcome"] == "SILENT"]
    if silent:
        raise CannotAnswer(f"Wrong numbers without a word under {', '.join(silent)}.")
    if not as_json:
        click.echo(
            f"All {len(rows)} met: survived (numbers as without it), told (the installer decides), "
            "or refused at the start. Data invented."
        )


def _meet(link: str, seed: int, fault: dict[str, str]) -> dict[str, Any]:
    events: list[Event] = []
    refused: RigError | None = None
    with tempfile.TemporaryDirectory(prefix="floor-rig-faults-") as name:
        truth = Path(name) / "truth.json"
        more = ["--fault", fault["fault"], "--truth", str(truth), *IN_ROOM]
        with _quiet():
            stage = Stage(Path(name) / "job.sqlite", SPEED)
            stage.more_sinks = [Tell(events.append), Tell(_giving_up)]
            stage.rig("new", *ROOM)
            stage.rig("grid", "--spacing", "0.9m")
            with simulated_rod(link, seed, SPEED, more) as stage.simulator:
                benchmark = ("--kind", "benchmark", "--label", "BM1")
                creeps = fault["name"] == "drift"
                try:
                    if creeps or fault["name"] == "jolt":  # only a fixed point shows them
                        stage.survey(*benchmark)
                    stage.survey()
                except DeviceUnavailable as error:
                    refused = error
                except _GivesUp:
                    pass
        worst_mm, shots = _worst(events, json.loads(truth.read_text()))
    told = list(_told(events))
    if refused is not None:
        outcome, told = "refused", [str(refused)]
    elif worst_mm is not None and worst_mm <= TRUE_MM and not creeps:
        outcome = "survived"
    else:
        outcome = "told" if told else "SILENT"
    return {**fault, "outcome": outcome, "told": told, "shots": shots, "worst_mm": worst_mm}


def _worst(events: list[Event], truth: dict[str, Any]) -> tuple[float | None, int]:
    shots = {e.label: e.reading_mm for e in events if isinstance(e, ShotTaken)}
    # Shots are told as the line of before a kick would have read them.
    true = {
        s["label"]: s["true_reading_mm"]
        - sum(kick["up_mm"] for kick in truth["line"]["jolts"] if kick["time_s"] < s["time_s"])
        for s in truth["shots"]
        if not s["undone"]
    }
    off = [abs(shots[label] - true[label]) for label in shots if label in true]
    return (max(off), len(off)) if off else (None, 0)


def _told(events: list[Event]) -> Iterator[str]:
    for event in events:
        match event:
            case Trouble() | Noticed() | Drifted() | Jolted():
                yield event.text
            case LinkLost():
                yield f"rod lost: {event.reason}"
            case LinkBack():
                yield f"rod back after {event.gap_s:.0f} s"


def _giving_up(event: Event) -> None:
    if isinstance(event, Trouble) and event.reason in GIVE_UP:
        raise _GivesUp


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    with contextlib.redirect_stdout(io.StringIO()):
        yield
