"""What screens show of several rods: all together, and each rod for its own phone."""

import asyncio
from typing import Any

from rig.events import (
    Armed,
    Check,
    Event,
    Heard,
    Jolted,
    LinkBack,
    LinkLost,
    MarkerSet,
    Next,
    NextMarker,
    Prompt,
    PutBack,
    Rest,
    SetAside,
    ShotTaken,
    Skipped,
    Standing,
    Undone,
    Unset,
)
from rig.language import join
from rig.session.hub import Hub
from rig.session.rods_work import Work
from rig.session.run import Sink
from rig.session.scene import Scene
from rig.session.sections import Now, Rod
from rig.words.live import Said
from rig.words.rods import at_place, at_rest, out_of_reach

SHOWN_S = 0.2
OF_PLACES = (
    ShotTaken,
    Skipped,
    Undone,
    MarkerSet,
    Unset,
    Jolted,
    SetAside,
    PutBack,
)
_OF_ONE = Next | NextMarker | Armed | Check | Prompt | Rest


class Together(Scene):
    """A session of several rods as one page shows it: who is where, and what is done."""

    _stands: dict[str, str]
    _lost: set[str]

    @classmethod
    def of(cls, scene: Scene) -> "Together":
        """Return a scene that shows the same, and takes in several rods from now on."""
        made = object.__new__(cls)
        made.__dict__.update(vars(scene))
        made._stands, made._lost = {}, set()
        return made

    def _take(self, event: Event, told: Said) -> set[str]:
        if event.rod is not None:
            if isinstance(event, _OF_ONE):
                self._place(event.rod, event)
                return self._show_rods()
            if isinstance(event, LinkLost | LinkBack):
                (self._lost.add if isinstance(event, LinkLost) else self._lost.discard)(event.rod)
                return super()._take(event, told) | self._show_rods()
            if isinstance(event, Heard | Standing) and len(self._stands) > 1:
                return set()
        return super()._take(event, told)

    def _take_back(self, now_s: float) -> set[str]:
        """Of several, no single rod's beam takes back what is shown of all."""
        return set() if len(self._stands) > 1 else super()._take_back(now_s)

    def _place(self, rod: str, event: _OF_ONE) -> None:
        match event:
            case Rest():
                self._stands[rod] = at_rest(rod)
            case NextMarker() | Prompt():
                self._stands[rod] = at_place(rod, event.marker)
            case _:
                self._stands[rod] = at_place(rod, event.label)

    def _show_rods(self) -> set[str]:
        rods = sorted(self._stands.keys() | self._lost)
        each = (out_of_reach(rod) if rod in self._lost else self._stands[rod] for rod in rods)
        now = Now(mode="wait", text=join(" · ", each))
        if now == self.sections.now:
            return set()
        self.sections.now, self.sections.here = now, None
        if len(self._stands) > 1:
            self.sections.rod = Rod()
        return {"now", "here", "rod"}


class RodsScenes(Sink):
    """Tells the site's screens what a page shows: all together, and each rod by itself."""

    def __init__(self, hub: Hub, work: Work) -> None:
        self._hub, self._work = hub, work
        self._loop = asyncio.get_running_loop()
        acts = tuple(work.kind.acts)
        self._all = Together.of(work.scene())
        self._own: dict[str, Scene] = {}
        self._heard_s: dict[str, float] = {}
        self._acts = acts
        self._changed: dict[str, set[str]] = {"": set(self._all.sections.names)}
        self._due: Any = None
        self._show()

    def hear(self, event: Event) -> None:
        """Fold an event into the scenes; what changed is told a few times a second."""
        now_s = self._loop.time()
        rod = event.rod
        if isinstance(event, Heard):
            if now_s - self._heard_s.get(rod or "", -SHOWN_S) < SHOWN_S:
                return
            self._heard_s[rod or ""] = now_s
        if rod is not None and rod not in self._own:
            self._own[rod] = self._fresh()
            self._changed[rod] = set(self._own[rod].sections.names)
        self._note("", self._all.hear(event, now_s))
        for name, scene in self._own.items():
            if rod in (None, name):
                self._note(name, scene.hear(event, now_s))
            elif isinstance(event, OF_PLACES):
                self._note(name, _mark(scene, event))

    def _fresh(self) -> Scene:
        scene = self._work.scene(self._acts)
        scene.take_places(self._all)
        return scene

    def _note(self, name: str, changed: set[str]) -> None:
        if changed:
            self._changed.setdefault(name, set()).update(changed)
            if self._due is None:
                self._due = self._loop.call_later(SHOWN_S, self._show)

    def _show(self) -> None:
        self._due = None
        for name, changed in self._changed.items():
            scene = self._own[name] if name else self._all
            self._hub.show(scene, changed, name)
        self._changed = {}


def _mark(scene: Scene, event: Event) -> set[str]:
    """Show what another rod did to a place."""
    match event:
        case ShotTaken(label=label) | MarkerSet(marker=label):
            return scene.mark(label, "done")
        case Skipped(label=label):
            return scene.mark(label, "skipped")
        case Undone(label=label) | Unset(marker=label):
            return scene.mark(label, "todo")
        case Jolted(labels=labels) | SetAside(labels=labels):
            changed: set[str] = set()
            return changed.union(*(scene.mark(label, "todo") for label in labels))
        case PutBack(labels=labels):
            none: set[str] = set()
            return none.union(*(scene.mark(label, "done") for label in labels))
    return set()
