"""Runs the commands as a person would, each said aloud, with a simulated rod and on a page."""

import contextlib
import io
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING, Protocol

import click

from rig.demo.simulator import Simulator
from rig.events import Event
from rig.language import join
from rig.session.run import Sink, Tell

if TYPE_CHECKING:
    from rig.devices.clock import Clock
    from rig.page.server import Page

SHOWN_LINES = 6
READING_S = 4.0
"""What a command says stands on the page for so long."""


class Commands(Protocol):
    """The command line, as a stage uses it."""

    def run(self, words: Sequence[str]) -> None:
        """Run a command that needs no rod."""

    def live(
        self,
        words: Sequence[str],
        job: Path,
        *,
        speed: float,
        clock: "Clock | None",
        page: "Page | None",
        sinks: Sequence[Sink],
    ) -> None:
        """Run `survey` or `set` on the source that the words name."""

    def log_pour(
        self,
        job: Path,
        *,
        script: Sequence[tuple[float, str]],
        speed: float,
        page: "Page | None",
        sinks: Sequence[Sink],
    ) -> None:
        """Log the pour that is planned, from a script or a page."""


class _Both(io.TextIOBase):
    """Writes to two places."""

    def __init__(self, one: IO[str], other: IO[str]) -> None:
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

    def __init__(
        self, commands: Commands, job: Path, speed: float, page: "Page | None" = None
    ) -> None:
        self._commands, self._speed = commands, speed
        self.job, self.page = job, page
        self.simulator: Simulator | None = None
        self.more_sinks: list[Sink] = []

    def rig(self, *words: str, aloud: bool = True) -> None:
        """Run a command that needs no rod."""
        if aloud:
            self.say(*words)
        said = io.StringIO()
        out = _Both(sys.stdout, said)
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
            self._commands.run([*words, "--job", str(self.job)])
        if self.page is not None and aloud:
            self._show(words, said.getvalue())

    def answer(self, *words: str) -> str:
        """Run a command that needs no rod, and return the JSON that it prints."""
        said = io.StringIO()
        with contextlib.redirect_stdout(said):
            self._commands.run([*words, "--job", str(self.job), "--json"])
        return said.getvalue()

    def _show(self, words: tuple[str, ...], said: str) -> None:
        """Let what a command said stand on the page for a while."""
        from rig.job.store import Job
        from rig.session.scene import idle_scene
        from rig.session.sections import Note
        from rig.study.room import outline_of

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
        self._live("survey", *words)

    def set_markers(self) -> None:
        """Set the markers with the simulated rod."""
        self._live("set")

    def _live(self, *words: str) -> None:
        assert self.simulator is not None
        source, pace = self.simulator.source, self.simulator.pace
        self.say(*words, *source)
        sinks = [Tell(self.simulator.hear), *self.more_sinks, *([pace] if pace else [])]
        with contextlib.redirect_stderr(sys.stdout):
            self._commands.live(
                [*words, *source],
                self.job,
                speed=self._speed,
                clock=pace.clock() if pace else None,
                page=self.page,
                sinks=sinks,
            )

    def log_pour(self, speed: float, script: Sequence[tuple[float, str]] = ()) -> list[Event]:
        """Log the pour that is planned, from a script or the page; return all that was told."""
        heard: list[Event] = []
        with contextlib.redirect_stderr(sys.stdout):
            self._commands.log_pour(
                self.job,
                script=script,
                speed=speed,
                page=self.page,
                sinks=[Tell(heard.append)],
            )
        return heard

    def say(self, *words: str) -> None:
        """Show a command before it runs."""
        shown = join(" ", (f"'{word}'" if " " in word else word for word in words))
        click.secho(f"\n$ rig {shown}", bold=True)


@contextlib.contextmanager
def quiet(wanted: bool = True) -> Iterator[None]:
    """Swallow what is printed meanwhile, where that is wanted."""
    with contextlib.redirect_stdout(io.StringIO()) if wanted else contextlib.nullcontext():
        yield
