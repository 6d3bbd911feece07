"""A small survey meets each fault of a rod and its link, and what becomes of it."""

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import click

from rig.demo.simulator import simulated_rod, truth_of
from rig.demo.stage import Commands, Stage, quiet
from rig.demo.truth import Truth
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
from rig.language import join, numeral, say, say_many, shown
from rig.record import Record, from_json
from rig.session.run import Tell

SPEED = 25.0
ROOM = ["--room", "2m,2m", "--units", "mm"]
IN_ROOM = ["--room-mm", "2000,2000", "--mistakes", "0"]
TRUE_MM = 1.0
"""A shot this near the true reading is as good as without the fault."""
GIVE_UP = ("noisy", "moving")
"""Told that no shot will come, an installer stops."""

Outcome = Literal["survived", "told", "refused", "SILENT"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault(Record):
    """A fault that the simulator can do: its name, what it is, and how it is asked for."""

    name: str
    text: str
    fault: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Met(Fault):
    """A fault that a survey has met; `worst_mm` is None where no shot was taken."""

    outcome: Outcome
    told: tuple[str, ...]
    shots: int
    worst_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AllMet(Record):
    """What became of each fault of a link."""

    link: str
    faults: tuple[Met, ...]


class _GivesUp(Exception):
    pass


def show_faults(commands: Commands, link: str, seed: int, as_json: bool) -> None:
    """Survey once for each fault of a link and tell what became of it.

    Raises
    ------
    CannotAnswer
        Where a fault left wrong numbers without a word.
    """
    rows = []
    for fault in _faults_of(link):
        row = _meet(commands, link, seed, fault)
        rows.append(row)
        if not as_json:
            _show(row)
    if as_json:
        met = AllMet(link=link, faults=tuple(rows))
        click.echo(json.dumps(met.as_json(), allow_nan=False))
    silent = [row.fault for row in rows if row.outcome == "SILENT"]
    if silent:
        raise CannotAnswer(
            say("Wrong numbers without a word under {silent}.", silent=join(", ", silent))
        )
    if not as_json:
        click.echo(
            shown(
                say(
                    "All {rows} met: survived (numbers as without it), told (the installer "
                    "decides), or refused at the start. Data invented.",
                    rows=len(rows),
                )
            )
        )


def _faults_of(link: str) -> list[Fault]:
    listed = subprocess.run(
        [sys.executable, "-m", "simulated_devices", "faults", "--link", link],
        capture_output=True,
        text=True,
        check=True,
    )
    return [from_json(Fault, one) for one in json.loads(listed.stdout)]


def _show(row: Met) -> None:
    click.echo(f"{row.outcome:<9} {row.fault:<14} {shown(row.text)}")
    for text in row.told:
        click.echo(f"{'':<10}! {shown(text)}")
    if row.worst_mm is not None:
        shots = say_many("{count} shot", "{count} shots", row.shots)
        click.echo(
            shown(" " * 10 + say("{shots}, worst {off:.2f} mm off", shots=shots, off=row.worst_mm))
        )


def _meet(commands: Commands, link: str, seed: int, fault: Fault) -> Met:
    events: list[Event] = []
    refused: RigError | None = None
    creeps = fault.name == "drift"
    with tempfile.TemporaryDirectory(prefix="floor-rig-faults-") as name:
        truth = Path(name) / "truth.json"
        more = ["--fault", fault.fault, "--truth", str(truth), *IN_ROOM]
        with quiet():
            stage = Stage(commands, Path(name) / "job.sqlite", SPEED)
            stage.more_sinks = [Tell(events.append), Tell(_giving_up)]
            stage.rig("new", *ROOM)
            stage.rig("grid", "--spacing", "0.9m")
            with simulated_rod(link, seed, SPEED, more) as stage.simulator:
                try:
                    if creeps or fault.name == "jolt":  # only a fixed point shows them
                        stage.survey("--kind", "benchmark", "--label", "BM1")
                    stage.survey()
                except DeviceUnavailable as error:
                    refused = error
                except _GivesUp:
                    pass
        off_mm = _off(events, truth_of(truth))
    told = tuple(_told(events))
    worst_mm = max(off_mm, default=None)
    outcome: Outcome = "told" if told else "SILENT"
    if refused is not None:
        outcome, told = "refused", (str(refused),)
    elif worst_mm is not None and worst_mm <= TRUE_MM and not creeps:
        outcome = "survived"
    return Met(
        name=fault.name,
        text=fault.text,
        fault=fault.fault,
        outcome=outcome,
        told=told,
        shots=len(off_mm),
        worst_mm=worst_mm,
    )


def _off(events: Sequence[Event], truth: Truth) -> list[float]:
    """How far off each shot is that was told, as the line of before a kick would have read it."""
    shots = {event.label: event.reading_mm for event in events if isinstance(event, ShotTaken)}
    true = {
        shot.label: shot.true_reading_mm
        - sum(kick.up_mm for kick in truth.line.jolts if kick.time_s < shot.time_s)
        for shot in truth.shots
        if not shot.undone
    }
    return [abs(shots[label] - true[label]) for label in shots if label in true]


def _told(events: Sequence[Event]) -> Iterator[str]:
    for event in events:
        match event:
            case Trouble() | Noticed() | Drifted() | Jolted():
                yield event.text
            case LinkLost():
                yield say("rod lost: {reason}", reason=event.reason)
            case LinkBack():
                yield say("rod back after {gap} s", gap=numeral(event.gap_s, ".0f"))


def _giving_up(event: Event) -> None:
    if isinstance(event, Trouble) and event.reason in GIVE_UP:
        raise _GivesUp
