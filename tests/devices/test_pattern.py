import re
import time
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.devices.pattern import BadPattern, LinePattern
from rig.devices.profile import load_profile, shipped_profiles
from rig.guide import chapter

NAMES = ("value", "unit", "status", "seq")
SHIPPED = sorted(
    {
        tomllib.loads(load_profile(key).text_toml)["line"]["pattern"]
        for key in shipped_profiles()
        if load_profile(key).framing == "line"
    }
)
GUIDE = re.findall(r"^pattern = '(.*)'", chapter("profile"), re.MULTILINE)
OF_FIELDS = [
    r".*?(?P<value>\d+).*",
    r"(?P<seq>\d+),(?P<value>[-+]?\d+\.\d+),(?P<unit>mm|in),[^,]*,(?P<status>[A-Z]),\d+,\w*",
    r"(?:[^,]*,){3}(?P<value>[-+]?[\d.]+)(?:,.*)?",
    r"(?:[0-9a-f]{2})*:(?P<value>\d+)",
    r"\s*H\s*=\s*(?P<value>[-+]?\d+(?:\.\d*)?)\s*(?P<unit>mm|cm|in)?\s*",
    r"(?P<value>[\d.]+)?(?P<unit>\w+)?(?P<status>[?!])?(#(?P<seq>\d+))?",
    r"(?i)h(?P<value>\d+)\Z",
    r"(?P<value>.*?)(?P<unit>µm|\xb5m|)$",
]


def by_python(pattern: str, line: str) -> tuple[str | None, ...] | None:
    """What the standard library's own matcher says."""
    found = re.fullmatch(pattern, line, re.ASCII)
    if found is None:
        return None
    taken = found.groupdict()
    return tuple(taken.get(name) for name in NAMES)


def test_the_guide_has_a_pattern_of_ones_own() -> None:
    assert GUIDE


@pytest.mark.parametrize("pattern", [*SHIPPED, *GUIDE, *OF_FIELDS])
@given(data=st.data())
def test_it_takes_the_groups_that_the_standard_library_takes(pattern: Any, data: Any) -> None:
    compiled = LinePattern(pattern)
    line = data.draw(
        st.one_of(
            st.from_regex(re.compile(pattern, re.ASCII), fullmatch=True),
            st.text(st.characters(max_codepoint=255), max_size=60),
        ).filter(lambda line: not re.search(r"[\n\r\v]", line))
    )
    assert compiled.fields(line) == by_python(pattern, line)


@pytest.mark.parametrize("pattern", OF_FIELDS)
def test_it_matches_bytes_of_any_value(pattern: Any) -> None:
    for byte in range(256):
        if byte not in b"\n\v":  # the end of a line; a space to `re` alone
            line = "H=1" + chr(byte)
            assert LinePattern(pattern).fields(line) == by_python(pattern, line)


@pytest.mark.parametrize(
    "pattern",
    [
        "(?P<value>(a+)+)",
        "(?P<value>(a|a)*b)",
        "(?P<value>(?:a|ab)*c)",
        ".*.*.*(?P<value>x)",
        "(?P<value>" + "a?" * 20 + "a" * 20 + ")",
        "(?P<value>[0-9]*[0-9]*[0-9]*[0-9]*),",
        "(?i)A*a*a*(?P<value>a*)x",
    ],
)
def test_no_pattern_can_hold_a_survey_up(pattern: Any) -> None:
    compiled = LinePattern(pattern)
    begun = time.process_time()
    for line in ("a" * 511 + "!", "1" * 511 + "!", "ab" * 255 + "!"):
        compiled.fields(line)
    assert time.process_time() - begun < 0.1


@pytest.mark.parametrize(
    ("pattern", "what"),
    [
        (r"(?P<value>(\w)\2)", "RE2"),
        (r"(?P<value>\d+)(?=,)", "RE2"),
        (r"(?P<value>\d++)", "RE2"),
        ("(?P<value>x)(?P<value>y)", "redefinition"),
        ("(?P<value>x{,3})", "{0,n}"),
        (r"(?P<value>\pN)", "bad escape"),
        ("(?P<value>[[:alpha:]])", "nested set"),
        ("(?P<value>((x{1000}){1000}))", "RE2"),
        ("(" * 900 + "(?P<value>x)" + ")" * 900, "not a regular expression"),
        ("(?P<value>x)" + "y" * 1989, "longer than 2000"),
        ("(?P<value>", "not a regular expression"),
    ],
)
def test_what_means_two_things_or_needs_backtracking_is_refused(pattern: Any, what: Any) -> None:
    with pytest.raises(BadPattern, match=re.escape(what)):
        LinePattern(pattern)
