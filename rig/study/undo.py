"""Takes back what was done in a job: nothing is deleted, and the event `undo` keeps each."""

import json
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rig.errors import BadInput, CannotAnswer
from rig.job.settings import NAMES, settings_of
from rig.study.acts import UNDONE, Done, UndoAnswer, acts_of, standing
from rig.study.line_before import LOOKED_FOR, offset_of
from rig.words import join, say
from rig.words import undo as words

if TYPE_CHECKING:
    from rig.job.rows import Move, Shot, StoredEvent
    from rig.job.store import Job

_OUTLINE = ("walls", "openings", "doors")
_MATERIAL = "material "


def act_called(job: "Job", wanted: str | None) -> Done:
    """Return the act of an id, or the last one.

    Raises
    ------
    BadInput
        No such act, or it was taken back already.
    CannotAnswer
        Nothing was done yet.
    """
    done = acts_of(job)
    if wanted is None:
        if not done:
            raise CannotAnswer(words.NOTHING)
        return done[0]
    found = next((one for one in done if one.id == wanted.strip().lower()), None)
    if found is None:
        raise BadInput(words.no_act(wanted))
    return found


def take_back(job: "Job", done: Done) -> UndoAnswer:
    """Take an act back, all of it or nothing; a batch is the pour's own to take back.

    Parameters
    ----------
    job : Job
        Open for writing.
    done : Done
        As `act_called` returns it.

    Raises
    ------
    CannotAnswer
        Where something later stands on it.
    """
    last = max((event.id for event in job.events()), default=0)
    before = {shot.id for shot in job.shots()}
    events = [event.id for event in done.events]
    with job.together(say("nothing was taken back")):
        text = _back(job, done, events)
        told = {"act": done.id, "what": done.what, "events": events, "after": last}
        job.log_event(None, None, time.time(), UNDONE, told)
    back = [shot.point for shot in job.shots() if shot.id not in before]
    text = join(" ", filter(None, (words.is_undone(done.what), text)))
    return UndoAnswer(undone=done.id, what=done.what, text=text, shots=tuple(back) or None)


def _back(job: "Job", done: Done, also: list[int]) -> str:
    """Take it back, and return what is to be said of that; `also` gets events that go with it."""
    if done.marker is not None:
        job.unset_marker(done.marker.label)
        return ""
    if done.shot is not None:
        job.supersede(done.shot.id)
        return ""
    return _change(job, done, also)


def _change(job: "Job", done: Done, also: list[int]) -> str:
    """Take back what was told by events."""
    event = done.events[-1]
    data = event.data
    match event.kind:
        case "edit":
            for one in reversed(done.events):
                _edit(job, done, one)
        case "grid":
            _grid(job, done, event)
        case "relabel":
            _relabel(job, done, event.moves)
        case "import":
            _table(job, event.imported)
        case "set_aside":
            return _put_back(job, data["shots"])
        case "jolt":
            return _line_as_it_was(job, done, also) + _put_back(job, _aside(job, event))
        case "drift":
            told = _line_as_it_was(job, done, also)
            job.set_aside(shot.id for shot in job.shots() if shot.id in set(data["shots"]))
            return told + _put_back(job, data["uncorrected"])
        case "setup":
            return _as_one_set_up(job, done, also)
        case "skipped":
            return words.asked_again(data["label"])
    return ""


def _stands_on(done: Done, by: str) -> CannotAnswer:
    return CannotAnswer(words.changed_since(done.what, by))


def _edit(job: "Job", done: Done, event: "StoredEvent") -> None:
    """Put what an edit changed back to what it was, where it is still as the edit left it."""
    old, new = event.data["old"], event.data["new"]
    rings = dict(zip(_OUTLINE, _plain(job.outline_rings()), strict=True))
    rules = {_MATERIAL + row["key"]: row for row in job.material_rules()}
    kept = _plain(job.settings.stored())
    now = {**kept, **rings, **{name: row["amount"] for name, row in rules.items()}}
    if any(now.get(key) != value for key, value in new.items()):
        raise _stands_on(done, words.OTHER_EDIT)
    if any(key in _OUTLINE for key in new):
        job.set_outline(*(old[key] for key in _OUTLINE))
        return
    if any(key.startswith(_MATERIAL) for key in new):
        rows = [{**rules[key], "amount": _amount(key, old[key])} for key in new]
        job.keep_material_rules(rows, edited=True)
        return
    stored = kept | {key: value for key, value in old.items() if key in NAMES}
    job.update_settings(settings_of(stored))


def _amount(key: str, old: float | None) -> float:
    """Return what a rule's amount was: the usual one where the job had none of its own."""
    from rig.quantities.materials import RULES

    if old is not None:
        return old
    return next(rule.amount for rule in RULES if _MATERIAL + rule.key == key)


def _plain(value: Any) -> Any:
    """Return a value as JSON gives it back."""
    return json.loads(json.dumps(value))


def _grid(job: "Job", done: Done, event: "StoredEvent") -> None:
    grids = standing(job, ["grid"])
    if grids[-1].id != event.id:
        raise _stands_on(done, words.OTHER_GRID)
    job.set_points([tuple(row) for row in grids[-2].data["points"]] if len(grids) > 1 else [])


def _table(job: "Job", ids: range) -> None:
    for shot in reversed(job.shots()):
        if shot.id in ids:
            job.supersede(shot.id)


def _relabel(job: "Job", done: Done, moves: "Sequence[Move]") -> None:
    new = {move.new for move in moves}
    shots = {shot.id: shot for shot in job.shots(current=False)}
    kinds = {shots[move.shot].kind for move in moves}
    labels = {move.old for move in moves}
    later = [s for s in job.shots(kinds) if s.point in labels and s.id not in new]
    if later:
        raise _stands_on(done, words.shot_since(later[0].point))
    job.unrelabel(moves)


def _aside(job: "Job", event: "StoredEvent") -> Sequence[int]:
    """Return the ids of the shots that a jolt set aside; an older file names them by label."""
    ids: Sequence[int] | None = event.data.get("shots")
    if ids is not None:
        return ids
    latest = {
        shot.point: shot.id
        for shot in job.shots([event.data["kind"]], current=False)
        if shot.superseded_by == shot.id and shot.utc_s <= event.utc_s
    }
    return [latest[label] for label in event.data["labels"] if label in latest]


def _put_back(job: "Job", ids: Sequence[int]) -> str:
    """Put shots in use again, and say which."""
    shots = {shot.id: shot for shot in job.shots(current=False)}
    labels = {one: shots[one].point for one in ids}
    out = [one for one in ids if shots[one].superseded_by is not None]
    back = job.put_back(ids)
    again = [labels[one] for one in out if one not in back]
    return words.in_use_again([labels[one] for one in back], again) if ids else ""


def _line_as_it_was(job: "Job", done: Done, also: list[int]) -> str:
    """Take a sight of the benchmark back, and what it took off the shots after it."""
    event = done.events[-1]
    checks = standing(job, ["checked"])
    own = _sight_of(event, checks)
    if own is None:
        return ""
    told = own.data
    setup, change_mm, after = told["setup"], told["difference_mm"], told["after_shot"]
    later = [one for one in checks if one.id > own.id and one.data.get("setup") == setup]
    if any(one.data.get("found") in ("drift", "jolt") for one in later):
        raise _stands_on(done, words.OTHER_LINE)
    also.append(own.id)
    corrected = set(event.data.get("shots", ())) if event.kind == "drift" else set()
    since = [shot for shot in job.shots(LOOKED_FOR) if shot.setup == setup and shot.id > after]
    shots = [shot for shot in since if shot.id not in corrected]
    for shot in shots:
        _rewrite(job, shot, shot.reading_mm + change_mm, setup)
    return words.read_as(len(shots)) + " " if shots else ""


def _sight_of(event: "StoredEvent", checks: "Sequence[StoredEvent]") -> "StoredEvent | None":
    """Return the sight that a change of the line was found by; an older file does not name it."""
    own = [one for one in checks if one.id == event.data.get("checked")]
    own = own or [one for one in checks if one.utc_s <= event.utc_s]
    return own[-1] if own else None


def _as_one_set_up(job: "Job", done: Done, also: list[int]) -> str:
    """Take back that the laser stood anew: what was shot since counts as of the set-up before."""
    data = done.events[-1].data
    name, before = data["name"], data["before"]
    if any(event.data["before"] == name for event in standing(job, ["setup"])):
        raise _stands_on(done, words.OTHER_SETUP)
    checks = standing(job, ["checked"])
    also += [one.id for one in checks if one.data.get("setup") == name]
    also += [data["checked"]]
    offset_mm = offset_of(job, before)
    shots = [shot for shot in job.shots() if shot.setup == name]
    job.set_aside(shot.id for shot in shots if shot.kind == "benchmark")
    told = [shot for shot in shots if shot.kind in LOOKED_FOR]
    for shot in told:
        _rewrite(job, shot, shot.reading_mm - offset_mm, before)
    return words.as_of(before, len(told))


def _rewrite(job: "Job", shot: "Shot", reading_mm: float, setup: str) -> None:
    assert shot.session_id is not None
    keys = ("point", "x_mm", "y_mm", "stderr_mm", "n", "kind", "time_s", "utc_s")
    row = {key: getattr(shot, key) for key in keys} | {"reading_mm": reading_mm}
    job.correct_shots(shot.session_id, [row], setup=setup)
