"""Combing force. Referees: scipy's t intervals on logarithms, arithmetic by hand; coverage by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from kit.errors import KitError
from kit.science.combing import Tress, against, combed, treatments

A, B, C = (41, 47, 50), (28, 31, 34), (40, 45, 47)


def made(**shares: tuple[float, ...]) -> list[Tress]:
    return [Tress(f"{name}{place}", name, value) for name, row in shares.items() for place, value in enumerate(row)]


def test_strokes_of_a_tress_are_averaged_before_anything_else():
    """Before 58, 60, 62: 60; after 24, 30: 27; 45 %. The strokes of one tress never make a second one."""
    tress = combed("t1", "A", [58, 60, 62], [24, 30])
    assert tress.residual_pct == pytest.approx(45.0)
    assert tress.strokes == (3, 2)
    more = combed("t1", "A", [58, 60, 62] * 20, [24, 30] * 20)
    assert more.residual_pct == pytest.approx(45.0)
    one, forty = (treatments([tress_, combed("t2", "A", [60], [30])])[0] for tress_ in (tress, more))
    assert (one.low, one.high, len(one.tresses)) == (forty.low, forty.high, 2)


def test_mean_and_interval_are_those_of_the_logarithms():
    found = treatments(made(A=A))[0]
    logs = np.log(A)
    low, high = stats.t.interval(0.95, 2, logs.mean(), stats.sem(logs))
    assert (found.residual_pct, found.low, found.high) == pytest.approx(
        (stats.gmean(A), math.exp(low), math.exp(high)), rel=1e-6
    )
    assert found.sd_pct == pytest.approx(100 * (math.exp(logs.std(ddof=1)) - 1))
    assert not found.scatter_known and found.lowers is True


def test_two_treatments_are_compared_by_welch_on_logarithms():
    (found,) = against(treatments(made(A=A, B=B)), "A")
    peer = stats.ttest_ind(np.log(B), np.log(A), equal_var=False)
    low, high = np.exp(peer.confidence_interval(0.95))
    assert (found.ratio, found.low, found.high) == pytest.approx((stats.gmean(B) / stats.gmean(A), low, high), rel=1e-6)
    assert found.df == pytest.approx(peer.df) and found.differs is True


def test_more_than_two_are_pooled_and_widened():
    """Pooled over three treatments: 6 degrees of freedom; two comparisons at 97.5 % each."""
    found = against(treatments(made(A=A, B=B, C=C)), "A")
    assert [(item.first, item.df, item.comparisons) for item in found] == [("B", 6, 2), ("C", 6, 2)]
    sd = math.sqrt(sum(np.log(row).var(ddof=1) for row in (A, B, C)) / 3)
    half = stats.t.ppf(1 - 0.05 / 4, 6) * sd * math.sqrt(2 / 3)
    for item, row in zip(found, (B, C), strict=True):
        step = np.log(row).mean() - np.log(A).mean()
        assert (item.low, item.high) == pytest.approx((math.exp(step - half), math.exp(step + half)), rel=1e-6)
    assert [item.differs for item in found] == [True, False]


def test_order_and_unit_of_the_force_change_nothing():
    forward, back = treatments(made(A=A, B=B)), treatments(made(A=A[::-1], B=B[::-1]))
    assert [item.residual_pct for item in forward] == pytest.approx([item.residual_pct for item in back])
    one, other = combed("t", "A", [60, 62], [27]), combed("t", "A", [0.588, 0.6076], [0.2646])
    assert one.residual_pct == pytest.approx(other.residual_pct, rel=1e-6)


def test_a_wide_scatter_and_few_strokes_are_said():
    """30, 60: logarithms 0.69 apart, an SD of 0.49 or 63 %."""
    found = treatments(made(A=(30, 60)))[0]
    assert "63 %, more than the usual 20 %" in found.notes[0]
    few = treatments([combed(f"t{place}", "A", [60] * 5, [force] * 5) for place, force in enumerate((24, 25, 27))])[0]
    assert few.notes == ("from 5 strokes a tress, where 15 to 25 are usual",)


def test_one_tress_or_tresses_all_alike_have_no_interval():
    alone, alike = treatments(made(A=(40,), B=(40, 40)))
    assert (alone.low, alone.reason) == (None, "one tress: its scatter is not known")
    assert (alike.low, alike.reason) == (None, "the tresses are all alike: no scatter is known")
    (found,) = against([alone, alike], "A")
    assert found.low is None and found.differs is None and found.reason


def test_intervals_hold_what_they_say(thorough):
    """True residuals 40 and 36 % with 12 % scatter, five tresses each: 95 % of ratio intervals hold 0.9."""
    drawn, count = np.random.default_rng(11), 4000 if thorough else 600
    held = 0
    for _ in range(count):
        shares = 100 * np.exp(drawn.normal(np.log([[0.4], [0.36]]), 0.12, (2, 5)))
        (found,) = against(treatments(made(A=tuple(shares[0]), B=tuple(shares[1]))), "A")
        held += found.low <= 0.9 <= found.high
    assert abs(held / count - 0.953) < 4 * math.sqrt(0.05 * 0.95 / count)


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: treatments([*made(A=A), Tress("A0", "A", 44)]), "combing.strokes"),
        (lambda: treatments([*made(A=A), Tress("A0", "B", 44)]), "combing.strokes"),
        (lambda: combed("t", "A", [60], []), "combing.before_after"),
        (lambda: combed("t", "A", [], []), "combing.before_after"),
        (lambda: combed("t", "A", [0], [30]), "science.not_positive"),
        (lambda: treatments(made(A=(40, -1))), "science.not_positive"),
        (lambda: against(treatments(made(A=A)), "Z"), "combing.control"),
        (lambda: against(treatments(made(A=A, B=B)), "A", confidence=2), "statistics.confidence"),
    ],
)
def test_what_is_no_tress_is_refused(call, code):
    with pytest.raises(KitError) as caught:
        call()
    assert caught.value.code == code
