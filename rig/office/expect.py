"""The next job's bags and pace by what a crew's and a product's jobs took before."""

from dataclasses import replace
from typing import TYPE_CHECKING

from rig.office import books
from rig.pour.pace import HANDS_DOUBT
from rig.quantities.crew_pace import PaceHistory, Seen
from rig.quantities.expected import Expectation
from rig.quantities.history import Cell, History, sums_of

if TYPE_CHECKING:
    from rig.office.place import Place

_POURS = """SELECT crew, one.log_hands, one.log_hands_sd, one.log_mixing_sd FROM
    (SELECT crew, unnest(pours) AS one FROM job) WHERE one.log_hands IS NOT NULL"""
_POURED = "used_bags > 0 AND stated_bags > 0"


def expect(
    place: "Place", crew: str | None, product: str | None, temperature_c: float | None
) -> Expectation:
    """Tell the next job's bags as a factor on those that its plan states, and the hands' pace.

    Raises
    ------
    CannotAnswer
        Too few jobs were poured.
    """
    with books.opened(place) as connection:
        (mean_t,) = connection.execute(
            f"SELECT coalesce(avg(temperature_c), 0) FROM job WHERE {_POURED}"
        ).fetchone() or (0.0,)
        rows = connection.execute(
            f"""WITH one AS (
                SELECT crew, product, ln(used_bags / stated_bags) AS y,
                    coalesce(temperature_c - {float(mean_t)!r}, 0) AS t
                FROM job WHERE {_POURED})
            SELECT crew, product, count(*), sum(y), sum(y * y), sum(t), sum(t * y), sum(t * t)
            FROM one GROUP BY crew, product ORDER BY crew, product"""
        ).fetchall()
        pours = connection.execute(_POURS).fetchall()
    history = History(sums_of((Cell(*row) for row in rows), mean_t))
    found = history.expect(crew, product, temperature_c)
    seen = [Seen(*row) for row in pours]
    pace = PaceHistory(seen, HANDS_DOUBT).expect(crew) if seen else None
    return replace(found, as_of=books.as_of(place), pace=pace)
