"""Water lost on heating: an estimate, and what the balance says beside it."""

from __future__ import annotations

import math

import pytest

from kit.science.thermophysical import ThermalError
from kit.science.water_loss import estimated_loss, evaporation_flux, reconcile

LOSS = estimated_loss([0, 20], [75, 75], 10)  # about 17.7 g, 8.8 to 26.5


def test_more_leaves_the_hotter_the_wider_the_longer():
    assert evaporation_flux(75, 22) > 5 * evaporation_flux(45, 22) > 0
    assert estimated_loss([0, 40], [75, 75], 10).mass_g == pytest.approx(2 * LOSS.mass_g)
    assert estimated_loss([0, 20], [75, 75], 20).mass_g == pytest.approx(4 * LOSS.mass_g)
    assert evaporation_flux(75, 22, humidity=1.0) < evaporation_flux(75, 22, humidity=0.0)


def test_cold_water_in_a_humid_room_loses_nothing():
    assert evaporation_flux(10, 30, humidity=0.9) == 0


def test_a_cover_keeps_most_of_it_in():
    """3 to 10 times less: 1.5 times the open estimate over 3 at most, half of it over 10 at least."""
    covered = estimated_loss([0, 20], [75, 75], 10, covered=True)
    assert covered.high_g == pytest.approx(LOSS.mass_g * 1.5 / 3)
    assert covered.low_g == pytest.approx(LOSS.mass_g * 0.5 / 10)
    assert covered.low_g < covered.mass_g < covered.high_g
    assert "a covered vessel, an estimate only" in covered.words and "an open vessel" in LOSS.words


def test_a_cooling_log_is_added_up_along_its_curve():
    """Straight from 75 to 45 degC: less than at 75, more than at 45, and less than their mean, the law being convex."""
    between = estimated_loss([0, 20], [75, 45], 10).mass_g
    cold = estimated_loss([0, 20], [45, 45], 10).mass_g
    assert cold < between < (LOSS.mass_g + cold) / 2
    many = estimated_loss(range(21), [75 - 1.5 * minute for minute in range(21)], 10).mass_g
    assert between == pytest.approx(many, rel=0.02)


@pytest.mark.parametrize(
    ("loss_g", "verdict", "rest"),
    [
        (15.0, "explained", 0.0),
        (26.6, "explained", 0.0),
        (40.0, "more than evaporation explains", 40.0 - LOSS.high_g),
        (2.0, "less than evaporation explains", 2.0 - LOSS.low_g),
        (-3.0, "a gain", -3.0),
    ],
)
def test_the_balance_and_the_estimate(loss_g, verdict, rest):
    found = reconcile(loss_g, 0.1, LOSS)
    assert found.verdict == verdict
    assert found.unexplained_g == pytest.approx(rest)
    assert found.explained == (rest == 0)


def test_a_coarse_balance_cannot_tell():
    little = estimated_loss([0, 5], [45, 45], 5)
    assert reconcile(0.5, 1.0, little).verdict == "too small to tell"
    assert reconcile(-1.5, 1.0, little).verdict == "too small to tell"


@pytest.mark.parametrize(
    ("ask", "code"),
    [
        (lambda: evaporation_flux(100, 22), "water_loss.range"),
        (lambda: evaporation_flux(75, 22, 55), "water_loss.range"),
        (lambda: evaporation_flux(math.nan, 22), "water_loss.range"),
        (lambda: estimated_loss([0], [75], 10), "water_loss.log"),
        (lambda: estimated_loss([0, 20], [75, 75], 0), "water_loss.log"),
        (lambda: reconcile(math.nan, 0.1, LOSS), "water_loss.weighed"),
    ],
)
def test_what_cannot_be_estimated(ask, code):
    with pytest.raises(ThermalError) as caught:
        ask()
    assert caught.value.code == code
