"""Colours by name, our own: ramps whose lightness falls evenly, so that they hold in grey too.

No two things are told apart by colour alone; where it helps, it is safe for colour-blind eyes.
"""

STEPS = 9

COLOURS = {
    "paper": "#ffffff",
    "ink": "#15191d",
    "soft": "#525c66",  # lesser texts
    "rule": "#aeb6bd",  # thin lines
    "wall": "#2b3138",
    "void": "#e3e6e8",  # openings
    "alarm": "#9a2f12",  # out of tolerance; always beside a word or a pattern
    "mark": "#0d4a63",  # what is to be set or walked
    "tint": "#d7e5ea",
}


def _mixed(anchors: tuple[tuple[int, int, int], ...], share: float) -> str:
    at = share * (len(anchors) - 1)
    n = min(int(at), len(anchors) - 2)
    mixed = (round(a + (b - a) * (at - n)) for a, b in zip(anchors[n], anchors[n + 1], strict=True))
    return "#" + "".join(f"{value:02x}" for value in mixed)


# Heights from sand (high) to deep water (low); cover from mist (thin) to heather (thick).
# The deepest still leaves the ink of figures on it a contrast of 7 to 1.
_HEIGHT = ((250, 244, 228), (208, 218, 198), (162, 195, 192), (126, 173, 189))
_COVER = ((248, 246, 249), (228, 214, 226), (208, 181, 203), (189, 154, 185))
for _step in range(STEPS):
    COLOURS[f"height{_step}"] = _mixed(_HEIGHT, _step / (STEPS - 1))
    COLOURS[f"cover{_step}"] = _mixed(_COVER, _step / (STEPS - 1))


def ramp(name: str, count: int) -> list[str]:
    """Names of so many colours of a ramp, `height` or `cover`, as far apart as it allows."""
    if count == 1:
        return [f"{name}2"]
    return [f"{name}{round(n * (STEPS - 1) / (count - 1))}" for n in range(count)]
