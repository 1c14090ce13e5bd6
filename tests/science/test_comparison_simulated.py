"""The simulation of `python -m tests.simulations comparison` at a tenth of its draws; whole with --thorough."""

from __future__ import annotations

import pytest

from tests.simulations.comparison import BINOMIAL, COUNT, SEED, Share, run
from tests.simulations.layouts import FAMILY, FINDS, HOLDS, LAYOUTS, Layout


@pytest.mark.slow
def test_intervals_hold_families_hold_and_differences_are_found(thorough):
    """95 % intervals hold 93 to 97 %, family-wise error is below 6 %, the detectable difference found 75 to 85 %."""
    shares = list(run(SEED, COUNT) if thorough else run(SEED, COUNT // 10, slack=BINOMIAL))
    assert [share.line() for share in shares if not share.ok] == []
    assert {share.analysis for share in shares} == {"welch", "pooled", "mixed"}
    assert {share.layout.asks for share in shares} == {HOLDS, FAMILY, FINDS}


def test_only_welch_at_two_against_two_may_hold_more_than_97():
    wide = [layout for layout in LAYOUTS if layout.wide]
    for layout in wide:
        days, _ = layout.days()
        assert [len(group) for group in days] == [2, 2]
        assert layout.asks == HOLDS and not layout.history and "Welch" in layout.name
    assert len(wide) == 2


@pytest.mark.parametrize(
    ("asks", "share", "ok"),
    [(HOLDS, 0.929, False), (HOLDS, 0.971, False), (HOLDS, 0.95, True), (FAMILY, 0.061, False), (FINDS, 0.74, False)],
)
def test_a_share_outside_its_limits_is_told(asks, share, ok):
    found = Share(Layout("n", asks, (2, 2)), "welch", share, 10_000, 0.0)
    assert found.ok is ok
    assert found.line().endswith("ok" if ok else "NOT HELD")
