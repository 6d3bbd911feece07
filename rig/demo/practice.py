"""Practice: a whole job on the page, the trainee's finger being the walker; scored, seen again."""

import asyncio
import contextlib
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from rig.demo.score import Round, Row, Score, score_rows, score_scene, wasted_shots
from rig.demo.simulator import Simulator, cure, simulated_rod, truth_of
from rig.demo.stage import Commands, Stage
from rig.demo.truth import compare
from rig.demo.whole_job import COMPOUND, PROVED
from rig.errors import CannotAnswer
from rig.events import Edges, PourDone, time_of
from rig.language import say
from rig.record import Record, from_json
from rig.study.room import outline_of

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.page.messages import Moved
    from rig.page.server import Page
    from rig.session.scene import Scene

CREW = ["--mixers", "2", "--crew", "4", "--mix-time", "2min", "--working-time", "12min"]
WORKING_S = 720.0
POUR_SPEED = 20.0
SOON_S = 3600.0
TOLERANCE_MM = 1.0
AGAIN_SPEED, AGAIN_POUR_SPEED, LONGEST_REST_S = 6.0, 120.0, 0.4
MOST_SHIFT_MM = 15.0
HOW = [
    say("You are the walker. Drag the rod over the plan; lift your finger and it stands."),
    say("Hold still until the shot is taken, then walk on. Undo what went wrong."),
    say("At a marker, turn its screw up or down until the page says set."),
    say("In the pour, tap for each batch that you tip, tell the front, and end it in time."),
    say("Floor and rod are simulated and invented; the rest is the real thing."),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Gap(Record):
    gap_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Flat(Record):
    verdict: Literal["in", "out", "unsure"]
    worst: _Gap


class Practice:
    """One round: its page, its folder, and what the trainee's hands did."""

    def __init__(
        self,
        commands: Commands,
        page: "Page",
        folder: Path,
        seed: int,
        speed: float,
        room_mm: tuple[float, float],
    ) -> None:
        self._commands, self._page = commands, page
        self._folder, self._seed, self._speed = folder, seed, speed
        self._room_mm = room_mm
        self._job = folder / "job.sqlite"
        self._truth = folder / "truth.json"
        self._moves: list[tuple[float, Moved]] = []
        self._worst_edge_s = 0.0

    def work(self) -> Score:
        """Go through the job and judge the round."""
        from rig.job.store import Job

        page, width, length = self._page, *self._room_mm
        stage = Stage(self._commands, self._job, self._speed, page)
        door = f"{0.25 * width:.0f}mm,0mm,{min(900.0, 0.4 * width):.0f}mm"
        room = ["--room", f"{width:.1f}mm,{length:.1f}mm", "--door", door, "--units", "in"]
        stage.rig("new", *room, *COMPOUND, aloud=False)
        stage.rig("grid", aloud=False)
        asyncio.run(self._begin())
        begun_s = time.monotonic()
        floor = ["--room-mm", f"{width},{length}"]
        steered = ["--truth", str(self._truth), "--steered", *floor]
        with simulated_rod("serial", self._seed, self._speed, steered) as simulator:
            stage.simulator = simulator
            page.moves = self._hand(simulator)
            stage.survey()
            stage.rig("floor")
            stage.rig("plan")
            stage.rig("markers")
            stage.set_markers()
            page.moves = None
        done = self._pour(stage)
        seconds = time.monotonic() - begun_s
        shift_mm = self._cure(done)
        again = ["--truth", str(self._folder / "cured-truth.json")]
        again += ["--floor", str(self._folder / "cured.json"), "--mistakes", "0"]
        with simulated_rod("serial", self._seed, 20.0, again) as simulator:
            proof = Stage(self._commands, self._job, 20.0, page)
            proof.simulator = simulator
            proof.survey("--kind", "finished", "--setup", "2")
        flat = from_json(_Flat, json.loads(stage.answer("flatness", "--rule", PROVED)))
        round_ = self._round(seconds, done, shift_mm, flat)
        with Job.open(self._job) as job:
            rows = score_rows(round_, job.units)
        (self._folder / "hands.json").write_text(json.dumps(self._moves))
        return Score(score=round_, rows=rows, job=str(self._job))

    async def _begin(self) -> None:
        """Say how it goes, and wait until the trainee begins."""
        from rig.devices.clock import Clock
        from rig.job.store import Job
        from rig.session.scene import idle_scene
        from rig.session.sections import Note

        with Job.open(self._job) as job:
            scene = idle_scene(job, outline_of(job), ("begin",))
        scene.show("idle", "practice", tuple(Note(text=text, level="say") for text in HOW))
        self._page.begin(scene)
        acts = self._page.acts(Clock())
        try:
            await asyncio.wait_for(anext(acts), SOON_S)
        except TimeoutError:
            raise CannotAnswer(say("Nobody has begun to practise for an hour.")) from None
        finally:
            await acts.aclose()  # type: ignore[attr-defined]

    def _hand(self, simulator: Simulator) -> "Callable[[Moved], None]":
        def move(told: "Moved") -> None:
            self._moves.append((time.time(), told))
            with contextlib.suppress(OSError, ValueError):  # the rod has just been put away
                simulator.tell(told)

        return move

    def _pour(self, stage: Stage) -> PourDone:
        """Have the trainee tip the batches; return the pour's last event."""
        stage.rig("pour", "plan", *CREW, aloud=False)
        heard = stage.log_pour(POUR_SPEED)
        ages = [age for told in heard if isinstance(told, Edges) for age in told.ages_s]
        self._worst_edge_s = max(ages, default=0.0)
        if not heard or not isinstance(heard[-1], PourDone):
            raise CannotAnswer(
                say(
                    "Practice was left in the pour, so there is nothing to score. What was "
                    "done until then is kept in {job}",
                    job=self._job,
                )
            )
        return heard[-1]

    def _cure(self, done: PourDone) -> float:
        """Have the simulator cure what was tipped; return how far it lies over the plan, in mm.

        A floor that got less than it takes ends lower; edges that died leave steps.
        """
        from rig.job.store import Job
        from rig.study.pour_plan import takes

        needed_l = compare(truth_of(self._truth), self._job).truth.volume_l
        with Job.open(self._job) as job:
            plan = job.current_plan()
        assert plan is not None
        taken = takes(plan)
        tipped_l = done.bags_used * taken.bag_yield_l / (1.0 + taken.waste_share)
        area_m2 = self._room_mm[0] * self._room_mm[1] / 1e6
        shift_mm = (tipped_l - needed_l) / area_m2
        shift_mm = min(max(shift_mm, -MOST_SHIFT_MM), MOST_SHIFT_MM)
        late = max(0.0, self._worst_edge_s / WORKING_S - 1.0)
        cure(
            self._truth,
            self._folder / "cured.json",
            (plan.a + shift_mm, plan.b, plan.c),
            self._seed,
            "--fresh",
            f"{1.0 + min(8.0, 8.0 * late):.2f}",
        )
        return shift_mm

    def _round(self, seconds: float, done: PourDone, shift_mm: float, flat: _Flat) -> Round:
        from rig.job.store import Job
        from rig.study.pour_plan import takes

        truth = truth_of(self._truth)
        told = compare(truth, self._job)
        with Job.open(self._job) as job:
            points = {point.label: (point.x_mm, point.y_mm) for point in job.points()}
            markers = job.markers()
            min_cover_mm = job.settings.min_cover_mm
            plan = job.current_plan()
        assert plan is not None
        assert min_cover_mm is not None
        return Round(
            seconds=seconds,
            shots=len(truth.shots),
            wasted=wasted_shots(truth.shots, points),
            markers=sum(marker.is_set for marker in markers),
            markers_of=len(markers),
            markers_worst_mm=told.apart.markers_worst_mm,
            tolerance_mm=TOLERANCE_MM,
            bags_site=takes(plan).bags_p95,
            bags_used=done.bags_used,
            bags_needed=told.truth.bags,
            edge_age_s=self._worst_edge_s,
            working_s=WORKING_S,
            cover_mm=told.truth.min_cover_mm + shift_mm,
            min_cover_mm=min_cover_mm,
            verdict=flat.verdict,
            gap_mm=flat.worst.gap_mm,
        )

    # --- seen again -------------------------------------------------------------------------

    async def see_again(self, rows: Sequence[Row]) -> None:
        """Show the score, and the round again as often as is asked for, until it is finished."""
        from rig.devices.clock import Clock
        from rig.job.store import Job
        from rig.session.sections import plan_of

        with Job.open(self._job) as job:
            score = score_scene(rows, job.units, plan_of(outline_of(job)), ("replay", "finish"))
            self._page.begin(score)
            showing: asyncio.Task[None] | None = None
            async for act in self._page.acts(Clock()):
                if showing is not None and not showing.done():
                    showing.cancel()
                    self._page.begin(score)
                elif act.name == "finish":
                    return
                else:
                    showing = asyncio.create_task(self._show_again(job, score))

    async def _show_again(self, job: "Job", score: "Scene") -> None:
        """Play the job's log through the same machines, with the hands beside it."""
        from rig.session.following import Follower
        from rig.session.kinds import kinds

        for session in job.sessions():
            if session.kind not in kinds():
                continue
            speed = AGAIN_POUR_SPEED if session.kind == "pour" else AGAIN_SPEED
            follower = Follower(job, session)
            self._page.begin(follower.scene(("finish",)))
            moves = [
                (utc_s - session.utc_s, told)
                for utc_s, told in self._moves
                if utc_s >= session.utc_s
            ]
            last_s = 0.0
            for event in follower.news(session.utc_s):
                time_s = max(last_s, time_of(event) or last_s)
                if time_s > last_s:
                    await asyncio.sleep(min(LONGEST_REST_S, (time_s - last_s) / speed))
                    last_s = time_s
                while moves and moves[0][0] * self._speed <= time_s:
                    self._page.hand(moves.pop(0)[1])
                self._page.hear(event)
            await asyncio.sleep(1.0)
            follower.close()
        self._page.begin(score)
