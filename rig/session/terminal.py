"""What a live session shows: JSON lines, plain lines, or one big line readable at two metres."""

import json
import sys
import time
from collections.abc import Callable
from typing import Any

from rig.guidance.phrases import done_text
from rig.session.beam import LINK_LOST, Beam
from rig.units import counted, format_amount, format_doubt, format_length, format_off, format_volume

CONTEXT_ROWS = 5  # what stands around the big line
SETTLED = ("shot", "set")


def json_lines(told: dict[str, Any]) -> None:
    """Print one event as one JSON object on one line, at once."""
    sys.stdout.write(json.dumps(told, allow_nan=False) + "\n")
    sys.stdout.flush()


def line_of(told: dict[str, Any], units: str, denominator: int) -> str | None:
    """One event as one plain line, or None where a person need not hear of it."""
    match told["event"]:
        case "next":
            return f"Next {_place(told)}"
        case "armed":
            return f"  {told['label']} ready: stand the rod and hold still"
        case "shot":
            reading = format_length(told["reading_mm"], units, denominator)
            doubt = f"± {format_doubt(2 * told['stderr_mm'], units, denominator)}"
            return f"  {told['label']} taken: {reading} ({doubt}, {counted(told['n'], 'reading')})"
        case "doubtful":
            return f"! {told['text']}"
        case "picture":
            high = format_length(-told["high"]["z_mm"], units, denominator)
            volume = format_volume(told["volume_l"], units)
            return f"  so far: high point {high} below the line, level plane takes {volume}"
        case "skipped":
            return f"  {told['label']} skipped"
        case "undone":
            return f"  {told['label']} undone"
        case "unset":
            return f"  {told['marker']} no longer set"
        case "prompt":
            return f"  {told['marker']}: {told['text']}"
        case "set":
            off = format_off(told["residual_mm"], units, denominator)
            way = "high" if told["residual_mm"] > 0 else "low"
            return f"  {told['marker']} SET ({off} {way})"
        case "check":
            expected = format_length(told["expected_mm"], units, denominator)
            return f"Check the line on {told['label']}: {told['text']} (expect {expected})"
        case "checked":
            return f"  {told['text']}"
        case "lost":
            return f"  rod lost ({told['reason']}): trying again, no shot is lost"
        case "back":
            return f"  rod back after {told['gap_s']:.1f} s"
        case "ask" if "say y" not in told["text"]:
            return f"  ! {told['text']} (y if so)"
        case "ask" | "trouble" | "notice" | "drift" | "jolt":
            return f"  ! {told['text']}"
        case "batch" | "front" | "estimate" | "edges" | "ticked" | "resumed" | "prepour":
            return f"  {told['text']}"
        case "edge" | "dry":
            return f"  ! {told['text']}"
        case "done" if "text" in told:
            return str(told["text"])
        case "done":
            return done_text(told)
    return None


def _place(told: dict[str, Any]) -> str:
    """Say label and place once, whichever machine told it."""
    text: str = told["text"]
    return f"{told['marker']}: {text}" if "marker" in told else text


def plain_lines(units: str, denominator: int, write: Callable[[str], None]) -> Any:
    """Return a sink that prints a line for each event that a person needs, none twice running."""
    last: list[str] = [""]

    def sink(told: dict[str, Any]) -> None:
        line = line_of(told, units, denominator)
        if line is not None and line != last[0]:
            write(line)
            last[0] = line

    return sink


class BigScreen:
    """One big line in the terminal, updated in place, with a smaller line of context under it.

    The word and the amount are drawn in the largest letters that the terminal holds. A bell rings
    twice for a set marker, once for a shot: after the fact is on disk.
    """

    def __init__(self, units: str, denominator: int, keys: str) -> None:
        from rich.console import Console
        from rich.live import Live

        self._units, self._denominator, self._keys = units, denominator, keys
        self._console = Console()
        self._live = Live(console=self._console, auto_refresh=False, transient=False)
        self._big, self._small, self._note = "", "", ""
        self._beam, self._stale = Beam(), ""
        self._prompting = False  # the big line says what the latest reading says
        self._pouring = False  # no rod's reading stands behind the big line

    def __enter__(self) -> "BigScreen":
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._live.stop()

    def __call__(self, told: dict[str, Any]) -> None:
        """Show one event."""
        units, denominator = self._units, self._denominator
        self._beam.hear(told, time.monotonic())
        match told["event"]:
            case "reading":
                self.tick()
                return
            case "prompt":
                self._big = told["text"]
                self._small = f"{told['marker']}"
            case "next":
                label = told.get("label") or told.get("marker")
                self._big = f"go to {label}" if label else f"batch {told['n']}"
                self._small = _place(told)
            case "armed":
                self._big, self._small = told["label"], f"hold still · {told['text']}"
            case "check":
                expected = format_amount(told["expected_mm"], units, denominator)
                self._big = f"check {told['label']}"
                self._small = f"{told['text']} · expect {expected}"
            case "shot" | "set":
                self._big = f"{told.get('label') or told.get('marker')} {told['event']}"
            case "edges":
                self._big = f"edge {max(0.0, told['left_s']) / 60:.0f} min left"
            case "done":
                self._big, self._small = "done", ""
        self._pouring |= told["event"] in ("batch", "edges") or {"n", "strip"} <= told.keys()
        if told["event"] in ("prompt", "next", "armed", "check", "shot", "set", "done"):
            self._prompting = told["event"] == "prompt"
        if told["event"] != "prompt":
            self._take_back()
        self._stale = self._beam.state(time.monotonic())
        said_larger = told["event"] in ("prompt", "next", "armed", "check")
        # In a pour the edges and what comes next are shown above; they must not wipe a warning off.
        quiet = told["event"] == "edges" or (told["event"] == "next" and "n" in told)
        warned = told["event"] == "picture" and self._note.startswith("!")
        if not said_larger and not warned and not quiet:
            self._note = line_of(told, units, denominator) or self._note
        self._draw()
        if told["event"] in SETTLED or told["event"] == "edge":
            self._console.bell()
            if told["event"] == "set":
                self._console.bell()

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
        if not self._stale or self._pouring:
            return self._big, self._small
        if self._prompting or self._stale == LINK_LOST:
            return self._stale, self._small
        return self._big, f"{self._small} · {self._stale}"

    def _draw(self) -> None:
        from rich.console import Group
        from rich.text import Text

        width, height = self._console.size
        big, small = self.shown
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
            rows = "\n\n".join(drawn).splitlines()
            if len(rows) <= height and max(map(len, rows), default=0) <= width:
                return "\n".join(rows)
    return text


def _enlarged(drawn: str, scale: int) -> str:
    rows = [row.rstrip() for row in drawn.splitlines() if row.strip()]
    wide = ["".join(cell * scale for cell in row) for row in rows]
    return "\n".join(row for row in wide for _ in range(scale))
