"""What every measure of a tolerance rule has."""

from typing import Any

import pytest

from rig.flatness.measures import MEASURES
from rig.flatness.rules import SHIPPED, load_rule, parse_rule
from rig.words.flatness import WORDING

PAIRS = 'text = "t"\nmeasure = "pairs"\n[pairs]\nlengths_mm = [1000]\nlimits_mm = [3]\n'


def test_every_measure_has_its_sentences() -> None:
    assert set(WORDING) == set(MEASURES)


def test_a_rule_is_of_the_class_of_its_measure() -> None:
    rules = [*map(load_rule, SHIPPED), parse_rule(PAIRS, "own")]
    assert {type(rule) for rule in rules} == set(MEASURES.values())
    for rule in rules:
        assert type(rule) is MEASURES[rule.measure]


@pytest.mark.parametrize("kind", MEASURES.values(), ids=lambda kind: kind.measure)
def test_a_measure_names_the_keys_of_its_table(kind: Any) -> None:
    text = f'text = "t"\nmeasure = "{kind.measure}"\n["{kind.measure}"]\nheight = 1\n'
    with pytest.raises(Exception, match="height") as refused:
        parse_rule(text, "own")
    assert ", ".join(kind.keys) in str(refused.value)
