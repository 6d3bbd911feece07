"""Proofs and what they say, as values."""

import numpy as np
import pytest

from rig.flatness.level_lines import LevelLine
from rig.flatness.rules import load_rule
from rig.report.document import Section
from rig.report.proof_part import verdict_blocks
from rig.report.text import to_text
from rig.study.proof_answer import LaserShare, Proof, proof_of_lines
from rig.units import METRIC


def valley(gap_mm: float) -> list[LevelLine]:
    """A line whose middle lies so much under an edge of 10 ft."""
    along = 304.8 * (np.arange(21) - 10.0)
    return [LevelLine("A", gap_mm / 1524.0 * np.abs(along), 304.8, 0.05)]


def told(gap_mm: float, why: bool) -> list[str]:
    answer = proof_of_lines(valley(gap_mm), load_rule("click-lock"), 0.95, METRIC)
    part = Section("proof", "Proof of flatness", tuple(verdict_blocks(answer, METRIC, ())))
    return to_text([part], why=why, width=1000).splitlines()


def test_a_table_of_lines_is_told_by_its_worst_place() -> None:
    answer = proof_of_lines(valley(8.0), load_rule("click-lock"), 0.95, METRIC)
    assert type(answer) is Proof
    assert answer.worst is not None
    assert answer.worst.gap_mm == pytest.approx(8.0)
    assert answer.worst.where == "3.05 m along line A"
    assert {"laser", "before", "change"}.isdisjoint(answer.as_json())


def test_the_answer_is_short_and_why_holds_all_of_it() -> None:
    short, whole = told(8.0, why=False), told(8.0, why=True)
    assert 3 <= len(short) <= 6
    assert short[0].startswith("OUT: ")
    assert all(line in whole for line in short if not line.startswith("(") and "stands" not in line)
    assert any("Judged on the lines only" in line for line in whole)
    assert not any("Judged on the lines only" in line for line in short)


def test_what_is_too_close_to_tell_says_why_at_once() -> None:
    coarse = [LevelLine("A", np.random.default_rng(4).uniform(-0.4, 0.4, 41), 304.8, 3.0)]
    answer = proof_of_lines(coarse, load_rule("click-lock"), 0.95, METRIC)
    part = Section("proof", "Proof of flatness", tuple(verdict_blocks(answer, METRIC, ())))
    assert answer.verdict == "unsure"
    assert "readings as they stand keep the rule" in to_text([part], width=1000)


def test_a_floor_without_curvature_has_no_end_of_f_numbers_in_json() -> None:
    flat = [LevelLine("A", np.zeros(20), 304.8)]
    answer = proof_of_lines(flat, load_rule("e1155"), 0.95, METRIC)
    assert (answer.ff, answer.fl, answer.ff_ci90) == (None, None, (None, None))


def test_a_lasers_share_tells_only_what_there_is() -> None:
    assert LaserShare(gap_stderr_mm=0.5).as_json() == {"gap_stderr_mm": 0.5}
