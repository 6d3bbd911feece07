"""What is said of a floor as found: what its shots leave open, and which of them look wrong."""

from collections.abc import Sequence

from rig.units import Units
from rig.words import join, numeral, say, say_many, some


def some_of(labels: Sequence[str], most: int = 5) -> str:
    """Name the first few of many."""
    return some(labels, most)


def out_of_level(shots: int, range_mm: float, units: Units) -> str:
    """Say how uneven a floor is."""
    return say(
        "{shots}. The floor is {range} out of level.",
        shots=say_many("{count} shot", "{count} shots", shots),
        range=units.length(range_mm),
    )


_KINDS = {"floor": say("floor"), "finished": say("finished floor")}


def nothing_inside(kind: str, shots: int) -> str:
    """Say why there is nothing to model of a kind of shots."""
    if shots:
        return say(
            "All {kind} shots ({count}) lie outside the walls. Mend the walls (rig edit), or shoot "
            "the room.",
            kind=_KINDS.get(kind, kind),
            count=shots,
        )
    if kind == "finished":
        return say(
            "The job has no shots of the finished floor yet. Shoot it first: rig survey --kind "
            "finished"
        )
    return say("The job has no shots of the floor yet. Shoot it first: rig survey")


def outside_the_walls(
    kind: str, labels: Sequence[str], near_mm: float, used: bool, units: Units
) -> str:
    """Say which shots lie outside the walls, and whether they count."""
    near, labels_told = units.place(near_mm), some_of(labels)
    if used:
        return say_many(
            "{count} {kind} shot lies outside the walls or in an opening, by {near} at most, and "
            "is used all the same: {labels}. Are the walls right? (rig edit)",
            "{count} {kind} shots lie outside the walls or in an opening, by {near} at most, and "
            "are used all the same: {labels}. Are the walls right? (rig edit)",
            len(labels),
            kind=kind,
            near=near,
            labels=labels_told,
        )
    return say_many(
        "{count} {kind} shot lies more than {near} outside the walls or inside an opening, and is "
        "not used: {labels}. Are the walls right? (rig edit)",
        "{count} {kind} shots lie more than {near} outside the walls or inside an opening, and "
        "are not used: {labels}. Are the walls right? (rig edit)",
        len(labels),
        kind=kind,
        near=near,
        labels=labels_told,
    )


def floor_out_of_reach(area_m2: float, reach_mm: float, units: Units) -> str:
    """Say how much of the floor no shot tells of."""
    return say(
        "{area} of the floor lies more than {reach} from any shot, and what is told of it is a "
        "guess: lay the grid again (rig grid) and shoot what it asks for (rig survey).",
        area=units.area(area_m2),
        reach=units.place(reach_mm),
    )


def points_unshot(labels: Sequence[str]) -> str:
    """Say which grid points have no shot."""
    return say_many(
        "{count} grid point has no shot: {labels}.",
        "{count} grid points have no shot: {labels}.",
        len(labels),
        labels=some_of(labels),
    )


def unlike_its_neighbours(label: str, above_mm: float, units: Units) -> str:
    """Say that a shot stands off what its neighbours say."""
    message = (
        say(
            "{label} is {off} above what its neighbours say: shoot it again? (rig survey "
            "--label {label})"
        )
        if above_mm > 0
        else say(
            "{label} is {off} below what its neighbours say: shoot it again? (rig survey "
            "--label {label})"
        )
    )
    return say(message, label=label, off=units.length(abs(above_mm), step_mm=1.0))


def kinks_between_shots(labels: Sequence[str]) -> str:
    """Say that a floor is rougher than its model allows, around which shots if that is known."""
    if not labels:
        return say(
            "The floor kinks or steps between shots more than the model allows: the doubt told may "
            "be too small. Shoot closer."
        )
    return say(
        "The floor kinks or steps between shots more than the model allows: the doubt told may be "
        "too small. Shoot closer around {labels}.",
        labels=join(", ", labels),
    )


def place_off_the_floor(x_mm: float, y_mm: float, units: Units) -> str:
    """Say that a height is asked for where there is no floor."""
    return say(
        "The place {x}, {y} lies outside the floor: its height is a guess.",
        x=units.place(x_mm),
        y=units.place(y_mm),
    )


def height_at(x_mm: float, y_mm: float, z_mm: float, stderr_mm: float, units: Units) -> str:
    """Say how high the floor is at a place that was asked for."""
    return say(
        "At {x}, {y}: {below} below the line, ± {doubt}.",
        x=units.length(x_mm),
        y=units.length(y_mm),
        below=units.length(-z_mm),
        doubt=units.doubt(2.0 * stderr_mm),
    )


def below_the_line(z_mm: float, where: str, units: Units) -> str:
    """Say how high a place is and where it lies."""
    return say("{below} below the line, {where}", below=units.length(-z_mm), where=where)


def no_more_worth_it() -> str:
    """Say that no further shot pays."""
    return say("More shots are no longer worth the walk: none is expected to save 0.1 bags.")


def shots_worth_it(bags: float, doubt_mm: float, left_mm: float, units: Units) -> str:
    """Say what the shots that are suggested would bring together."""
    return say(
        "Shots worth the walk, expected to save {bags} bags together (doubt {now} now, {then} "
        "after):",
        bags=numeral(bags, ".1f"),
        now=units.doubt(doubt_mm),
        then=units.doubt(left_mm),
    )


def shot_worth_it(where: str, plane_mm: float, bags: float, units: Units) -> str:
    """Say what one more shot would bring."""
    return say(
        "{where}: lowers the plane by {lower}, {bags} bags",
        where=where,
        lower=units.doubt(plane_mm),
        bags=numeral(bags, ".1f"),
    )


def beside_the_grid() -> str:
    """Say how a place beside the grid is shot."""
    return say("(rig survey --label N1 --at X,Y shoots a place beside the grid)")


def humps_may_hide(places: int, hides_mm: float, bags: float, units: Units) -> str:
    """Say what the shots can't show, and what that costs."""
    from rig.surface.looked import HUMP_RADIUS_MM

    return say(
        "A hump {across} across and {high} high could hide between the shots, and would break the "
        "cover in {places}. That costs {bags} bags of safety now. Lay a straightedge there, and "
        "shoot what it finds:",
        across=units.place(2.0 * HUMP_RADIUS_MM),
        high=units.length(hides_mm),
        places=say_many("{count} place", "{count} places", places),
        bags=numeral(bags, ".1f"),
    )


def look_worth_it(where: str, hides_mm: float, bags: float, units: Units) -> str:
    """Say what may hide at a place between the shots."""
    return say(
        "{where}: {high} high, {bags} bags",
        where=where,
        high=units.length(hides_mm),
        bags=numeral(bags, ".2f"),
    )


def line_on_the_floor(middle_mm: float, units: Units) -> str:
    """Doubt readings by which the line stands on the floor."""
    return say(
        "By these readings the line stands {height} over the floor, which no laser does: were they "
        "in metres, or in feet? The --unit of a table covers places and readings alike.",
        height=units.length(middle_mm),
    )


def floor_steps(
    rise_mm: float, stderr_mm: float, one: str, other: str, within_mm: float, units: Units
) -> str:
    """Say that a floor steps, and where."""
    return say(
        "The shots speak for a step of {rise} (± {doubt}) in the floor, on a line from {one} to "
        "{other}, {within} more or less to either side: a cold joint, or the edge of an old pour? "
        "Lay a straightedge across it.",
        rise=units.length(rise_mm),
        doubt=units.doubt(2.0 * stderr_mm),
        one=one,
        other=other,
        within=units.place(within_mm),
    )


def few_shots(shots: int, area_m2: float, units: Units) -> str:
    """Say that shots are few for a floor."""
    return say(
        "{shots} are few for {area}: each stands for {each}, and what the floor does between them "
        "is guessed from a handful. Shoot a grid (rig grid) before you rely on it.",
        shots=say_many("{count} shot", "{count} shots", shots),
        area=units.area(area_m2),
        each=units.area(area_m2 / shots),
    )
