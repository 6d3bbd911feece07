"""What is said of acts that can be taken back, and of what came of that."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from rig.language import changed
from rig.units import Units
from rig.words import join, say, say_many, site_log
from rig.words.drag import dragged

if TYPE_CHECKING:
    from rig.job.rows import Shot, StoredEvent

NOTHING = say("Nothing was done yet that could be taken back.")
_MOST = 6
_EDITED = {
    "walls": say("walls"),
    "openings": say("openings"),
    "doors": say("doors"),
    "units": say("units"),
    "denominator": say("finest fraction"),
    "covering": say("covering"),
    "min_cover_mm": say("minimum cover"),
    "max_cover_mm": say("most in one lift"),
    "bag_yield_l": say("what a bag makes"),
    "bag_mass_kg": say("mass of a bag"),
    "bag_water_l": say("water for a bag"),
    "waste_share": say("waste"),
    "typed_unit": say("unit of what is typed"),
    "laser_places": say("places of the laser"),
    "laser_correction": say("correction of the laser"),
    "laser_tilt": say("slope of the laser's line"),
    "product": say("product"),
    "crew": say("crew"),
    "laser_name": say("name of the laser"),
    "floor": say("kind of floor"),
    "joists": say("joists"),
    "joints_mm": say("joints of the slab"),
    "wall_names": say("names of walls"),
    "room_name": say("name of the room"),
    "rooms": say("rooms"),
    "language": say("language"),
}


def shot(one: "Shot", units: Units) -> str:
    """Say that a point was shot."""
    kinds = {
        "floor": say("{label} shot: {reading}"),
        "finished": say("{label} shot on the finished floor: {reading}"),
        "benchmark": say("benchmark {label} read from set-up {setup}: {reading}"),
        "threshold": say("threshold {label} shot: {reading}"),
    }
    reading = units.length(one.reading_mm)
    return say(kinds[one.kind], label=one.point, setup=one.setup, reading=reading)


def marker_set(label: str) -> str:
    """Say that a marker was set."""
    return say("marker {label} set", label=label)


def batch(n: int) -> str:
    """Say that a batch was poured."""
    return say("batch {n} poured", n=n)


def event(events: "Sequence[StoredEvent]", units: Units) -> str:
    """Say what one change was, by its events."""
    kind, data = events[-1].kind, events[-1].data
    match kind:
        case "edit":
            keys = [key for one in events for key in one.data["new"]]
            return say("changed: {what}", what=some([_in_words(key) for key in keys]))
        case "grid":
            return say(
                "grid of {points} laid out",
                points=say_many("{count} point", "{count} points", len(data["points"])),
            )
        case "relabel":
            moves = [
                say("{from_} to {to}", from_=move.old, to=move.label) for move in events[-1].moves
            ]
            return say("relabelled: {moves}", moves=some(moves))
        case "import":
            return say(
                "table of {shots} imported",
                shots=say_many("{count} shot", "{count} shots", data["shots"]),
            )
        case "jolt" | "drift" | "setup":
            return _of_line(kind, data, units)
        case "set_aside":
            return say("shots set aside: {labels}", labels=some(data["labels"]))
        case "skipped":
            return say("{label} skipped", label=data["label"])
        case "site" | "look" | "drag":
            return _of_site(kind, data, units)
    raise ValueError(kind)


def _of_line(kind: str, data: Mapping[str, Any], units: Units) -> str:
    """Say what a sight of the line, or the laser set up again, changed."""
    match kind:
        case "jolt":
            return say(
                "jolt of {change} at {label}, set aside: {labels}",
                change=units.length(abs(data["change_mm"])),
                label=data["label"],
                labels=some(data["labels"]) or say("nothing"),
            )
        case "drift":
            return say(
                "drift of {change} at {label}, spread over {shots}",
                change=units.length(abs(data["change_mm"])),
                label=data["label"],
                shots=say_many("{count} shot", "{count} shots", len(data.get("shots", ()))),
            )
        case "setup":
            return say(
                "laser set up again as {name}, tied at {label}",
                name=data["name"],
                label=data["label"],
            )
    raise ValueError(kind)


def _of_site(kind: str, data: Mapping[str, Any], units: Units) -> str:
    """Say what the site's log, a look or a slide between the shots took."""
    match kind:
        case "site":
            value = data.get("value")
            told = "" if value is None else site_log.value(data["what"], float(value), units)
            named = site_log.named(data["what"])
            return say(
                "logged: {what}", what=join(" ", filter(None, (named, told, data.get("text"))))
            )
        case "look":
            return say(
                "straightedge laid from {start} to {end}",
                start=join(" ", (units.place(mm) for mm in data["from"])),
                end=join(" ", (units.place(mm) for mm in data["to"])),
            )
        case "drag":
            return dragged(data["label"], data["to"])
    raise ValueError(kind)


def _in_words(key: str) -> str:
    if key in _EDITED:
        return _EDITED[key]
    for unit in ("_mm", "_kg", "_l"):
        key = key.removesuffix(unit)
    return key.replace("_", " ")


def some(things: Sequence[str]) -> str:
    """Name the first of several things."""
    more = len(things) - _MOST
    named = join(", ", things[:_MOST])
    return say("{named} and {more} more", named=named, more=more) if more > 0 else named


def no_act(wanted: str) -> str:
    """Say that an id is none, or no longer."""
    return say("There is no act {id} that can be taken back; see rig undo --list.", id=wanted)


def is_undone(what: str) -> str:
    """Say what was taken back."""
    return say("Taken back: {what}.", what=what)


def changed_since(what: str, by: str) -> str:
    """Say that something later stands on an act."""
    act = changed(what, lambda told: told[:1].upper() + told[1:])
    return say("{what} cannot be taken back: {by}. Take that back first.", what=act, by=by)


def shot_since(label: str) -> str:
    """Say that there is a later shot of a label."""
    return say("{label} has another shot since", label=label)


def in_use_again(labels: Sequence[str], kept: Sequence[str]) -> str:
    """Say which shots count again, and which do not since they were shot again."""
    text = say("In use again: {labels}.", labels=join(", ", labels) or say("none"))
    if kept:
        text += " " + say("Shot again since, and left so: {labels}.", labels=join(", ", kept))
    return text


def as_of(setup: str, shots: int) -> str:
    """Say that shots count as of an earlier set-up."""
    return say(
        "The line counts as that of set-up {setup} again, with {shots} since.",
        setup=setup,
        shots=say_many("{count} shot", "{count} shots", shots),
    )


def read_as(shots: int) -> str:
    """Say that later shots were put back to what they read."""
    return say(
        "{shots} told since are put back to what they read.",
        shots=say_many("{count} shot", "{count} shots", shots),
    )


def asked_again(label: str) -> str:
    """Say that a skipped place is asked for."""
    return say("{label} is asked for again.", label=label)


def pour_goes_by_its_own(last: str) -> str:
    """Say that a pour takes back its entries one after the other."""
    return say("the pour's last entry is {last}", last=last)


POUR_ENDED = say("the pour has ended")
OTHER_GRID = say("the grid was laid out again since")
OTHER_EDIT = say("it was changed again since")
OTHER_SETUP = say("the laser was set up again since")
OTHER_LINE = say("the line was found elsewhere again since")
