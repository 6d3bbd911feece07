"""What the next job's bags will be by the past, and the file that carries it to a plan."""

import json
import math
from dataclasses import dataclass, field
from pathlib import Path

from rig.errors import BadInput
from rig.record import OMITTED, Record, from_json
from rig.texts import read_text
from rig.words import say

FORMAT = "floor-rig history 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor(Record):
    """Bags used over bags stated: at even odds, and the central 95 %."""

    p50: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Jobs(Record):
    """How many jobs of this crew and of this product there are."""

    crew: int
    product: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread(Record):
    """Standard deviations of the log of the ratio."""

    crew: float
    product: float
    job: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PaceSpread(Record):
    """Standard deviations of the log of the pace."""

    crew: float
    day: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PaceExpected(Record):
    """What the hands' work takes in this crew's next pour, over the figures that plans go by.

    Attributes
    ----------
    p50, low, high : float
        At even odds, and the central 95 %.
    doubt : float
        Standard deviation of the log.
    pours, others : int
        Of this crew, and of all others.
    sd : PaceSpread
        Between crews, and from day to day of one.
    """

    p50: float
    low: float
    high: float
    doubt: float
    pours: int
    others: int
    sd: PaceSpread


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation(Record):
    """What the next job takes by the past, as `rig office expect --json` prints it.

    Attributes
    ----------
    factor : Factor
        What to multiply the bags with that the plan states at even odds.
    jobs : Jobs
    sd : Spread
        Between crews, between products, from job to job.
    doubt : Spread
        What is still not known of this crew and of this product; `job` as in `sd`.
    crew, product : str or None
    temperature_c : float or None
    as_of : str or None
        Of the books.
    pace : PaceExpected or None
        Where pours tell it; files of an older version have none.
    format : str
    """

    factor: Factor
    jobs: Jobs
    sd: Spread
    doubt: Spread
    crew: str | None = None
    product: str | None = None
    temperature_c: float | None = None
    as_of: str | None = None
    pace: PaceExpected | None = field(default=None, metadata=OMITTED)
    format: str = FORMAT

    @property
    def log_sd(self) -> float:
        """Standard deviation of the log of the next job's factor."""
        return math.hypot(self.doubt.crew, self.doubt.product, self.doubt.job)


def read_history(path: Path) -> Expectation:
    """Read what `rig office expect --out` wrote.

    Raises
    ------
    BadInput
        It is no such file.
    """
    text = read_text(path, say("a history is what rig office expect --out wrote"))
    try:
        told = json.loads(text)
        if not isinstance(told, dict) or told.get("format") != FORMAT:
            raise ValueError(path)
        found = from_json(Expectation, told)
    except (ValueError, RecursionError):
        raise BadInput(
            say(
                "{path} is no history: write one with rig office expect --out {name}",
                path=path,
                name=path.name,
            )
        ) from None
    numbers = (
        *(found.factor.p50, found.factor.low, found.factor.high),
        *(1.0 + one for one in (found.doubt.crew, found.doubt.product, found.doubt.job)),
    )
    pace = found.pace
    if pace is not None:
        numbers += (pace.p50, pace.low, pace.high, 1.0 + pace.doubt)
    if not all(0.0 < one < 100.0 for one in numbers):
        raise BadInput(say("{path} has a figure that cannot be; write it anew.", path=path))
    return found
