"""Says what to do with the marker under the rod: at once when that changes, else once a second."""

from rig.events import Prompt
from rig.guidance import phrases
from rig.guidance.live_value import LiveValue
from rig.units import Units

PROMPT_S = 1.0
PLAY = 0.1
"""Of the smallest amount shown: how far what is shown may trail the running mean."""


class Prompter:
    """Turns heights into prompts.

    Parameters
    ----------
    tolerance_mm : float
        How far off height is still "hold".
    resolution_mm : float
        One digit of the rod's display.
    units : Units
        How amounts are shown.
    """

    def __init__(self, tolerance_mm: float, resolution_mm: float, units: Units) -> None:
        self.live = LiveValue(resolution_mm, PLAY * phrases.shown_step_mm(units))
        self._tolerance_mm = tolerance_mm
        self._units = units
        self._said: tuple[float, str] | None = None
        self._heard_s: float | None = None

    def forget(self) -> None:
        """Begin with another marker."""
        self._said = None
        self.live.clear()

    def hear(
        self,
        marker: str,
        target_mm: float,
        time_s: float,
        value_mm: float,
        guard_mm: float = 0.0,
        steady_mm: float | None = None,
    ) -> list[Prompt]:
        """Take one reading of a rod that sends many a second.

        `guard_mm` is how far inside the tolerance "hold" begins. `steady_mm` rules where a resting
        rod is too close to the tolerance's edge to tell: a marker that is not taken never "holds".
        """
        live_mm = self.live.add(time_s, value_mm)
        value_mm = live_mm if steady_mm is None else steady_mm
        beat = 0.0 if self._heard_s is None else time_s - self._heard_s
        self._heard_s = time_s
        prompt = self.say(marker, target_mm, time_s, value_mm, guard_mm)
        if self._said is not None:
            said_s, said = self._said
            # A beat early, so that a second never passes without a word.
            if prompt.text == said and time_s - said_s + 1.5 * beat < PROMPT_S:
                return []
        self._said = (time_s, prompt.text)
        return [prompt]

    def say(
        self, marker: str, target_mm: float, time_s: float, value_mm: float, guard_mm: float = 0.0
    ) -> Prompt:
        """Put one height into words."""
        residual = target_mm - value_mm  # a larger reading is lower
        # Where the doubt is as wide as the tolerance only rest helps: nobody turns by nothing.
        least_mm = min(self._tolerance_mm, phrases.shown_step_mm(self._units) / 2.0)
        move = phrases.move(residual, max(self._tolerance_mm - guard_mm, least_mm))
        text = phrases.prompt(move, abs(residual), self._units)
        return Prompt(
            marker=marker,
            move=move,
            by_mm=abs(residual),
            text=text,
            target_reading_mm=target_mm,
            residual_mm=residual,
            time_s=time_s,
        )
