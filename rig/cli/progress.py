"""A line on the terminal while something takes more than a second; silent in scripts."""

import contextlib
import sys
import threading
import time
from collections.abc import Iterator
from typing import TextIO

from rig.language import numeral, put, shown

QUIET_S = 1.0
STEP_S = 0.5


@contextlib.contextmanager
def working(text: str, stream: TextIO | None = None) -> Iterator[None]:
    """Say what goes on, and for how long, from the first second on; take it away after.

    Goes to standard error, and only where that is a terminal.
    """
    out = stream or sys.stderr
    if not out.isatty():
        yield
        return
    done = threading.Event()

    def tell() -> None:
        begun = time.monotonic()
        if done.wait(QUIET_S):
            return
        while True:
            out.write(
                shown(
                    put(
                        "\r{text} … {begun} s ",
                        text=text,
                        begun=numeral(time.monotonic() - begun, ".0f"),
                    )
                )
            )
            out.flush()
            if done.wait(STEP_S):
                out.write("\r\033[K")
                out.flush()
                return

    thread = threading.Thread(target=tell, daemon=True)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()
