"""The steps of a job by name, and how each stands."""

from collections.abc import Mapping, Sequence

from rig.words import say, say_many

TITLES: Mapping[str, str] = {
    "room": say("Room"),
    "product": say("Product and covering"),
    "grid": say("Grid"),
    "survey": say("Survey"),
    "floor": say("Floor"),
    "plan": say("Plan"),
    "markers": say("Markers"),
    "set": say("Set the markers"),
    "pour": say("Pour plan"),
    "log": say("Pour"),
    "proof": say("Proof"),
    "report": say("Report and files"),
    "rooms": say("Rooms"),
    "shot": say("Shots of a point"),
    "quote": say("Quote"),
    "look": say("Looks between the shots"),
    "patch": say("Patches instead of a pour"),
    "laser": say("Check the laser"),
    "site": say("Site log and photos"),
    "undo": say("Undo"),
}


def room() -> str:
    """Say that there is a room."""
    return say("there")


def product(known: bool) -> str:
    """Say whether the compound is known."""
    return say("known") if known else say("what a bag makes and the minimum cover are missing")


def grid(points: int) -> str:
    """Say how many points there are to shoot."""
    return (
        say_many("{count} point", "{count} points", points) if points else say("not laid out yet")
    )


def shot(done: int, of: int, benchmarks: Sequence[str]) -> str:
    """Say how much is shot."""
    if not of:
        return say("no grid yet")
    told = say("{done} of {of} shot", done=str(done), of=str(of))
    return told if benchmarks else say("{told}, no benchmark", told=told)


def floor(shots: int) -> str:
    """Say what is known of the floor."""
    return say("from {shots}", shots=say_many("{count} shot", "{count} shots", shots))


def plan(there: bool, stale: Sequence[str]) -> str:
    """Say whether there is a plan and whether it holds."""
    if not there:
        return say("not made yet")
    return say("stale: shots have changed since") if stale else say("made")


def markers(count: int) -> str:
    """Say how many markers are laid out."""
    return (
        say_many("{count} marker", "{count} markers", count) if count else say("not laid out yet")
    )


def are_set(done: int, of: int) -> str:
    """Say how many markers are set."""
    return say("{done} of {of} set", done=str(done), of=str(of)) if of else say("no markers yet")


def pour(there: bool) -> str:
    """Say whether the pour is planned."""
    return say("made") if there else say("not made yet")


def log(done: bool) -> str:
    """Say whether it is poured."""
    return say("poured") if done else say("not poured yet")


def of_rooms(done: int, of: int) -> str:
    """Say in how many rooms a step is done."""
    return say("done in {done} of {of} rooms", done=str(done), of=str(of))


def proof(done: int, of: int) -> str:
    """Say how much of the finished floor is shot."""
    return say("{done} of {of} shot when cured", done=str(done), of=str(of))


def report() -> str:
    """Say that a report can be had."""
    return say("can be made at any time")


def stands(key: str, text: str) -> str:
    """Say in one line where a job stands."""
    return say("{title}: {text}", title=TITLES[key], text=text)
