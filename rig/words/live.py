"""What a person is told of each live event: one sentence for the eye, its words for the ear.

Terminal, page and voice take it from here, so that they say the same.
"""

from typing import Literal, NamedTuple, assert_never

from rig.events import (
    Armed,
    Ask,
    AskMarker,
    AskPour,
    AskTyped,
    BoxClock,
    Check,
    Checked,
    Claim,
    Doubtful,
    Dragged,
    Drifted,
    Dry,
    Edge,
    Edges,
    Estimate,
    Event,
    FrontAt,
    Gap,
    Heard,
    Jolted,
    LineChecked,
    LinkBack,
    LinkEvent,
    LinkLost,
    MarkerSet,
    Next,
    NextBatch,
    NextMarker,
    Noticed,
    Picture,
    PourDone,
    Poured,
    PourEvent,
    Prepour,
    Prompt,
    PutBack,
    Rest,
    Resumed,
    RodsEvent,
    Serving,
    SetAside,
    SetDone,
    SettingEvent,
    SetUp,
    ShotTaken,
    Skipped,
    Slide,
    Standing,
    SurveyDone,
    SurveyEvent,
    Ticked,
    Trouble,
    Undone,
    Unset,
    Watched,
)
from rig.units import Units
from rig.words import join, say, say_many
from rig.words.sound import number_aloud, sounding, spoken

Level = Literal["head", "say", "warn"]
Tone = Literal["", "taken", "set", "next", "warn", "raise", "lower", "hold"]


class Said(NamedTuple):
    """What is told of an event.

    `text` is for the eye and `ear` for the ear, each empty where nobody need take note; a `head`
    begins something new, a `warn` is to be heeded. `tone` is the sound that goes with it.
    """

    text: str = ""
    ear: str = ""
    level: Level = "say"
    tone: Tone = ""


PICTURE_DOUBT = 0.25
"""Of the mean cover so far, what the high point may still rise before figures are shown."""


def said(event: Event, units: Units, by_tape: bool = False) -> Said:
    """Return what a person is told of an event, lengths in the job's units.

    Parameters
    ----------
    event : Event
    units : Units
    by_tape : bool
        Whether readings are typed, so that nobody holds a rod.
    """
    if by_tape and isinstance(event, Armed):
        return Said(say("Read the tape at {label}", label=event.label))
    if isinstance(event, LinkEvent):
        return _of_link(event, units)
    if isinstance(event, SurveyEvent):
        return _of_survey(event, units)
    if isinstance(event, SettingEvent):
        return _of_setting(event, units)
    if isinstance(event, PourEvent):
        return _of_pour(event)
    if isinstance(event, RodsEvent):
        return _of_rods(event)
    assert_never(event)


def stand(event: Standing) -> str:
    """Say in a word or two how the rod stands."""
    match event.state:
        case "no_beam":
            return say("no beam")
        case "moving":
            return say("moving")
        case _ if not event.armed:
            return say("walk on")
        case "settling":
            return say("settling")
        case "swinging":
            return say("swing {n} of {all}", n=event.swings, all=event.swings_of)
        case "unsteady":
            return say("unsteady")
        case "still":
            return say("still")
    assert_never(event.state)


def _of_link(event: LinkEvent, units: Units) -> Said:
    match event:
        case Heard() | Standing() | Serving():
            return Said()
        case LinkLost():
            text = say("rod lost ({reason}): trying again, no shot is lost", reason=event.reason)
            return Said(text, say("rod lost"), "warn", "warn")
        case LinkBack():
            return Said(say("rod back after {gap:.1f} s", gap=event.gap_s), say("rod back"))
        case Noticed():
            return Said(event.text, sounding(event.text), "warn")
        case Doubtful():
            return Said(event.text, sounding(event.text), "warn", "warn")
        case Picture():
            open_mm = event.high.upper_mm - event.high.z_mm
            if open_mm > PICTURE_DOUBT * event.cover_mm.mean:
                text = say(
                    "so far: too few shots to say what it takes; what is not shot yet may stand "
                    "{doubt} higher",
                    doubt=units.doubt(open_mm),
                )
                return Said(text)
            text = say(
                "so far: high point {height} below the line, a level floor takes {volume}",
                height=units.length(-event.high.z_mm),
                volume=units.volume(event.volume_l),
            )
            return Said(text)
    assert_never(event)


def _of_survey(event: SurveyEvent, units: Units) -> Said:
    match event:
        case Next():
            return _next(event.text)
        case Armed():
            return Said(say("{label} ready: stand the rod and hold still", label=event.label))
        case ShotTaken():
            text = say(
                "{label} taken: {reading} ± {doubt}",
                label=event.label,
                reading=units.length(event.reading_mm),
                doubt=units.doubt(2 * event.stderr_mm),
            )
            return Said(text, sounding(say("{label} taken", label=event.label)), tone="taken")
        case Skipped():
            return _aloud(say("{label} skipped", label=event.label))
        case Undone():
            return _aloud(say("{label} undone", label=event.label))
        case Ask() | AskTyped() | Trouble() | SetUp() | SetAside():
            return Said(event.text, sounding(event.text), "warn", "warn")
        case Check():
            return _check(event, units)
        case LineChecked():
            return Said(event.text, sounding(event.text), "say" if event.ok else "warn")
        case Drifted() | Jolted():  # what was found is spoken with the check
            return Said(event.text, "", "warn", "warn")
        case PutBack():
            return _aloud(event.text)
        case Watched() | Slide() | Dragged():
            return _as_it_is(event)
        case SurveyDone():
            if event.skipped:
                text = say("Done; skipped: {labels}.", labels=join(", ", event.skipped))
                return Said(text, say("done"), "head")
            return Said(say("Done."), say("done"), "head")
    assert_never(event)


def _as_it_is(event: Watched | Slide | Dragged) -> Said:
    if isinstance(event, Slide):
        return Said(event.text, sounding(event.text), "head", "taken")
    if isinstance(event, Dragged):
        return Said(event.text, sounding(say("slide taken")), tone="taken")
    return Said(event.text)


def _check(event: Check, units: Units) -> Said:
    text = say(
        "Check the line on {label}: {where} (expect {expected})",
        label=event.label,
        where=event.text,
        expected=units.length(event.expected_mm),
    )
    ear = say("check the line on {label}: {where}", label=event.label, where=event.text)
    return Said(text, sounding(ear), "head", "next")


def _of_setting(event: SettingEvent, units: Units) -> Said:
    match event:
        case Checked():
            return Said(event.text, sounding(event.text), "say" if event.ok else "warn")
        case NextMarker():
            return _next(say("{label}: {where}", label=event.marker, where=event.text))
        case Prompt():
            text = say("{label}: {prompt}", label=event.marker, prompt=event.text)
            return Said(text, spoken(event.text), tone=event.move)
        case AskMarker():
            return Said(event.text, sounding(event.text), "warn", "warn")
        case MarkerSet():
            off = units.off(event.residual_mm)
            if event.residual_mm > 0:
                text = say("{label} SET ({off} high)", label=event.marker, off=off)
            else:
                text = say("{label} SET ({off} low)", label=event.marker, off=off)
            return Said(text, event.text, tone="set")
        case Unset():
            return _aloud(say("{label} no longer set", label=event.marker))
        case SetDone():
            if event.left:
                text = say("Done; not set: {labels}.", labels=join(", ", event.left))
                return Said(text, say("done"), "head")
            return Said(say("Done."), say("done"), "head")
    assert_never(event)


def _of_pour(event: PourEvent) -> Said:
    match event:
        case NextBatch():
            return _next(event.text)
        case Poured():
            ear = say_many(
                "batch {number} poured, {left} bag left",
                "batch {number} poured, {left} bags left",
                event.bags_left,
                number=number_aloud(event.n),
                left=number_aloud(event.bags_left),
            )
            return Said(event.text, ear, tone="taken")
        case FrontAt():
            return _aloud(event.text)
        case Estimate():
            return Said(event.text, sounding(event.text) if event.short_bags else "")
        case Edges() | Ticked() | Resumed():
            return Said(event.text)
        case Prepour():
            return Said(event.text, "", "warn")
        case Edge() | Dry() | AskPour():
            return Said(event.text, sounding(event.text), "warn", "warn")
        case PourDone():
            return Said(event.text, say("done"), "head")
    assert_never(event)


def _of_rods(event: RodsEvent) -> Said:
    match event:
        case Claim() | BoxClock():
            return Said()
        case Gap():
            text = say_many(
                "{number} message of the rod is missing: hold still again",
                "{number} messages of the rod are missing: hold still again",
                event.n,
                number=event.n,
            )
            return Said(text, "", "warn")
        case Rest():
            text = say("Nothing is left for this rod: rest until a point comes free")
            return Said(text, sounding(say("rest, nothing is left for this rod")), "head", "next")
    assert_never(event)


def _next(place: str) -> Said:
    """Name where to go, said once, whichever machine told it."""
    return Said(
        say("Next {place}", place=place),
        sounding(say("next, {place}", place=place)),
        "head",
        "next",
    )


def _aloud(text: str) -> Said:
    return Said(text, sounding(text))
