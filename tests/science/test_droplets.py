from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.droplets import DropletCount, interface_m2_per_ml, monolayer_g_per_l

sizes = st.lists(st.floats(0.1, 50), min_size=2, max_size=12)


@given(sizes=sizes)
def test_higher_moments_weigh_large_droplets_more(sizes):
    count = DropletCount(sizes)
    ordered = [count.mean(p, q).value_um for p, q in ((1, 0), (2, 1), (3, 2), (4, 3))]
    assert all(low <= high * (1 + 1e-12) for low, high in pairwise(ordered))
    assert min(sizes) * (1 - 1e-9) <= ordered[0]
    assert ordered[-1] <= max(sizes) * (1 + 1e-9)


@given(sizes=sizes, factor=st.floats(0.1, 10))
def test_a_lens_of_another_scale_scales_every_mean(sizes, factor):
    count, scaled = DropletCount(sizes), DropletCount([size * factor for size in sizes])
    for p, q in ((1, 0), (3, 2), (2, 2), (4, 3)):
        assert scaled.mean(p, q).value_um == pytest.approx(factor * count.mean(p, q).value_um)


def test_printed_it_says_its_words():
    """By hand: (8 + 8) / (8 + 4) = 1.33 um."""
    found = DropletCount([1, 2], [8, 1])
    assert str(found) == repr(found) == found.words
    assert str(found).startswith("D[3,2] 1.33 um from 9 droplets")


def test_one_size_has_no_width_and_no_counting_error():
    count = DropletCount([2.0], [500])
    assert count.sauter.value_um == pytest.approx(2)
    assert count.sauter.standard_error_um == pytest.approx(0, abs=1e-12)
    assert count.span == pytest.approx(0)


def test_the_geometric_mean():
    """D[0,0] of 1 and 4 um in equal number is 2 um; by volume the mean of logs is 64/65 ln 4."""
    count = DropletCount([1, 4])
    assert count.mean(0, 0).value_um == pytest.approx(2)
    assert count.mean(3, 3).value_um == pytest.approx(math.exp(64 / 65 * math.log(4)))


@pytest.mark.parametrize(
    ("p", "q", "low", "high"), [(1, 0, 0.9, 1.1), (0, 0, 0.9, 1.1), (3, 2, 0.75, 1.0), (4, 3, 0.5, 0.9)]
)
def test_the_counting_error_against_repeated_counts(p, q, low, high):
    """4,000 simulated counts of 400 droplets from one log-normal emulsion, sd of ln d 0.4. The error told of one count
    is right for plain means, and a lower end for the moments that rare large droplets carry."""
    import numpy as np

    rng = np.random.default_rng(7)
    draws = np.exp(rng.normal(math.log(3), 0.4, (4000, 400)))
    if p == q:
        means = np.exp(np.log(draws).mean(axis=1))
    else:
        means = ((draws**p).sum(axis=1) / (draws**q).sum(axis=1)) ** (1 / (p - q))
    told = [DropletCount(row).mean(p, q) for row in draws[:200]]
    assert [one.value_um for one in told] == pytest.approx(list(means[:200]))
    assert low < np.mean([one.standard_error_um for one in told]) / means.std() < high


def test_the_sauter_mean_of_a_log_normal_emulsion():
    """D[3,2] = median exp(2.5 s2), D[4,3] = median exp(3.5 s2); classes of 0.01 in ln d over 8 s."""
    s = 0.5
    logs = [0.01 * step for step in range(-400, 401)]
    count = DropletCount([3 * math.exp(log) for log in logs], [1e4 * math.exp(-((log / s) ** 2) / 2) for log in logs])
    assert count.sauter.value_um == pytest.approx(3 * math.exp(2.5 * s**2), rel=1e-4)
    assert count.volume_mean.value_um == pytest.approx(3 * math.exp(3.5 * s**2), rel=1e-4)
    # by volume the median is 3 exp(3 s2), and d10, d90 lie 1.2816 s off in ln
    assert count.volume_percentile_um(50) == pytest.approx(3 * math.exp(3 * s**2), rel=5e-3)
    width = math.exp(1.2816 * s) - math.exp(-1.2816 * s)
    assert count.span == pytest.approx(width, rel=5e-3)


def test_percentiles_run_straight_between_the_sizes_counted():
    """8 droplets of 1 um and 1 of 2 um have volumes 8 and 8: each stands at the middle of its share, 25 and 75 %."""
    count = DropletCount([2, 1], [1, 8])
    assert [count.volume_percentile_um(percent) for percent in (10, 25, 50, 75, 90)] == pytest.approx([1, 1, 1.5, 2, 2])


def test_few_droplets_are_said_to_be_few():
    assert "fewer than 300" in DropletCount([1, 2, 4], [100, 50, 5]).words
    assert "fewer" not in DropletCount([1, 2, 4], [300, 50, 5]).words


@pytest.mark.parametrize(
    ("diameters", "counts", "code"),
    [
        ([], None, "droplets.count"),
        ([1, 2], [1], "droplets.count"),
        ([1, 2], [0, 0], "droplets.count"),
        ([1, 2], [3, -1], "droplets.count"),
        ([1, 2], [3, math.nan], "droplets.count"),
        ([0, 2], None, "science.not_positive"),
        ([1, math.nan], None, "science.not_positive"),
    ],
)
def test_impossible_counts_are_refused(diameters, counts, code):
    with pytest.raises(KitError) as error:
        DropletCount(diameters, counts)
    assert error.value.code == code


def test_other_refusals():
    with pytest.raises(KitError) as error:
        interface_m2_per_ml(10, 2)
    assert error.value.code == "droplets.fraction"
    with pytest.raises(KitError) as error:
        DropletCount([1, 2]).volume_percentile_um(100)
    assert error.value.code == "droplets.percentile"
    with pytest.raises(KitError) as error:
        monolayer_g_per_l(0.3, 0, 404.2)
    assert error.value.code == "science.not_positive"
