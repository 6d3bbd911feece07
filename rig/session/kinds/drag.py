"""A slide of the rod's foot from one shot to another, which keeps the profile between them."""

from dataclasses import dataclass

from rig.events import Dragged, Slide, SurveyEvent
from rig.language import say
from rig.record import Record
from rig.room import Outline, where
from rig.session.beam import DARK_S
from rig.session.kind import Beginning, Kind, check_numbers
from rig.session.scene import Scene, measures_of
from rig.session.sections import places_of, plan_of
from rig.survey.drag import Drag, Way
from rig.survey.stand import Stand
from rig.units import System, Units
from rig.words.live import Said

ACTS = ("accept", "undo")


@dataclass(frozen=True, slots=True, kw_only=True)
class DragSettings(Record):
    """What a slide goes by.

    Attributes
    ----------
    start, end : (label, x_mm, y_mm)
        The shots at both ends.
    rise_mm, rise_stderr_mm : float
        Height of the second over the first, and the doubt of both.
    units : str or None
        Of the job.
    """

    dwell_s: float
    walk_s: float
    still_mm: float
    start: tuple[str, float, float]
    end: tuple[str, float, float]
    rise_mm: float
    rise_stderr_mm: float
    units: System | None = None
    clamp_mm: float | None = None

    def __post_init__(self) -> None:
        check_numbers(dwell_s=self.dwell_s, walk_s=self.walk_s, still_mm=self.still_mm)


class Slid(Kind[DragSettings]):
    """One slide."""

    name = "drag"
    settings = DragSettings
    title = say("Slide the rod")
    acts = ACTS

    def machine(self, begun: Beginning[DragSettings]) -> Drag:
        """Return the slide."""
        settings, units = begun.settings, begun.units
        way = Way(
            start=_stand(settings.start, begun.outline, units),
            end=_stand(settings.end, begun.outline, units),
            rise_mm=settings.rise_mm,
            rise_stderr_mm=settings.rise_stderr_mm,
        )
        return Drag(
            way,
            dwell_s=settings.dwell_s,
            walk_s=settings.walk_s,
            still_mm=settings.still_mm,
            resolution_mm=begun.resolution_mm,
            foot_mm=begun.foot_mm,
            units=units,
        )

    def scene(
        self,
        begun: Beginning[DragSettings],
        acts: tuple[str, ...] = (),
        quiet_s: float = DARK_S,
    ) -> Scene:
        """Show both ends, and where to slide."""
        settings = begun.settings
        return SlideScene(
            "survey",
            self.title,
            begun.units,
            plan_of(begun.outline),
            places_of([settings.start, settings.end]),
            measures=measures_of(begun.outline, begun.units),
            acts=acts,
            quiet_s=quiet_s,
        )


class SlideScene(Scene):
    """A slide as the page shows it."""

    def on_survey(self, event: SurveyEvent, told: Said) -> set[str]:
        """Show where to slide, and that it is taken."""
        match event:
            case Slide():
                where = event.text.removeprefix(f"{event.label}: ")
                text = say("slide to {label}", label=event.label)
                return self.go("go", event.label, event.x_mm, event.y_mm, where, text)
            case Dragged():
                done = self.mark(event.label, "done") | self.mark(event.to, "done")
                return done | self.last(told)
        return super().on_survey(event, told)


def _stand(place: tuple[str, float, float], outline: Outline, units: Units) -> Stand:
    label, x_mm, y_mm = place
    return Stand(label, x_mm, y_mm, where(outline, x_mm, y_mm, units.system))


KIND = Slid()
