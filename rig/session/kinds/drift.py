"""The watch of a standing rod: the live half of `rig check drift`."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from rig.language import say
from rig.record import OMITTED, Record
from rig.session.check_log import CheckLog
from rig.session.kind import Beginning, Kind
from rig.survey.laser.watch import Watch


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckSettings(Record):
    """Stillness as a check was told it, and how long a rod is watched."""

    dwell: float
    walk: float
    still: float
    seconds: float | None = field(default=None, metadata=OMITTED)


class Drift(Kind[CheckSettings]):
    """A rod that nothing moves."""

    name = say("check drift")
    settings = CheckSettings
    title = say("Drift")
    acts = ()

    def machine(self, begun: Beginning[CheckSettings]) -> Watch:
        """Return the watch."""
        seconds = begun.settings.seconds
        return Watch(math.inf if seconds is None else seconds, begun.units)

    def log(
        self,
        begun: Beginning[CheckSettings],
        session: int | Callable[[], int],
        most_bytes: int | None = None,
    ) -> CheckLog:
        """Keep what the rod said."""
        return CheckLog(begun.job, session)


KIND = Drift()
