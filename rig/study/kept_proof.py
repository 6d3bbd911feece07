"""The verdicts on flatness that a job keeps, so that before and after can be told of many jobs."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from rig.errors import JobUnusable

if TYPE_CHECKING:
    import os

    from rig.job.rows import RoomView
    from rig.study.proof_answer import Before, Proof

EVENT = "proof"


def keep_proof(path: "str | os.PathLike[str]", told: "Proof", room: "RoomView | None") -> None:
    """Keep a verdict that is not the last one of its rule; where nobody may write, it is not kept.

    A job that is in use, or lies where nothing can be written, is judged all the same.
    """
    import time

    from rig.job.store import Job

    try:
        with Job.open(path, write=True, wait_s=0.0) as job:
            last = {(_key(one.data)): one.data for one in job.events([EVENT])}
            for data in _verdicts(told, room):
                if last.get(_key(data)) != data:
                    job.log_event(None, None, time.time(), EVENT, data)
    except JobUnusable:
        return


def _verdicts(told: "Proof", room: "RoomView | None") -> Iterator[dict[str, object]]:
    from rig.study.proof_answer import PourProof

    where = {} if room is None else {"room": room.number}
    common = {"rule": told.rule, "confidence": told.confidence, **where}
    if isinstance(told, PourProof) and told.before is not None:
        yield {**common, "kind": "floor", **_figures(told.before)}
    yield {**common, "kind": told.kind, **_figures(told)}


def _figures(told: "Proof | Before") -> dict[str, object]:
    worst = told.worst
    return {
        "verdict": told.verdict,
        "chance": float(told.chance),
        "share_in": told.share_in,
        "ff": told.ff,
        "fl": told.fl,
        "worst": None
        if worst is None
        else {"gap_mm": float(worst.gap_mm), "limit_mm": float(worst.limit_mm)},
    }


def _key(data: dict[str, object]) -> tuple[object, ...]:
    return data.get("rule"), data.get("kind"), data.get("room"), data.get("confidence")
