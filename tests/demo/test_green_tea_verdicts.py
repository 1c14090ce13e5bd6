"""The green tea study judged by the kit's own verdicts: seven versions against a point inside made twice."""

from __future__ import annotations

import math

import pytest

import kit
from tests.trials.together import chance_together

STUDY = "green-tea"
# viscosity at 72 h, mPa.s, typed from the study as it was laid down
INSIDE = (15600, 15480)
TRIALS = {"TEA-01": 23960, "TEA-02": 18840, "TEA-03": 19320, "TEA-04": 11520, "TEA-05": 10200, "TEA-06": 6800}
CONFIRMED = 16400
SPREAD = math.log(INSIDE[0] / INSIDE[1]) / math.sqrt(2)  # SD of two, 1 degree of freedom
ERROR = SPREAD * math.sqrt(1 + 1 / 2)


@pytest.fixture(scope="module")
def thick(comparison):
    """Viscosity at 72 h."""
    return comparison.result("viscosity", "72 h")


@pytest.mark.parametrize("trial", TRIALS)
def test_every_corner_differs_from_the_point_inside(thick, trial):
    found = thick.arm(trial).difference
    assert found.code == "real"
    assert found.value == pytest.approx(TRIALS[trial] / math.sqrt(INSIDE[0] * INSIDE[1]), rel=1e-9)
    assert not found.low <= 1 <= found.high
    assert chance_together(math.log(found.half_width) / ERROR, 1, 2, (1,) * 7) == pytest.approx(0.95, abs=0.001)


def test_the_scatter_of_half_a_percent_is_itself_poorly_known(thick):
    """0.55 % with 1 degree of freedom: chi-square 5.024 and 0.000982, 0.24 to 17 %."""
    told = thick.arm("TEA-01").difference.words
    assert "scatter itself poorly known (1 df: 0.55 % of the value, 95 % between 0.24 and 17 %)" in told


def test_the_confirmation_cannot_be_told_from_the_point_inside(thick):
    found = thick.arm("TEA-09").difference
    assert found.value == pytest.approx(CONFIRMED / math.sqrt(INSIDE[0] * INSIDE[1]), rel=1e-9)
    assert (found.code, found.low < 1 < found.high) == ("cannot_tell", True)
    assert any("no control was made on" in caution for caution in found.cautions)


def test_half_width_and_what_would_be_found_are_named_apart(thick):
    found = thick.arm("TEA-09").difference
    assert 1 < found.half_width < found.detectable
    assert f"half-width a factor of {found.half_width:.2f}" in found.words
    assert f"found four times in five: a factor of {found.detectable:.2f}" in found.words


def test_against_a_margin_of_20_percent_the_confirmation_is_the_same(source, demo):
    """t of 0.95 with 1 degree of freedom is 6.314: ln 1.0554 ± 6.314 x 0.00669, 1.012 to 1.101, inside 1/1.2 to 1.2."""
    found = kit.compare(source, demo.compared, control=demo.control, margin="20 %").result("viscosity", "72 h")
    same = found.arm("TEA-09").difference
    assert same.code == "equivalent"
    assert (same.same_low, same.same_high) == pytest.approx((1.0117, 1.1008), abs=6e-4)
    assert {found.arm(trial).difference.code for trial in TRIALS} == {"real"}


def test_combing_cannot_be_told_from_two_batches_of_the_point_inside(comparison):
    """41 and 43 %: SD 1.41 with 1 degree of freedom. 51 against 42 seems clear and is not."""
    result = comparison.result("wet-combing force", "7 d")
    assert {arm.difference.code for arm in result.arms[1:]} == {"cannot_tell"}
    worst = result.arm("TEA-01").difference
    assert worst.value == pytest.approx(51 - 42, abs=1e-9)
    assert (worst.n_arm, worst.n_control) == (1, 2)  # three tresses are one batch
