"""A profile of one's own from what a rod sends: which number of its lines is the height, and how.

What a line holds beside the height is kept as it is, other numbers as any number.
"""

import re
from collections.abc import Sequence

from rig.devices.checksum import is_sentence
from rig.devices.decoder import Decoder
from rig.devices.framing import LONGEST_MESSAGE
from rig.devices.profile import MM_PER_UNIT, parse_profile
from rig.errors import BadInput
from rig.language import say

NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)")
_SUM = re.compile(r"\*[0-9A-Fa-f]{2}\s*$")
_ANY, _HEIGHT = r"[-+]?[\d.]+", r"(?P<value>[-+]?(?:\d+\.?\d*|\.\d+))"
# What a display shows last tells how finely it reads; a rod's foot finds the floor as one's own
# tape does (common practice, no source).
_FOOT_MM = 0.5


def numbers_in(line: str) -> list[str]:
    """Return the numbers of a line that may be its height, in their order."""
    return NUMBER.findall(_SUM.sub("", line.strip()))


def made_profile(lines: Sequence[str], line: int, number: int, unit: str) -> str:
    """Return a profile, as TOML, by which a number of one of the lines is the height.

    Parameters
    ----------
    lines : sequence of str
        Messages that the rod sent.
    line, number : int
        Which of them, and which of its numbers, from 0.
    unit : {'mm', 'cm', 'm', 'in', 'ft'}

    Raises
    ------
    BadInput
        No such number or unit, or it does not read the other lines.
    """
    if unit not in MM_PER_UNIT:
        raise BadInput(say("Say the unit of the height."))
    if not 0 <= line < len(lines) or not all(0 < len(one) <= LONGEST_MESSAGE for one in lines):
        raise BadInput(say("There is no such message."))
    summed = all(is_sentence(one.strip().encode()) for one in lines)
    text = _SUM.sub("", lines[line].strip())
    found = list(NUMBER.finditer(text))
    if not 0 <= number < len(found):
        raise BadInput(say("There is no such number in that message."))
    pattern, end = r"^\s*", 0
    for n, one in enumerate(found):
        pattern += _literal(text[end : one.start()]) + (_HEIGHT if n == number else _ANY)
        end = one.end()
    pattern += _literal(text[end:]) + ("" if summed else r"(?:\*[0-9A-Fa-f]{2})?") + r"\s*$"
    _, _, decimals = found[number][0].partition(".")
    resolution_mm = MM_PER_UNIT[unit] / 10 ** len(decimals)
    if "'" in pattern:
        raise BadInput(say("A message with an apostrophe in it needs a profile that is written."))
    made = "\n".join((
        'text = "made of what the rod sent"',
        'framing = "line"',
        f'checksum = "{"xor" if summed else "none"}"',
        f'unit = "{unit}"',
        f"resolution_mm = {min(resolution_mm, 5.0):.6f}",
        f"foot_mm = {_FOOT_MM}",
        "",
        "[line]",
        f"pattern = '{pattern}'",
        "",
    ))  # fmt: skip
    read = readings_by(made, lines)
    if read.count(None) > len(lines) // 2 or read[line] is None:
        raise BadInput(
            say("So only {count} of {all} messages are read: tap another number.",
                count=str(len(lines) - read.count(None)), all=str(len(lines)))
        )  # fmt: skip
    return made


def readings_by(toml: str, lines: Sequence[str]) -> list[float | None]:
    """Return what a profile reads in each of the lines, in mm."""
    profile = parse_profile(toml, "profile")
    return [Decoder(profile).decode_raw(line, 0.0, 0.0).value_mm for line in lines]


def _literal(text: str) -> str:
    return r"\s*".join(re.escape(part) for part in re.split(r"\s+", text))
