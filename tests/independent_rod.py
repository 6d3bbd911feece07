"""A rod that speaks `sentence` on a pseudo-terminal, written from the wire format alone.

Standard library only, and nothing shared with the product or its simulators, so that a mistake in
both of them can't hide here.
"""

import os
import threading
import time
import tty
from typing import Any


class IndependentRod:
    """Plays a script of (seconds, millimetres or None for no beam) at a fixed rate."""

    def __init__(self, script: list[tuple[float, float | None]], rate_hz: float = 50.0) -> None:
        self._script, self._period = list(script), 1.0 / rate_hz
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._seq = 65530  # wraps soon
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._play, daemon=True)

    def __enter__(self) -> "IndependentRod":
        self._thread.start()
        return self

    def __exit__(self, *_: Any) -> None:
        self._stop.set()
        self._thread.join()
        os.close(self._master)
        os.close(self._slave)

    def _play(self) -> None:
        due = time.monotonic()
        wobble = [0.0, 0.1, -0.1, 0.0, 0.1, 0.0, -0.1]
        for seconds, height in self._script:
            for n in range(round(seconds / self._period)):
                if self._stop.is_set():
                    return
                if height is None:
                    self._send("", "N")
                else:
                    self._send(f"{height + wobble[n % 7]:.1f}", "V")
                due += self._period
                time.sleep(max(0.0, due - time.monotonic()))
        while not self._stop.is_set():  # stands where it stopped
            self._send("", "N")
            time.sleep(self._period)

    def _send(self, value: str, status: str) -> None:
        body = f"U0HGT,{self._seq},{value},mm,{status}"
        check = 0
        for byte in body.encode("ascii"):
            check ^= byte
        try:
            os.write(self._master, f"${body}*{check:02X}\r\n".encode("ascii"))
        except BlockingIOError:
            return  # nobody reads: a serial port would drop it too
        self._seq = (self._seq + 1) % 65536
