"""Models that were made a moment ago, kept so that a slider's answer does not make them anew."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import TYPE_CHECKING

from rig.room import Outline

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.study.picture import Picture

MOST = 2


class Warm:
    """The last few pictures of floors, each by what it stands on."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[object, Picture] = OrderedDict()

    def picture(self, job: "Job", outline: Outline, confidence: float) -> "Picture":
        """Return the picture of a job's floor, made anew only where the job has changed.

        Raises
        ------
        CannotAnswer
            Too few or collinear shots, or set-ups that are not tied.
        """
        from rig.study.picture import picture_of

        key = (job.path, tuple(job.shots()), job.settings, outline, confidence)
        return self._made(key, lambda: picture_of(job, outline, confidence))

    def _made(self, key: object, make: "Callable[[], Picture]") -> "Picture":
        key = repr(key)
        with self._lock:
            if key not in self._kept:
                self._kept[key] = make()
                while len(self._kept) > MOST:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
            return self._kept[key]
