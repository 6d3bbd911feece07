"""`rig demo`: the whole job on simulated devices, and how far each number is from their truth."""

import contextlib
import io
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import click

from rig.cli.lockstep import Lockstep
from rig.cli.options import json_option
from rig.cli.serve_options import announce, open_page, serve_options
from rig.errors import DeviceUnavailable
from rig.events import Edge, Estimate, Event, Heard, PourDone, Poured, Standing
from rig.session.run import Sink, Tell
from rig.units import counted, format_chance

if TYPE_CHECKING:
    from rig.page.server import Page

PROVED = "click-lock"
WIDTH_MM, LENGTH_MM = 12 * 304.8, 15 * 304.8
ROOM = ["--room", "12ft,15ft", "--door", "4ft,0ft,3ft", "--units", "in"]
IN_ROOM = ["--room-mm", f"{WIDTH_MM},{LENGTH_MM}"]
SECOND_ROOM = ["--room", "10ft,10ft", "--door", "3ft,0ft,3ft", "--units", "in"]
IN_SECOND_ROOM = ["--room-mm", "3048,3048"]
COMPOUND = ["--min-cover", "1/4in", "--bag-yield", "0.45ft3", "--bag-mass", "50lb"]
COMPOUND += ["--bag-water", "5qt", "--waste", "5%"]
POUR = ["--mixers", "2", "--crew", "4", "--mix-time", "2min", "--working-time", "12min"]
POUR_SPEED = 300.0
SPEED, WATCHED_SPEED, WATCHED_POUR_SPEED = 40.0, 3.0, 60.0
RATE_HZ = 20.0
SHOWN_LINES = 6
READING_S = 4.0
"""What a command says stands on the page for so long."""
COMING_S = 30.0


@click.command()
@click.option("--seed", type=click.IntRange(min=0), default=5, show_default=True)
@click.option(
    "--speed",
    type=click.FloatRange(min=1.0, max=100.0),
    help="How much faster than life the simulated installer works, at most.  "
    f"[default: {SPEED:g}, with --serve {WATCHED_SPEED:g}]",
)
@click.option(
    "--link",
    type=click.Choice(["serial", "ble"]),
    default="serial",
    show_default=True,
    help="A cable (a pseudo-terminal), or Bluetooth (a private D-Bus).",
)
@click.option(
    "--faults",
    is_flag=True,
    help="Show instead how a small survey meets each fault of a rod and its link.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the job and its files.  [default: a new temporary one]",
)
@serve_options
@json_option
def command(
    seed: int,
    speed: float | None,
    link: str,
    faults: bool,
    out: Path | None,
    as_json: bool,
    **served: Any,
) -> None:
    """Run the whole job on a simulated rod, over a real pseudo-terminal or a private D-Bus.

    Floor, laser, rod and installer are simulated and their data invented; everything else is the
    product as it is. Ends with how far each number is from the simulated truth.
    """
    if faults:
        from rig.cli.demo_faults import show_faults

        show_faults(link, seed, as_json)
        return
    with open_page(served) as page:
        _run(seed, speed, link, out, as_json, page)


def _run(
    seed: int,
    speed: float | None,
    link: str,
    out: Path | None,
    as_json: bool,
    page: "Page | None",
) -> None:
    if speed is None:
        speed = SPEED if page is None else WATCHED_SPEED
    if page is not None:
        announce(page, as_json)
        page.wait_for_phone(COMING_S)
    folder = out or Path(tempfile.mkdtemp(prefix="floor-rig-demo-"))
    folder.mkdir(parents=True, exist_ok=True)
    job = folder / "job.sqlite"
    truth_path = folder / "truth.json"
    quiet = contextlib.redirect_stdout(io.StringIO()) if as_json else contextlib.nullcontext()
    with quiet:
        stage = Stage(job, speed, page)
        click.echo(f"Simulated floor {seed}, up to {speed:g} times as fast as life; data invented.")
        stage.rig("new", *ROOM, *COMPOUND)
        stage.rig("grid")
        in_room = ["--truth", str(truth_path), *IN_ROOM]
        with simulated_rod(link, seed, speed, in_room, lockstep=True) as stage.simulator:
            stage.survey("--kind", "benchmark", "--label", "BM1")
            stage.survey()
            stage.rig("floor")
            stage.rig("plan")
            more = suggested_places(job)
            for n, (x_mm, y_mm) in enumerate(more, start=1):
                stage.survey("--label", f"N{n}", "--at", f"{x_mm:.0f}mm,{y_mm:.0f}mm")
            if more:
                stage.rig("plan")
            stage.rig("markers")
            stage.set_markers()
        pour = _log_pour(stage, folder, seed)
        cured = _cure(job, folder, seed)
        again = ["--truth", str(folder / "cured-truth.json"), "--floor", str(cured)]
        with simulated_rod(link, seed, speed, again, lockstep=True) as stage.simulator:
            stage.survey("--kind", "benchmark", "--label", "BM1", "--setup", "2")
            stage.survey("--kind", "finished", "--setup", "2")
            stage.rig("flatness", "--rule", PROVED)
        stage.rig("report", "--rule", PROVED, "--drawings", "--out", str(folder))
        for file_format in ("csv", "geojson", "dxf"):
            stage.rig("export", "--format", file_format, "--out", str(folder))
        patched = _second_room(folder, link, seed, speed, page)
    told = compare(json.loads(truth_path.read_text()), job)
    told["result"]["second_room"] = patched
    told["truth"]["pour"], told["result"]["pour"] = pour
    if page is not None:
        page.close(_last_word(told))
    files = sorted(path for path in folder.iterdir() if path.suffix != ".lock")
    told["files"] = [str(path.absolute()) for path in files]
    if as_json:
        click.echo(json.dumps(told, allow_nan=False))
    else:
        click.echo(apart_text(told))


def _second_room(
    folder: Path, link: str, seed: int, speed: float, page: "Page | None"
) -> dict[str, Any]:
    """Survey a second room, whose floor is poured or only patched: what each takes."""
    stage = Stage(folder / "second-room.sqlite", speed, page)
    stage.rig("new", *SECOND_ROOM, *COMPOUND)
    stage.rig("grid")
    with simulated_rod(link, seed, speed, IN_SECOND_ROOM, lockstep=True) as stage.simulator:
        stage.survey()
    stage.rig("plan", "--patch", PROVED)
    made = io.StringIO()
    with contextlib.redirect_stdout(made):
        stage.rig("plan", "--patch", PROVED, "--json", aloud=False)
    told = json.loads(made.getvalue())
    bags = {way["way"]: way["bags"]["p95"] for way in told["comparison"]}
    return {"bags": bags, "chance_patched": told["chance"]}


def _last_word(told: dict[str, Any]) -> str:
    """What stays on the page of a job that is done."""
    result, off_mm = told["result"], told["apart"]["markers_worst_mm"]
    return (
        f"The simulated job is done: {result['pour']['bags']:g} bags went in, "
        f"{result['bags']['p95']} were told; {result['markers_set']} markers set, worst "
        f"{off_mm:.1f} mm off. Floor and rod are invented."
    )


def _cure(job_path: Path, folder: Path, seed: int) -> Path:
    """Have the simulator pour to the job's plane, round the benchmark; return the cured floor."""
    from rig.job.store import Job

    with Job.open(job_path) as job:
        plan = job.current_plan()
    assert plan is not None
    truth, cured = folder / "truth.json", folder / "cured.json"
    told = json.loads(truth.read_text())
    mark = next(shot for shot in told["shots"] if shot["label"] == "BM1")
    words = ["--floor", str(truth), "--out", str(cured), "--seed", str(seed)]
    words += [f"--plane={plan.a},{plan.b},{plan.c}", "--keep", f"{mark['x_mm']},{mark['y_mm']}"]
    done = subprocess.run([sys.executable, "-m", "simulated_devices.pour", *words])
    if done.returncode:
        raise DeviceUnavailable("The simulated pour did not come about.")
    return cured


@dataclass
class Simulator:
    """A running simulated rod: the options that name it, and where its installer listens.

    In lockstep `pace` has its world's time.
    """

    source: list[str]
    events: IO[str]
    pace: Lockstep | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def hear(self, event: Event) -> None:
        """Pass on what the tool says; the simulated installer acts on it."""
        if not isinstance(event, Heard | Standing):
            self.tell(event.as_json())

    def tell(self, told: Mapping[str, Any]) -> None:
        """Pass on one object, from whatever thread."""
        with self._lock:
            self.events.write(json.dumps(dict(told)) + "\n")
            self.events.flush()


@contextlib.contextmanager
def simulated_rod(
    link: str, seed: int, speed: float, more: list[str], *, lockstep: bool = False
) -> Iterator[Simulator]:
    """Start the simulated rod as a process of its own, known only by its port and truth file.

    Its time goes by with the wall clock, or in lockstep with the sessions that use it. While it
    runs, Bluetooth means its private bus. What it says of itself is told only where it does not
    start: standard error is for the tool.
    """
    words = [link, "--seed", str(seed), "--rate", f"{RATE_HZ:g}", "--speed", str(speed)]
    words += ["--follow", *more, *(["--lockstep"] if lockstep else [])]
    said = tempfile.TemporaryFile("w+")  # noqa: SIM115
    process = subprocess.Popen(
        [sys.executable, "-m", "simulated_devices", *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=said,
        text=True,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    before = dict(os.environ)
    try:
        place = process.stdout.readline().strip()
        if not place:
            said.seek(0)
            last = said.read().strip().rpartition("\n")[2]
            raise DeviceUnavailable(f"The simulated rod did not start. {last}".rstrip())
        if link == "ble":
            name, _, bus = process.stdout.readline().strip().partition("=")
            os.environ[name] = bus
        simulator = Simulator([f"--{link}", place], process.stdin)
        if lockstep:
            go = partial(simulator.tell, {"do": "go"})
            simulator.pace = Lockstep(go, RATE_HZ, speed, time.time())
        yield simulator
    finally:
        os.environ.clear()
        os.environ.update(before)
        process.terminate()
        process.wait(timeout=10)
        with contextlib.suppress(BrokenPipeError):
            process.stdin.close()
        process.stdout.close()
        said.close()


class _Both(io.TextIOBase):
    """Writes to two places."""

    def __init__(self, one: Any, other: Any) -> None:
        self._both = (one, other)

    def write(self, text: str) -> int:
        for place in self._both:
            place.write(text)
        return len(text)

    def flush(self) -> None:
        for place in self._both:
            place.flush()


class Stage:
    """Runs the commands as a person would, saying each aloud.

    Attributes
    ----------
    simulator : Simulator or None
        The rod that live commands use.
    more_sinks : list of Sink
        Hear every event, besides.
    page : Page or None
        Shows and acts.
    """

    def __init__(self, job: Path, speed: float, page: "Page | None" = None) -> None:
        self.job, self._speed, self.page = job, speed, page
        self.simulator: Simulator | None = None
        self.more_sinks: list[Sink] = []

    def rig(self, *words: str, aloud: bool = True) -> None:
        """Run a command that needs no rod."""
        from rig.cli import rig

        if aloud:
            self.say(*words)
        said = io.StringIO()
        out = _Both(sys.stdout, said)
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
            rig.main([*words, "--job", str(self.job)], "rig", standalone_mode=False)
        if self.page is not None and aloud:
            self._show(words, said.getvalue())

    def _show(self, words: tuple[str, ...], said: str) -> None:
        """Let what a command said stand on the page for a while."""
        from rig.cli.jobs import outline_of
        from rig.job.store import Job
        from rig.session.scene import idle_scene
        from rig.session.sections import Note

        assert self.page is not None
        with Job.open(self.job) as job:
            scene = idle_scene(job, outline_of(job))
        text = f"rig {' '.join(word for word in words[:2] if not word.startswith('-'))}"
        lines = [line.strip() for line in said.splitlines() if line.strip()]
        notes = tuple(Note(text=line, level="say") for line in lines[:SHOWN_LINES])
        scene.show("idle", text, notes)
        self.page.begin(scene)
        time.sleep(min(READING_S, 3.0 * READING_S / self._speed))

    def survey(self, *words: str) -> None:
        """Survey with the simulated rod."""
        from rig.cli.survey_command import command, survey

        self._live(command, survey, "survey", *words)

    def set_markers(self) -> None:
        """Set the markers with the simulated rod."""
        from rig.cli.set_command import command, set_markers

        self._live(command, set_markers, "set")

    def _live(self, parser: click.Command, work: Any, *words: str) -> None:
        assert self.simulator is not None
        source, pace = self.simulator.source, self.simulator.pace
        self.say(*words, *source)
        with parser.make_context(words[0], [*words[1:], *source]) as context:
            options = dict(context.params)
            options["job_path"] = self.job
            options.pop("as_json")
            options["speed"] = self._speed
            options["clock"] = pace.clock() if pace else None
            paced = [pace] if pace else []
            with contextlib.redirect_stderr(sys.stdout):
                work(
                    as_json=False,
                    page=self.page,
                    more_sinks=[Tell(self.simulator.hear), *self.more_sinks, *paced],
                    **options,
                )

    def say(self, *words: str) -> None:
        """Show a command before it runs."""
        shown = " ".join(f"'{word}'" if " " in word else word for word in words)
        click.secho(f"\n$ rig {shown}", bold=True)


def suggested_places(job_path: Path) -> list[tuple[float, float]]:
    """Places that `rig floor` names as worth the walk."""
    from rig.cli.jobs import outline_of
    from rig.job.store import Job
    from rig.study.floor_answer import next_shots
    from rig.study.picture import picture_of

    with Job.open(job_path) as job:
        picture = picture_of(job, outline_of(job), 0.95)
        return [(shot.x_mm, shot.y_mm) for shot in next_shots(job, picture)]


def _log_pour(stage: Stage, folder: Path, seed: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """Plan the pour and log that of a simulated crew, one of whose mixers fails."""
    from rig.cli.pour_command import log_pour
    from rig.study.pour_answer import PourWish

    stage.rig("pour", "plan", *POUR)
    made = io.StringIO()
    with contextlib.redirect_stdout(made):
        stage.rig("pour", "plan", *POUR, "--json", aloud=False)
    plan = json.loads(made.getvalue())
    plan_path, truth_path = folder / "pour_plan.json", folder / "pour_truth.json"
    plan_path.write_text(made.getvalue())
    words = ["crew", "--plan", str(plan_path), "--seed", str(seed), "--truth", str(truth_path)]
    spoken = subprocess.run(
        [sys.executable, "-m", "simulated_devices", *words],
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    script = [(float(at), word) for at, word in (x.split(" ", 1) for x in spoken.splitlines())]
    truth = json.loads(truth_path.read_text())
    stage.say("pour", "run")
    speed = POUR_SPEED if stage.page is None else WATCHED_POUR_SPEED
    click.echo(f"(a simulated crew, {speed:g} times faster than life; after batch "
               f"{truth['mixer_fails_after_batch']} one of its mixers fails)")  # fmt: skip
    heard: list[Event] = []
    with contextlib.redirect_stderr(sys.stdout):
        log_pour(
            stage.job,
            PourWish(),
            as_json=False,
            script=script,
            speed=speed,
            more_sinks=[Tell(heard.append)],
            page=stage.page,
        )
    done = heard[-1]
    assert isinstance(done, PourDone)
    after_ten = _need_after(heard, 10)
    return truth, {
        "feasible": plan["feasible"],
        "margin_s": plan["margin_s"],
        "bags": done.bags_used,
        "yield_l": done.yield_l,
        "need_bags_after_10": after_ten,
        "edge_warnings": sum(isinstance(told, Edge) for told in heard),
    }


def _need_after(heard: list[Event], batches: int) -> float | None:
    """Need as it was told at the last front up to a batch."""
    need = None
    for told in heard:
        if isinstance(told, Poured) and told.n > batches:
            break
        if isinstance(told, Estimate):
            need = told.need_bags
    return need


def compare(truth: dict[str, Any], job_path: Path) -> dict[str, Any]:
    """Hold the job's numbers against the simulator's truth.

    Returns
    -------
    dict
        `truth`, `result` and `apart`, with the same keys where they can be compared.
    """
    import numpy as np

    from rig.cli.jobs import outline_of
    from rig.job.store import Job
    from rig.room import raster
    from rig.study.plan_answer import read_plan

    with Job.open(job_path) as job:
        outline = outline_of(job)
        plan = job.current_plan()
        first = job.first_plan()
        markers = {marker.label: marker for marker in job.markers()}
        shots = {shot.point: shot for shot in job.shots(kinds=["floor"])}
    assert plan is not None
    assert first is not None

    floor = truth["floor"]
    heights = np.array(floor["z_mm"])
    cells = raster(outline, 50.0)
    column = np.clip((cells.x_mm - floor["x0_mm"]) / floor["step_mm"], 0, heights.shape[1] - 1.001)
    row = np.clip((cells.y_mm - floor["y0_mm"]) / floor["step_mm"], 0, heights.shape[0] - 1.001)
    i, j = row.astype(int), column.astype(int)
    v, u = row - i, column - j
    z = (
        heights[i, j] * (1 - u) * (1 - v)
        + heights[i, j + 1] * u * (1 - v)
        + heights[i + 1, j] * (1 - u) * v
        + heights[i + 1, j + 1] * u * v
    )
    covers = plan.a + plan.b * cells.x_mm + plan.c * cells.y_mm - z
    true_volume_l = float(np.sum(covers * cells.share) * cells.step_mm**2 / 1e6)
    result, before = read_plan(plan).answer, read_plan(first).answer
    assert result.high is not None
    per_bag = result.volume_l.per_bag

    set_off, laser_off = [], []
    standing = [marker for marker in truth["markers"] if not marker["unset"]]
    for marker in standing:
        target = markers[marker["label"]].target_reading_mm
        # Against the line as it truly was there and then; the line's own error stands apart.
        set_off.append(marker["top_mm"] - (marker["line_mm"] - target))
        laser_off.append(marker["line_mm"])
    shot_off = [
        shots[shot["label"]].reading_mm - shot["true_reading_mm"]
        for shot in truth["shots"]
        if shot["label"] in shots and not shot["undone"]
    ]
    low, high = result.volume_l.low, result.volume_l.high
    return {
        "truth": {
            "high_mm": float(z.max()),
            "min_cover_mm": float(covers.min()),
            "volume_l": true_volume_l,
            "bags": true_volume_l * (1.0 + result.bags.waste_share) / per_bag,
        },
        "result": {
            "high_mm": result.high.z_mm,
            "high_upper_mm": result.high.upper_mm,
            "min_cover_mm": result.cover_mm.min,
            "volume_l": result.volume_l.as_json(),
            "bags": result.bags.as_json(),
            "bags_before_more_shots": before.bags.as_json(),
            "more_shots": sum(label.startswith("N") for label in shots),
            "markers_set": len(standing),
        },
        "apart": {
            "high_mm": result.high.z_mm - float(z.max()),
            "volume_l": result.volume_l.mean - true_volume_l,
            "volume_in_range": bool(low <= true_volume_l <= high),
            "shots_worst_mm": max((abs(off) for off in shot_off), default=0.0),
            "markers_worst_mm": max((abs(off) for off in set_off), default=0.0),
            "laser_worst_mm": max((abs(off) for off in laser_off), default=0.0),
        },
    }


def apart_text(told: dict[str, Any]) -> str:
    """Say for people how far the job was from the truth."""
    truth, result, apart = told["truth"], told["result"], told["apart"]
    bags, volume = result["bags"], result["volume_l"]
    before = result["bags_before_more_shots"]
    second = result["second_room"]["bags"]
    pour, true_pour = result["pour"], truth["pour"]
    inside = "inside" if apart["volume_in_range"] else "OUTSIDE"
    return "\n".join(
        [
            "\nAgainst the simulated truth:",
            f"  high point      {result['high_mm']:.1f} mm told, {truth['high_mm']:.1f} mm true "
            f"({apart['high_mm']:+.1f} mm); with 95 % under {result['high_upper_mm']:.1f} mm",
            f"  least cover     {truth['min_cover_mm']:.1f} mm true",
            f"  volume          {volume['mean']:.0f} l told ({volume['low']:.0f} to "
            f"{volume['high']:.0f}), {truth['volume_l']:.0f} l true: {inside} the 95 % range",
            f"  bags            {bags['p50']} at even odds, {bags['p95']} at 95 %; "
            f"{truth['bags']:.1f} truly needed, waste included",
            f"  more shots      {result['more_shots']} where they help most: {before['p95']} bags "
            f"at 95 % before, {bags['p95']} after",
            f"  shots           worst {apart['shots_worst_mm']:.2f} mm from the true reading",
            f"  markers         {result['markers_set']} set, worst "
            f"{apart['markers_worst_mm']:.2f} mm from the target against the true line",
            f"  pour            {pour['need_bags_after_10']:.1f} bags foreseen after ten batches, "
            f"{true_pour['bags']} truly went in; {pour['yield_l']:.1f} l a bag told, "
            f"{true_pour['yield_l']:.1f} l true"
            if pour["need_bags_after_10"] is not None
            else f"  pour            {counted(true_pour['bags'], 'bag')}",
            f"  the laser's own error (no rod can see it) was up to "
            f"{apart['laser_worst_mm']:.2f} mm at a marker",
            f"  second room     {counted(second['patch'], 'bag')} of patches keep the rule "
            f"{PROVED} with {format_chance(result['second_room']['chance_patched'])} probability; "
            f"a whole pour takes {second['pour']}",
            "\nFiles:",
            *(f"  {path}" for path in told["files"]),
            "  Every number of the floor and the rod is simulated and invented.",
        ]
    )
