"""Every live event: what machines decide and screens are told, small frozen records.

Lengths are millimetres, times are seconds of the session. `text` is meant for people, word for
word; `reason` is a short key for programs. Each is one JSON object at the edge, and an object
everywhere before that. `Event` names them all: who tells them apart by class, and ends with
`assert_never`, is told by mypy what a new one has not been given.
"""

import json
from dataclasses import MISSING, fields
from functools import cache
from typing import Any, get_args

from rig.events.link import (
    CoverSoFar,
    Doubtful,
    Heard,
    HighSoFar,
    LinkBack,
    LinkEvent,
    LinkLost,
    Noticed,
    Picture,
    Serving,
    Standing,
)
from rig.events.pour import (
    AskPour,
    Dry,
    Edge,
    Edges,
    Estimate,
    FrontAt,
    NextBatch,
    PourDone,
    Poured,
    PourEvent,
    Prepour,
    Resumed,
    Ticked,
)
from rig.events.rods import BoxClock, Claim, Gap, Rest, RodsEvent
from rig.events.setting import (
    AskMarker,
    Checked,
    MarkerSet,
    NextMarker,
    Prompt,
    SetDone,
    SettingEvent,
    Unset,
)
from rig.events.survey import (
    Armed,
    Ask,
    AskTyped,
    Check,
    Dragged,
    Drifted,
    Extreme,
    Jolted,
    LineChecked,
    Next,
    PutBack,
    SetAside,
    SetUp,
    ShotTaken,
    Skipped,
    Slide,
    SurveyDone,
    SurveyEvent,
    Trouble,
    Undone,
    Watched,
)
from rig.events.told import Move, RodState, Told

Event = LinkEvent | SurveyEvent | SettingEvent | PourEvent | RodsEvent

_Timed = (
    Heard
    | Standing
    | LinkLost
    | LinkBack
    | Noticed
    | ShotTaken
    | LineChecked
    | SetUp
    | Watched
    | Checked
    | Prompt
    | MarkerSet
    | Dragged
    | Poured
    | FrontAt
    | Edges
    | Edge
)


def time_of(event: Event) -> float | None:
    """Return the second of the session in which it happened, None where it does not tell."""
    return event.time_s if isinstance(event, _Timed) else None


def event_from(payload: bytes) -> Event | None:
    """Return the event that JSON holds, None where it is none of these."""
    from rig.record import from_json

    try:
        told = json.loads(payload)
        kinds = _by_name()[told.pop("event")]
        # Some share a name; their keys tell them apart.
        (kind,) = (
            one
            for one in kinds
            if told.keys() <= {f.name for f in fields(one)}
            and not ({f.name for f in fields(one) if f.default is MISSING} - told.keys())
        )
        event: Event = from_json(kind, told)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
    return event


@cache
def _by_name() -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    for kind in get_args(Event):
        found.setdefault(kind.event, []).append(kind)
    return found


__all__ = [
    "Armed",
    "Ask",
    "AskMarker",
    "AskPour",
    "AskTyped",
    "BoxClock",
    "Check",
    "Checked",
    "Claim",
    "CoverSoFar",
    "Doubtful",
    "Dragged",
    "Drifted",
    "Dry",
    "Edge",
    "Edges",
    "Estimate",
    "Event",
    "Extreme",
    "FrontAt",
    "Gap",
    "Heard",
    "HighSoFar",
    "Jolted",
    "LineChecked",
    "LinkBack",
    "LinkEvent",
    "LinkLost",
    "MarkerSet",
    "Move",
    "Next",
    "NextBatch",
    "NextMarker",
    "Noticed",
    "Picture",
    "PourDone",
    "PourEvent",
    "Poured",
    "Prepour",
    "Prompt",
    "PutBack",
    "Rest",
    "Resumed",
    "RodState",
    "RodsEvent",
    "Serving",
    "SetAside",
    "SetDone",
    "SetUp",
    "SettingEvent",
    "ShotTaken",
    "Skipped",
    "Slide",
    "Standing",
    "SurveyDone",
    "SurveyEvent",
    "Ticked",
    "Told",
    "Trouble",
    "Undone",
    "Unset",
    "Watched",
    "event_from",
    "time_of",
]
