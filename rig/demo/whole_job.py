"""The demo: a whole job from the empty room to the proof, on simulated devices."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.demo.simulator import cure, simulated_crew, simulated_rod, truth_of
from rig.demo.stage import Commands, Stage
from rig.demo.truth import (
    Comparison,
    CrewTruth,
    HouseTold,
    PourTold,
    SecondRoom,
    compare,
)
from rig.events import Edge, Estimate, Event, PourDone, Poured
from rig.language import numeral, say, shown
from rig.record import from_json
from rig.report.patch_part import patch_text
from rig.study.patching import PatchAnswer
from rig.study.rooms import FIRST
from rig.units import Units

if TYPE_CHECKING:
    from rig.page.server import Page

PROVED = "click-lock"
WIDTH_MM, LENGTH_MM = 12 * 304.8, 15 * 304.8
ROOM = ["--room", "12ft,15ft", "--door", "4ft,0ft,3ft", "--units", "in"]
IN_ROOM = ["--room-mm", f"{WIDTH_MM},{LENGTH_MM}"]
SECOND_ROOM = ["--room", "10ft,10ft", "--door", "3ft,0ft,3ft", "--units", "in"]
SECOND_ROOM += ["--max-cover", "1in"]
IN_SECOND_ROOM = ["--room-mm", f"{14 * 304.8},3048"]
HALL = ["--room", "4ft,10ft", "--at", "10ft,0ft", "--doorway", "10ft,3ft,3ft"]
HALL_GRID = ["--spacing", "5ft", "--edge", "1ft"]
COMPOUND = ["--min-cover", "1/4in", "--bag-yield", "0.45ft3", "--bag-mass", "50lb"]
COMPOUND += ["--bag-water", "5qt", "--waste", "5%"]
POUR = ["--mixers", "2", "--crew", "4", "--mix-time", "2min", "--working-time", "12min"]
PRICES = """# Invented, as all of the demo is.
currency = "USD"
tax = "8.25%"
[[line]]
item = "compound"
unit = "bag"
price = "28.40"
[[line]]
item = "labour"
unit = "hour"
price = "65"
"""
POUR_SPEED, WATCHED_POUR_SPEED = 300.0, 60.0


@dataclass(frozen=True)
class Demo:
    """How a demo is run: whose commands, over which link, of which seed, how fast, seen where."""

    commands: Commands
    folder: Path
    link: str
    seed: int
    speed: float
    page: "Page | None" = None

    def stage(self, job: str) -> Stage:
        """Return a stage for a job of the folder."""
        return Stage(self.commands, self.folder / job, self.speed, self.page)


def run(demo: Demo) -> Comparison:
    """Run the whole job; return how far each number is from the simulated truth."""
    folder, link, seed, speed = demo.folder, demo.link, demo.seed, demo.speed
    stage, truth = demo.stage("job.sqlite"), folder / "truth.json"
    click.echo(
        shown(
            say(
                "Simulated floor {seed}, up to {speed} times as fast as life; data invented.",
                seed=seed,
                speed=numeral(speed, "g"),
            )
        )
    )
    stage.rig("new", *ROOM, *COMPOUND)
    prices = folder / "prices.toml"
    prices.write_text(PRICES)
    stage.rig("quote", "--depth", "1in", "--hours", "8h", "--prices", str(prices), "--keep")
    stage.rig("grid")
    in_room = ["--truth", str(truth), *IN_ROOM]
    with simulated_rod(link, seed, speed, in_room, lockstep=True) as stage.simulator:
        stage.survey("--kind", "benchmark", "--label", "BM1")
        stage.survey()
        stage.rig("floor")
        stage.rig("plan")
        more = suggested_places(stage.job)
        for n, (x_mm, y_mm) in enumerate(more, start=1):
            stage.survey("--label", f"N{n}", "--at", f"{x_mm:.0f}mm,{y_mm:.0f}mm")
        if more:
            stage.rig("plan")
        stage.rig("markers")
        stage.set_markers()
    crew, pour = _pour(demo, stage)
    cured = _cure(stage.job, truth, seed)
    again = ["--truth", str(folder / "cured-truth.json"), "--floor", str(cured)]
    with simulated_rod(link, seed, speed, again, lockstep=True) as stage.simulator:
        stage.survey("--kind", "benchmark", "--label", "BM1", "--setup", "2")
        stage.survey("--kind", "finished", "--setup", "2")
        stage.rig("flatness", "--rule", PROVED)
    stage.rig("report", "--rule", PROVED, "--drawings", "--out", str(folder))
    stage.rig("quote", "--compare")
    handed = ["--for", "customer", "--whose", "the invented Parkers"]
    stage.rig("report", "--rule", PROVED, *handed, "--out", str(folder))
    for file_format in ("csv", "geojson", "dxf"):
        stage.rig("export", "--format", file_format, "--out", str(folder))
    patched = _second_room(demo)
    told = compare(truth_of(truth), stage.job)
    files = sorted(path for path in folder.iterdir() if path.suffix != ".lock")
    return replace(
        told,
        truth=replace(told.truth, pour=crew),
        result=replace(told.result, second_room=patched, pour=pour),
        files=tuple(str(path.absolute()) for path in files),
    )


def suggested_places(job_path: Path) -> list[tuple[float, float]]:
    """Places that `rig floor` names as worth the walk."""
    from rig.job.store import Job
    from rig.study.floor_answer import next_shots
    from rig.study.picture import picture_of
    from rig.study.room import outline_of

    with Job.open(job_path) as job:
        picture = picture_of(job, outline_of(job), 0.95)
        return [(shot.x_mm, shot.y_mm) for shot in next_shots(job, picture)]


def _pour(demo: Demo, stage: Stage) -> tuple[CrewTruth, PourTold]:
    """Plan the pour and log that of a simulated crew, one of whose mixers fails."""
    from rig.job.store import Job
    from rig.study.pour_log import last_pour_plan

    stage.rig("pour", "plan", *POUR)
    with Job.open(stage.job) as job:
        made = last_pour_plan(job)
    assert made is not None
    plan = made[1].result
    plan_path, truth_path = demo.folder / "pour_plan.json", demo.folder / "pour_truth.json"
    plan_path.write_text(json.dumps(plan.as_json()) + "\n")
    script, truth = simulated_crew(plan_path, truth_path, demo.seed)
    stage.say("pour", "run")
    speed = POUR_SPEED if demo.page is None else WATCHED_POUR_SPEED
    click.echo(
        shown(
            say(
                "(a simulated crew, {speed} times faster than life; after batch "
                "{mixer_fails_after_batch} one of its mixers fails)",
                speed=numeral(speed, "g"),
                mixer_fails_after_batch=truth.mixer_fails_after_batch,
            )
        )
    )
    heard = stage.log_pour(speed, script)
    done = heard[-1]
    assert isinstance(done, PourDone)
    return truth, PourTold(
        feasible=plan.feasible,
        margin_s=plan.margin_s,
        bags=done.bags_used,
        yield_l=done.yield_l,
        need_bags_after_10=_need_after(heard, 10),
        edge_warnings=sum(isinstance(event, Edge) for event in heard),
    )


def _need_after(heard: Sequence[Event], batches: int) -> float | None:
    """Need as it was told at the last front up to a batch."""
    need = None
    for event in heard:
        if isinstance(event, Poured) and event.n > batches:
            break
        if isinstance(event, Estimate):
            need = event.need_bags
    return need


def _cure(job_path: Path, truth: Path, seed: int) -> Path:
    """Have the simulator pour to the job's plane, round the benchmark; return the cured floor."""
    from rig.job.store import Job

    with Job.open(job_path) as job:
        plan = job.current_plan()
    assert plan is not None
    mark = next(shot for shot in truth_of(truth).shots if shot.label == "BM1")
    cured = truth.with_name("cured.json")
    cure(truth, cured, (plan.a, plan.b, plan.c), seed, "--keep", f"{mark.x_mm},{mark.y_mm}")
    return cured


def _second_room(demo: Demo) -> SecondRoom:
    """Survey a room and its hall in one walk: what pour and patches take, one order for both."""
    stage = demo.stage("second-room.sqlite")
    stage.rig("new", *SECOND_ROOM, *COMPOUND)
    stage.rig("room", "add", "hall", *HALL)
    stage.rig("grid", "--room", FIRST)
    stage.rig("grid", "--room", "hall", *HALL_GRID)
    in_room = simulated_rod(demo.link, demo.seed, demo.speed, IN_SECOND_ROOM, lockstep=True)
    with in_room as stage.simulator:
        stage.survey()
    patch = ("plan", "--patch", PROVED, "--room", FIRST)
    stage.say(*patch)
    told = from_json(PatchAnswer, json.loads(stage.answer(*patch)))
    click.echo(patch_text(told, Units("in")))
    stage.rig("plan")
    stage.rig("report", "--only", "buy", "--out", str(demo.folder))
    bags: dict[str, int] = {one.way: one.bags.p95 for one in told.comparison}
    return SecondRoom(bags=bags, chance_patched=told.chance, house=_house(stage.job))


def _house(job_path: Path) -> HouseTold:
    """Read what was planned of all rooms."""
    from rig.job.store import Job
    from rig.study.house_plan import last_house_plan

    with Job.open(job_path) as job:
        plan = last_house_plan(job)
    assert plan is not None
    return HouseTold(
        lifts={one.name: one.lifts for one in plan.rooms},
        bags=plan.bags.buy,
        bags_apart=plan.bags_apart.buy,
    )


def last_word(told: Comparison) -> str:
    """What stays on the page of a job that is done."""
    result = told.result
    assert result.pour is not None
    return say(
        "The simulated job is done: {bags} bags went in, {p95} were told; {markers_set} "
        "markers set, worst {markers_worst} mm off. Floor and rod are invented.",
        bags=numeral(result.pour.bags, "g"),
        p95=result.bags.p95,
        markers_set=result.markers_set,
        markers_worst=numeral(told.apart.markers_worst_mm, ".1f"),
    )
