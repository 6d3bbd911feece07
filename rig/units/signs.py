"""Numbers as a language writes them: what people type, with a decimal point and nothing else.

A comma or a point may be a decimal sign or part thousands. What the language in use shows is what
it takes; what could be either is refused. Feet and inches are the same in all languages. Files,
which no language reads, come by `with_point` alone.
"""

import re

from rig.errors import BadInput
from rig.language import current, numeral, say
from rig.units.parsing import quotable, with_point

_SPACES = " \xa0\u2009\u202f"
_RUN = re.compile(rf"(?<![\w.,])[0-9](?:[0-9.,{_SPACES}]*[0-9])?")
_WORD = re.compile(rf"[{_SPACES}]?([^\W\d]+|[\"'′″])?")
_FRACTION = re.compile(r"[0-9][ ]?[/⁄][ ]?[0-9]|[¼½¾⅛⅜⅝⅞]")
_INCHES = frozenset(["in", "inch", "inches", '"', "″", "ft", "foot", "feet", "'", "′"])
_METRES = frozenset(["m", "metre", "metres", "meter", "meters"])

_BY_POINTS = re.compile(r"[0-9]{1,3}(?:\.[0-9]{3})+(,[0-9]+)?")
_BY_SPACES = re.compile(rf"[0-9]{{1,3}}(?:[{_SPACES}][0-9]{{3}})+([.,][0-9]+)?")
_BY_COMMAS = re.compile(r"[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]+|[0-9]{1,3}(?:,[0-9]{3}){2,}")
_DECIMAL = re.compile(r"[0-9]+,[0-9]+")
_WHOLE = re.compile(rf"\s*[+-]?(?:[0-9]+|[0-9]{{1,3}}(?:[.{_SPACES}][0-9]{{3}})+)\s*")
_TELLS = re.compile(rf"[0-9](?:,|[.{_SPACES}][0-9]{{3}})")


def hangs_on_language(text: str) -> bool:
    """Whether what a text says may hang on the language in use."""
    return _TELLS.search(text) is not None


def pointed(text: str, unit: str | None = None, what: str = "") -> str:
    """
    Write the numbers of a text, as the language in use has them, with a decimal point.

    Parameters
    ----------
    text : str
        A quantity as people type it: `1221,5`, `1 221,5 mm`, `1,7kg/m2/mm`.
    unit : str, optional
        What a number without one is.
    what : str
        Name of the thing in the refusal.

    Returns
    -------
    str
        The text itself where it holds nothing that hangs on a language, and where it is wrong.

    Raises
    ------
    BadInput
        A number could be read in two ways: `1.221` where a comma is the decimal sign.
    """
    if not hangs_on_language(text) or _FRACTION.search(text):
        return text
    comma = current().decimal == ","

    def written(found: re.Match[str]) -> str:
        run = found[0]
        next_word = _WORD.match(text, found.end())
        word = ((next_word and next_word[1]) or unit or "").lower()
        if word in _INCHES:
            return run
        return _with_comma(run, word, what) if comma else _with_parts(run)

    return _RUN.sub(written, text)


def parted(text: str, count: int) -> list[str]:
    """
    Part a text into so many quantities, at its `;` or else at those commas that are no decimal's.

    `3,5m,4,2m` is two lengths: each has its unit, so that a bare number before a metric length can
    only be its whole. The parts come with a decimal point.
    """
    if ";" in text:
        return [with_point(pointed(part)) for part in text.split(";")]
    parts = text.split(",")
    if len(parts) == count:
        return [pointed(part) for part in parts]
    if len(parts) == 2 * count and current().decimal == "," and all(map(_WHOLE.fullmatch, parts)):
        pairs = zip(parts[::2], parts[1::2], strict=True)
        return [pointed(f"{whole},{decimals}") for whole, decimals in pairs]
    return _joined(parts)


def _joined(parts: list[str]) -> list[str]:
    """Join wholes and decimals of metric lengths; the parts as they are where some are neither."""
    whole, joined = "", []
    for part in parts:
        if not whole and _WHOLE.fullmatch(part):
            whole = part
            continue
        one = with_point(pointed(f"{whole},{part}")) if whole else pointed(part)
        if "," in one or any(mark in part for mark in "'\"") or "in" in part or "f" in part:
            return parts
        joined.append(one)
        whole = ""
    return parts if whole else joined


def _with_comma(run: str, word: str, what: str) -> str:
    """Return a number of a language with a decimal comma."""
    if by_spaces := _BY_SPACES.fullmatch(run):
        return re.sub(rf"[{_SPACES}]", "", by_spaces[0]).replace(",", ".")
    by_points = _BY_POINTS.fullmatch(run)
    if by_points is None:
        return run.replace(",", ".") if _DECIMAL.fullmatch(run) else run
    whole = run.replace(".", "")
    if by_points[1] or run.count(".") > 1:
        return whole.replace(",", ".")
    if run.startswith("0") or word in _METRES:  # no floor is a kilometre long
        return run
    raise BadInput(
        say(
            "{what} “{text}” could mean {small} or {large}: write one of these.",
            what=what or say("the number"),
            text=quotable(run),
            small=numeral(run),
            large=whole,
        )
    )


def _with_parts(run: str) -> str:
    """Return a number of a language with a decimal point, its thousands parted by commas."""
    return run.replace(",", "") if _BY_COMMAS.fullmatch(run) else run
