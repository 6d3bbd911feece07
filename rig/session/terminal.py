"""What a live session shows: JSON lines, plain lines, or one big line readable at two metres."""

import contextlib
import json
import sys
import time
from collections.abc import Callable, Iterator

from rig.events import (
    Armed,
    Ask,
    AskMarker,
    AskPour,
    Check,
    Dragged,
    Edge,
    Edges,
    Event,
    Heard,
    MarkerSet,
    Next,
    NextBatch,
    NextMarker,
    Picture,
    PourDone,
    Poured,
    Prompt,
    SetDone,
    ShotTaken,
    Slide,
    Standing,
    SurveyDone,
)
from rig.language import join, numeral, put, say, shown
from rig.session.beam import LINK_LOST, Beam
from rig.session.run import Sink
from rig.texts import harmless
from rig.units import Units
from rig.words.live import said, stand

CONTEXT_ROWS = 5  # what stands around the big line
_Large = Prompt | Next | NextMarker | NextBatch | Armed | Check | Slide
"""Events that the big line says whole."""
_Settles = ShotTaken | MarkerSet | Dragged | SurveyDone | SetDone | PourDone


@contextlib.contextmanager
def screen(
    as_json: bool,
    units: Units,
    write: Callable[[str], None],
    keys: str,
    by_tape: bool = False,
    of_several: bool = False,
) -> Iterator[Sink]:
    """Open the screen that fits the output: JSON, plain lines, or in a terminal a big line.

    Parameters
    ----------
    as_json : bool
    units : Units
        Of the job.
    write : callable
        Prints a plain line.
    keys : str
        Which keys there are; without any there is no big line.
    by_tape : bool
        Whether readings are typed.
    of_several : bool
        Whether several rods are told of, each of which has a screen of its own.
    """
    if as_json:
        yield JsonLines()
    elif keys and sys.stdout.isatty():
        with BigScreen(units, keys) as big:
            yield big
    else:
        yield PlainLines(units, write, by_tape, of_several)


class JsonLines(Sink):
    """Prints each event as one JSON object on one line, at once.

    How the rod stands is for screens, which draw it; a program has the readings themselves.
    """

    def hear(self, event: Event) -> None:
        """Print one event."""
        if not isinstance(event, Standing):
            print_json(event)


def print_json(event: Event) -> None:
    """Print one event as one JSON object on one line, at once."""
    sys.stdout.write(json.dumps(event.as_json(), allow_nan=False) + "\n")
    sys.stdout.flush()


def line_of(event: Event, units: Units, by_tape: bool = False) -> str | None:
    """One event as one plain line, or None where a person need not hear of it.

    Nothing in it steers a terminal: its labels are the job's, which may come from anywhere.
    """
    told = said(event, units, by_tape)
    text = harmless(shown(told.text))
    if not text:
        return None
    if told.level == "head":
        return text
    if isinstance(event, Ask | AskMarker | AskPour):
        return say("  ! {text} (y if so)", text=text)
    return f"  ! {text}" if told.level == "warn" else f"  {text}"


class PlainLines(Sink):
    """Prints a line for each event that a person needs, none twice running."""

    def __init__(
        self,
        units: Units,
        write: Callable[[str], None],
        by_tape: bool = False,
        of_several: bool = False,
    ) -> None:
        self._units, self._write, self._by_tape = units, write, by_tape
        self._of_several, self._last = of_several, ""

    def hear(self, event: Event) -> None:
        """Print one event."""
        if isinstance(event, Armed) and self._of_several:
            return  # only who stands at the rod need hear of it
        line = line_of(event, self._units, self._by_tape)
        # The picture is the floor's, whichever rod's shot it was drawn after.
        if line is not None and event.rod is not None and not isinstance(event, Picture):
            line = f"{harmless(event.rod)}: {line.strip()}"
        if line is not None and line != self._last:
            self._write(line)
            self._last = line


class BigScreen(Sink):
    """One big line in the terminal, updated in place, with a smaller line of context under it.

    The word and the amount are drawn in the largest letters that the terminal holds. A bell rings
    twice for a set marker, once for a shot: after the fact is on disk.
    """

    def __init__(self, units: Units, keys: str) -> None:
        from rich.console import Console
        from rich.live import Live

        self._units, self._keys = units, keys
        self._console = Console()
        self._live = Live(console=self._console, auto_refresh=False, transient=False)
        self._big, self._small, self._note = "", "", ""
        self._beam, self._stale = Beam(), ""
        self._standing: Standing | None = None
        self._prompting = False  # the big line says what the latest reading says
        self._pouring = False  # no rod's reading stands behind the big line

    def __enter__(self) -> "BigScreen":
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._live.stop()

    def hear(self, event: Event) -> None:
        """Show one event."""
        self._beam.hear(event, time.monotonic())
        match event:
            case Heard():
                self.tick()
                return
            case Standing():
                self._standing = event
                self._draw()
                return
        self._say_large(event)
        self._pouring |= isinstance(event, Poured | Edges | NextBatch)
        if isinstance(event, _Large | _Settles):
            self._prompting = isinstance(event, Prompt)
        if not isinstance(event, Prompt):
            self._take_back()
        self._stale = self._beam.state(time.monotonic())
        self._note_down(event)
        self._draw()
        if isinstance(event, ShotTaken | MarkerSet | Edge | Slide | Dragged):
            self._console.bell()
            if isinstance(event, MarkerSet):
                self._console.bell()

    def _say_large(self, event: Event) -> None:
        match event:
            case Prompt():
                self._big, self._small = event.text, event.marker
            case Next():
                self._big, self._small = say("go to {label}", label=event.label), event.text
            case NextMarker():
                self._big = say("go to {marker}", marker=event.marker)
                self._small = f"{event.marker}: {event.text}"
            case NextBatch():
                self._big, self._small = say("batch {n}", n=event.n), event.text
            case Armed():
                self._big, self._small = event.label, say("hold still · {text}", text=event.text)
            case Check():
                expected = self._units.amount(event.expected_mm)
                self._big = say("check {label}", label=event.label)
                self._small = say("{text} · expect {expected}", text=event.text, expected=expected)
            case Slide():
                self._big, self._small = say("slide to {label}", label=event.label), event.text
            case ShotTaken():
                self._big = say("{label} shot", label=event.label)
            case MarkerSet():
                self._big = say("{marker} set", marker=event.marker)
            case Edges():
                self._big = say(
                    "edge {max} min left", max=numeral(max(0.0, event.left_s) / 60, ".0f")
                )
            case SurveyDone() | SetDone() | PourDone():
                self._big, self._small = "done", ""

    def _note_down(self, event: Event) -> None:
        """Keep what an event says in the line below, where it is not said larger already."""
        # In a pour the edges are shown above; they must not wipe a warning off.
        if isinstance(event, _Large | Edges):
            return
        line = line_of(event, self._units)
        if isinstance(event, Picture) and self._note.startswith("  !"):
            return
        self._note = line or self._note

    def tick(self) -> None:
        """Take back a prompt whose readings have stopped; called as time goes by."""
        if self._take_back():
            self._draw()

    def _take_back(self) -> bool:
        """Follow the beam; tell whether what is shown changes."""
        before, self._stale = self._stale, self._beam.state(time.monotonic())
        if self._prompting and before and not self._stale:
            self._big = "…"  # until the next prompt: what was said last may be untrue by now
        return before != self._stale

    @property
    def shown(self) -> tuple[str, str]:
        """The big line and the one below it."""
        if self._pouring:
            return self._big, self._small
        if not self._stale:
            stands = stand(self._standing) if self._standing is not None else ""
            return self._big, join(" · ", filter(None, (self._small, stands)))
        if self._prompting or self._stale == LINK_LOST:
            return self._stale, self._small
        return self._big, put("{small} · {stale}", small=self._small, stale=self._stale)

    def _draw(self) -> None:
        from rich.console import Group
        from rich.text import Text

        width, height = self._console.size
        big, small = (harmless(shown(text)) for text in self.shown)
        self._live.update(
            Group(
                Text(big_letters(big, width, height - CONTEXT_ROWS), style="bold"),
                Text(""),
                Text(small, style="bold"),
                Text(self._note.strip()),
                Text(self._keys, style="dim"),
            ),
            refresh=True,
        )


def big_letters(text: str, width: int, height: int) -> str:
    """Draw `text` in the largest solid letters that fit, on one line or with the amount below.

    Parameters
    ----------
    text : str
        What a prompt says, such as "raise 3/16".
    width, height : int
        Columns and rows that there are.
    """
    from pyfiglet import Figlet

    draw = Figlet(font="ansi_regular", width=10_000).renderText
    for scale in (3, 2, 1):
        for lines in ([text], text.split(" ", 1)):
            drawn = [_enlarged(draw(line), scale) for line in lines]
            rows = join("\n\n", drawn).splitlines()
            if len(rows) <= height and max(map(len, rows), default=0) <= width:
                return join("\n", rows)
    return text


def _enlarged(drawn: str, scale: int) -> str:
    rows = [row.rstrip() for row in drawn.splitlines() if row.strip()]
    wide = ["".join(cell * scale for cell in row) for row in rows]
    return join("\n", (row for row in wide for _ in range(scale)))
