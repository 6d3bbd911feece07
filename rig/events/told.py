"""What every live event is."""

from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal

from rig.record import OMITTED, Record

Move = Literal["raise", "lower", "hold"]
RodState = Literal["no_beam", "settling", "swinging", "moving", "unsteady", "still"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told(Record):
    """Something that happened; `event` is its name on the wire, `rod` whose it is of several."""

    event: ClassVar[str] = ""
    rod: str | None = field(default=None, metadata=OMITTED)

    def as_json(self) -> dict[str, Any]:
        """Return `{"event": name, …}`, ready for JSON."""
        return {"event": self.event, **super(Told, self).as_json()}
