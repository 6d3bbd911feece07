from pathlib import Path

import pytest

from rig.errors import BadInput
from rig.flatness.measures.edges import EdgeRule
from rig.flatness.rules import SHIPPED, load_rule, parse_rule
from tests.kinds import there

TABLE = (100, 1000, 4000, 10000, 15000)
# DIN 18202 Table 3, mm at 0.1 / 1 / 4 / 10 / 15 m.
DIN = {
    1: (10, 15, 20, 25, 30),
    2: (5, 8, 12, 15, 20),
    3: (2, 4, 10, 12, 15),
    4: (1, 3, 9, 12, 15),
}


@pytest.mark.parametrize("row", DIN)
def test_din_limits_at_the_tabled_spacings(row: int) -> None:
    rule = load_rule(f"din18202-{row}")
    assert tuple(rule.limit_mm(span) for span in TABLE) == DIN[row]


@pytest.mark.parametrize(
    ("span_m", "limit"),
    # Interpolated row 3 as a trade handbook prints it (Handbuch für das Estrich- und
    # Belaggewerbe); at 6 m it prints 10, where the nearest whole mm of 10.67 is 11.
    [(0.6, 3), (1.5, 5), (2, 6), (2.5, 7), (3, 8), (3.5, 9), (6, 11), (8, 11)],
)
def test_din_row_3_between_the_tabled_spacings(span_m: float, limit: int) -> None:
    assert load_rule("din18202-3").limit_mm(1000 * span_m) == limit


# DIN 18202 Table 2 (limits for angular deviation) as beaplan.de prints it, "Prüfung von Ebenheit
# und Winkeltoleranz"; the trade journal BM 04/2015 quotes 6 mm to 1 m and 8 mm from the same table.
@pytest.mark.parametrize(
    ("length_m", "limit"),
    [(0.5, 3), (0.51, 6), (1, 6), (1.01, 8), (3, 8), (3.01, 12), (6, 12), (6.01, 16), (15, 16),
     (15.01, 20), (30, 20), (30.01, 30), (80, 30)],
)  # fmt: skip
def test_din_limits_on_levelness(length_m: float, limit: int) -> None:
    assert load_rule("din18202-level").limit_mm(1000 * length_m) == limit


@pytest.mark.parametrize(
    ("key", "span_mm", "limit_mm"),
    [
        # ANSI A108.02: 1/4 in in 10 ft and 1/16 in in 12 in; 1/8 in in 10 ft and 1/16 in in 24 in.
        ("a108-small", 3048, 6.35),
        ("a108-small", 304.8, 1.5875),
        ("a108-large", 3048, 3.175),
        ("a108-large", 609.6, 1.5875),
        # BS 8204 under a 2 m straightedge; the click-lock figure is common practice, no source.
        ("bs8204-sr1", 2000, 3),
        ("bs8204-sr2", 2000, 5),
        ("bs8204-sr3", 2000, 10),
        ("click-lock", 3048, 3 / 16 * 25.4),
    ],
)
def test_fixed_edges(key: str, span_mm: float, limit_mm: float) -> None:
    rule = load_rule(key)
    assert rule.limit_mm(span_mm) == pytest.approx(limit_mm, abs=1e-12)
    assert load_rule(key).limit_mm(3100) is None


def test_the_limit_of_two_lengths_is_that_of_the_shortest_edge_that_reaches() -> None:
    rule = load_rule("a108-small")
    assert rule.limit_mm(200) == 1.5875
    assert rule.limit_mm(305) == 6.35


def test_every_shipped_rule_names_its_source_and_what_is_from_memory() -> None:
    for key in SHIPPED:
        rule = load_rule(key)
        assert rule.key == key
        assert rule.source
        assert rule.from_memory


def test_edges_of_a_growing_limit_hold_it_at_every_span() -> None:
    rule = load_rule("din18202-4")
    assert isinstance(rule, EdgeRule)
    edges = rule.edges(5800)
    for span in range(105, 5800, 35):
        limit = rule.limit_mm(span)
        least = min(edge.limit_mm for edge in edges if edge.length_mm >= span)
        assert least == limit or abs(there(rule.limit_mm(span + 5)) - least) < 1e-9
    assert not any(edge.whole for edge in edges)


GOOD = 'text = "mine"\nmeasure = "straightedge"\n[straightedge]\n'


@pytest.mark.parametrize(
    ("text", "say"),
    [
        (GOOD + "lengths_mm = [2000]\nlimits_mm = [3]\nlimit = 3\n", "'limit'"),
        ("colour = 1\n" + GOOD + "lengths_mm = [2000]\nlimits_mm = [3]\n", "'colour'"),
        (GOOD + "lengths_mm = [2000]\n", "limits_mm"),
        (GOOD + "lengths_mm = [2000, 1000]\nlimits_mm = [3, 2]\n", "rise"),
        (GOOD + "lengths_mm = [1000, 2000]\nlimits_mm = [3, 2]\n", "fall"),
        (GOOD + "lengths_mm = [2000, 3000]\nlimits_mm = [3]\n", "as many"),
        (GOOD + 'lengths_mm = ["2m"]\nlimits_mm = [3]\n', "lengths_mm"),
        (GOOD + "lengths_mm = [2000]\nlimits_mm = [-3]\n", "limits_mm"),
        ('text = "x"\nmeasure = "eye"\n', "measure"),
        ('text = "x"\nmeasure = "f-numbers"\n[f-numbers]\nff = 20\n', "fl"),
        ('measure = "straightedge"\n[straightedge]\nlengths_mm=[1]\nlimits_mm=[1]\n', "text"),
        ("text = ", "TOML"),
    ],
)
def test_a_wrong_rule_is_refused_with_the_key_at_fault(text: str, say: str) -> None:
    with pytest.raises(BadInput) as refused:
        parse_rule(text, "mine", "mine.toml")
    assert say in str(refused.value)
    assert "mine.toml" in str(refused.value)


def test_a_file_of_ones_own(tmp_path: Path) -> None:
    path = tmp_path / "planks.toml"
    path.write_text(GOOD + "lengths_mm = [1800]\nlimits_mm = [2]\n")
    rule = load_rule(path)
    assert rule.key == "planks"
    assert rule.limit_mm(1000) == 2
