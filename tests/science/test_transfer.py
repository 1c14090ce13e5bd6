from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.transfer import TransferLoss, pipe_shear_rate_per_s


def test_a_loss_in_the_pump():
    loss = TransferLoss(16_000, 12_000, relative_sd_pct=3)
    assert loss.ratio == pytest.approx(0.75)
    assert loss.change_pct == pytest.approx(-25)
    assert loss.distinguishable
    assert "25 % lost" in loss.words
    assert "24 and 72 h" in loss.words


def test_a_difference_that_two_readings_show_anyway():
    """By hand: 2 x root 2 x 5 % = 14.1 % in ln; ln(15/16) = -6.5 %."""
    loss = TransferLoss(16_000, 15_000, relative_sd_pct=5)
    assert loss.distinguishable is False
    assert "no change" in loss.words


def test_the_scatter_of_both_readings_counts():
    """By hand: ln(14,200 / 16,000) = -11.9 %, inside 2 x root 2 x 5 % = 14.1 %, outside 2 x 5 %."""
    assert TransferLoss(16_000, 14_200, relative_sd_pct=5).distinguishable is False
    assert TransferLoss(16_000, 13_800, relative_sd_pct=5).distinguishable is True


def test_without_scatter_nothing_is_tested():
    loss = TransferLoss(16_000, 12_000)
    assert loss.distinguishable is None
    assert "not tested" in loss.words


def test_a_gain_is_called_a_gain():
    assert "gained" in TransferLoss(10_000, 15_000, 2).words


def test_a_filling_nozzle():
    """By hand: 3 L/min = 5e-5 m3/s through 8 mm: 4 x 5e-5 / (pi x 6.4e-8) = 994.7 1/s; n 0.3: x 1.9 / 1.2."""
    assert pipe_shear_rate_per_s(3, 8) == pytest.approx(994.7, abs=0.1)
    assert pipe_shear_rate_per_s(3, 8, 0.3) == pytest.approx(994.7 * 1.9 / 1.2, rel=1e-4)


@given(bore=st.floats(1, 100), flow=st.floats(0.01, 500), index=st.floats(0.1, 0.99))
def test_thinning_steepens_the_profile_at_the_wall(bore, flow, index):
    assert pipe_shear_rate_per_s(flow, bore, index) > pipe_shear_rate_per_s(flow, bore)
    assert pipe_shear_rate_per_s(flow, bore) / pipe_shear_rate_per_s(flow, 2 * bore) == pytest.approx(8)


def test_a_viscosity_of_zero_is_refused():
    with pytest.raises(KitError) as error:
        TransferLoss(16_000, 0)
    assert error.value.code == "science.not_positive"
