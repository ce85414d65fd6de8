"""Pins that pass but stand out from their siblings."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.judge.judge_error import JudgeError
from bench.judge.siblings import a_decade_below, compare

CABLE = {f"pin {n}": 1.00 + 0.01 * (n % 3) for n in range(1, 13)}


def names(comparison):
    return [each.name for each in comparison.stand_outs]


def test_a_poor_contact_stands_out():
    found = compare({**CABLE, "pin 7": 1.62}, "Ω", resolution=0.01)
    assert names(found) == ["pin 7"]
    assert found.sentence == "pin 7 reads 1.62 Ω, 60 % above its siblings' 1.01 Ω: look at it."
    assert found.scores["pin 7"] == pytest.approx(0.6745 * 0.61 / 0.01, rel=0.2)


def test_low_and_far_out_ones_are_named_in_order():
    found = compare({**CABLE, "pin 3": 0.35, "pin 9": 4.0}, "Ω", resolution=0.01)
    assert names(found) == ["pin 9", "pin 3"]
    assert "3.96 times higher than" in found.stand_outs[0].sentence
    assert "2.89 times lower than" in found.stand_outs[1].sentence
    assert found.stand_outs[1].score < 0


def test_a_wire_that_reads_as_good_as_nothing_says_where_to_look():
    for value in (0.02, 0.0, -0.01):
        found = compare({**CABLE, "pin 3": value}, "Ω", resolution=0.01)
        assert names(found) == ["pin 3"]
        assert "as good as nothing where its siblings read 1.01 Ω: the probes may have touched" in found.sentence
    # insulation a decade below is a leak, and no touch of the probes
    poor = a_decade_below({**{f"pair {n}": 1e9 for n in range(8)}, "pair 9": 1e6}, "Ω")
    assert "times lower" in poor[0].sentence


def test_agreement_is_said():
    found = compare(CABLE, "Ω", resolution=0.01)
    assert found.stand_outs == ()
    assert found.sentence == "All 12 agree: about 1.01 Ω each."


def test_identical_readings_are_judged_by_the_last_digit():
    """MAD is zero: one or two steps of the last digit are nothing, three are marked."""
    same = {f"pin {n}": 1.00 for n in range(9)}
    for steps, marked in ((0, []), (1, []), (2, []), (3, ["odd"]), (-3, ["odd"])):
        assert names(compare({**same, "odd": 1.00 + steps * 0.01}, "Ω", resolution=0.01)) == marked


def test_too_few_are_not_compared():
    found = compare({"a": 1.0, "b": 1.0, "c": 9.0, "d": 1.0}, "Ω", resolution=0.01)
    assert found.stand_outs == ()
    assert found.sentence == "Too few to compare: 4 readings, 5 are needed."


def test_readings_about_zero():
    found = compare({**{f"p{n}": 0.001 * (n % 2) for n in range(8)}, "odd": -0.5}, "V", resolution=0.001)
    assert names(found) == ["odd"] and "below its siblings'" in found.sentence


@pytest.mark.parametrize("bad", [{}, {"a": float("nan")}])
def test_bad_groups_are_refused(bad):
    with pytest.raises(JudgeError):
        compare(bad, "Ω", resolution=0.01)
    with pytest.raises(JudgeError, match="resolution"):
        compare(CABLE, "Ω", resolution=0.0)


def test_one_wild_value_cannot_hide_itself_or_others():
    """With mean and standard deviation no score of 12 values exceeds 11/√12 = 3.2 (NIST e-Handbook 1.3.5.17)."""
    found = compare({**CABLE, "pin 7": 1e6, "pin 8": 1.62}, "Ω", resolution=0.01)
    assert names(found) == ["pin 7", "pin 8"]


def test_normal_readings_are_rarely_marked():
    """3.5 robust standard deviations: about one reading in two thousand of a large normal group."""
    rng = np.random.default_rng(8)
    marked = sum(
        len(
            compare({str(i): float(v) for i, v in enumerate(rng.normal(1, 0.05, 200))}, "Ω", resolution=1e-4).stand_outs
        )
        for _ in range(50)
    )
    assert marked / 10_000 < 0.0015


@given(st.lists(st.floats(0.5, 2.0), min_size=5, max_size=40), st.floats(0.1, 10.0))
def test_scores_do_not_depend_on_scale(values, scale):
    group = {str(i): v for i, v in enumerate(values)}
    here = compare(group, "Ω", resolution=0.01)
    there = compare({k: v * scale for k, v in group.items()}, "Ω", resolution=0.01 * scale)
    for name in group:
        assert there.scores[name] == pytest.approx(here.scores[name], rel=1e-6, abs=1e-6)


def test_insulation_is_compared_in_decades() -> None:
    """Half of its siblings' is ordinary for insulation, a tenth is not; who was over range counts with what it is at
    least."""
    good = {f"pair {n}": 2e9 * (1 + 0.4 * (n % 3)) for n in range(1, 8)}
    assert a_decade_below({**good, "pair 8": 0.9e9}, "Ω") == ()
    (odd,) = a_decade_below({**good, "pair 8": 40e6}, "Ω")
    assert odd.name == "pair 8" and odd.score == pytest.approx(-1.85, abs=0.01)
    assert "times lower than its siblings'" in odd.sentence
    assert a_decade_below({"a": 1e9, "b": 1e6, "c": 1e9, "d": 1e9}, "Ω") == (), "too few to compare"
    with pytest.raises(JudgeError):
        a_decade_below({"a": 0.0}, "Ω")
