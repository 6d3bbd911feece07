"""The one thread in which a session's log is written, so that no reading waits for a disk.

What came in and what a machine made of it reach the log in their order. What comes while the disk
is busy is kept after that, all with one commit.
"""

import asyncio
import contextlib
import queue
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from rig.events import Event
from rig.session.items import Item, Log

REST_SHARE = 4.0
"""After a flush that took long the disk is left to shots for so many times as long."""


@dataclass(frozen=True)
class _Came:
    """What came of the item before, or of time going by."""

    events: Sequence[Event]


@dataclass
class _Batch:
    """What is handed over at once."""

    entries: list[Item | _Came] = field(default_factory=list)
    begins: bool = False
    flushes: bool = False


class Writer:
    """Keeps what it is given in a log, in a thread of its own.

    To be made and used in an event loop, save what its thread does.

    Parameters
    ----------
    log : Log
        Nobody else touches it, or the job behind it, before `close` has returned.
    wake : callable
        Called in the loop whenever more is kept, or could not be.

    Attributes
    ----------
    given, kept : int
        How many batches were handed over, and how many of them are kept.
    took_s : float
        How long the last ones took.
    """

    def __init__(self, log: Log, wake: Callable[[], None]) -> None:
        self._log, self._wake = log, wake
        self._open = _Batch()
        self._queue: queue.SimpleQueue[_Batch | None] = queue.SimpleQueue()
        self._loop = asyncio.get_running_loop()
        self._thread: threading.Thread | None = None
        self._failed: BaseException | None = None
        self._at_it_since_s: float | None = None
        self._rests_until_s = 0.0
        self._entries_given = self._entries_kept = 0
        self.given = self.kept = 0
        self.took_s = 0.0
        self._moved = asyncio.Event()

    @property
    def taken(self) -> int:
        """How many entries were taken since the last were handed over."""
        return len(self._open.entries)

    @property
    def waiting(self) -> int:
        """How many entries are not kept yet."""
        return self._entries_given - self._entries_kept

    @property
    def takes_s(self) -> float:
        """For how long it has been at the disk, or was the last time."""
        since_s = self._at_it_since_s
        return self.took_s if since_s is None else time.monotonic() - since_s

    @property
    def may_flush(self) -> bool:
        """Whether the disk is free for what nobody waits for."""
        return self.kept == self.given and time.monotonic() > self._rests_until_s

    def item(self, item: Item) -> None:
        """Take an item; it is kept with the next batch."""
        self._entries_given += 1
        self._open.entries.append(item)

    def keep(self, item: Item | None, events: Sequence[Event]) -> bool:
        """Take what came of an item; return whether that is to be on the disk before it is told."""
        if events or item is not None:
            self._entries_given += 1
            self._open.entries.append(_Came(events))
        holds = self._log.holds(item, events)
        if holds:
            self.hand_over()
        return holds

    def hand_over(self, *, begins: bool = False, flushes: bool = False) -> None:
        """Have all that was taken kept now."""
        batch, self._open = self._open, _Batch()
        batch.begins, batch.flushes = begins, flushes
        self.given += 1
        self._queue.put(batch)
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="writer", daemon=True)
            self._thread.start()

    async def settled(self) -> None:
        """Wait until all that was handed over is kept.

        Raises
        ------
        RigError
            What could not be kept, and why.
        """
        while self.kept < self.given:
            self.look()
            self._moved.clear()
            await self._moved.wait()
        self.look()

    def look(self) -> None:
        """Raise what the log raised, if it did."""
        if self._failed is not None:
            raise self._failed

    async def close(self) -> None:
        """Keep what is left, and end; where something failed before, try to and say no more."""
        failed = self._failed is not None
        self.hand_over(flushes=True)
        self._queue.put(None)
        try:
            while self._thread is not None and self._thread.is_alive() and self.kept < self.given:
                self._moved.clear()
                await self._moved.wait()
        finally:
            if self._thread is not None:
                self._thread.join()
        if not failed:
            self.look()

    def _tell(self) -> None:
        self._moved.set()
        self._wake()

    # --- in the thread ----------------------------------------------------------------------

    def _work(self) -> None:
        going = True
        while going:
            got = [self._queue.get()]
            while not self._queue.empty():
                got.append(self._queue.get())
            going = None not in got
            self._at_it_since_s = time.monotonic()
            batches = [batch for batch in got if batch is not None]
            try:
                self._keep(batches)
            except BaseException as error:
                self._failed = self._failed or error
            self.took_s = time.monotonic() - self._at_it_since_s
            self._at_it_since_s = None
            self._rests_until_s = time.monotonic() + REST_SHARE * self.took_s
            self._entries_kept += sum(len(batch.entries) for batch in batches)
            self.kept += len(batches)
            with contextlib.suppress(RuntimeError):  # the loop ended meanwhile
                self._loop.call_soon_threadsafe(self._tell)

    def _keep(self, batches: Sequence[_Batch]) -> None:
        log = self._log
        if self._failed is None:
            with log.together() if len(batches) > 1 else contextlib.nullcontext():
                for batch in batches:
                    if batch.begins:
                        log.begin()
                    for entry in batch.entries:
                        if isinstance(entry, _Came):
                            log.keep(*entry.events)
                        else:
                            log.item(entry)
        if any(batch.flushes for batch in batches):
            log.flush()
