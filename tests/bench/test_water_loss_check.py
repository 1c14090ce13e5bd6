"""Missing water against its estimate. Expected: the estimate at a steady temperature by a published loss rate."""

from __future__ import annotations

import pytest

from kit.bench.cooling_log import CoolingLog
from kit.bench.water_loss_check import check_water_loss
from kit.formula.vessel_wall import read_vessel

HOT = CoolingLog("X-1/1", ((0.0, 75.0), (10.0, 75.0), (20.0, 75.0)), room_c=22.0)
BEAKER = read_vessel("glass beaker, 10 cm wide")
SCATTER = [0.01]


def check(missing_g, log=HOT, vessel=BEAKER, scatter=SCATTER, until=None):
    return check_water_loss(log, vessel, missing_g, scatter, until)


def test_the_estimate_is_that_of_an_open_beaker_at_75_degrees():
    """A mass transfer coefficient of 5 to 10 mm/s gives 8 to 16 g in 20 min from 10 cm."""
    found = check(12.0)
    assert 6 < found.estimate.mass_g < 24
    assert found.estimate.low_g == pytest.approx(0.5 * found.estimate.mass_g)
    assert found.estimate.high_g == pytest.approx(1.5 * found.estimate.mass_g)


def test_explained_unexplained_and_too_little():
    estimate = check(12.0).estimate
    assert "EXPLAINED" in check(estimate.mass_g).words
    assert "UNEXPLAINED" not in check(estimate.mass_g).words
    more = check(estimate.high_g + 3)
    assert "UNEXPLAINED: 3.00 g more" in more.words
    assert more.reconciled.unexplained_g == pytest.approx(3.0)
    assert "Less than the estimate" in check(estimate.low_g - 1).words
    assert "UNEXPLAINED: 2.00 g more than was put in" in check(-2.0).words


def test_printed_it_says_its_words():
    for found in (check(12.0), check(None), check(12.0, vessel=None)):
        assert str(found) == repr(found) == found.words
    assert str(check(12.0)).startswith("12.00 g missing at the weighings of the vessel")


def test_a_weighing_that_scatters_more_than_the_loss_tells_nothing():
    cool = CoolingLog("X-1/1", ((0.0, 30.0), (10.0, 29.0)), room_c=22.0)
    assert "Too small to tell" in check(0.3, log=cool, scatter=[0.3]).words


def test_the_log_is_cut_at_the_weighing_of_the_vessel():
    """Half the time at a steady temperature loses half."""
    half = check(12.0, until=10.0)
    assert half.estimate.mass_g == pytest.approx(check(12.0).estimate.mass_g / 2, rel=0.001)
    assert half.span_min == (0.0, 10.0)
    between = check(12.0, until=15.0)
    assert between.estimate.mass_g == pytest.approx(check(12.0).estimate.mass_g * 0.75, rel=0.001)


def test_a_lid_makes_it_less():
    assert (
        check(1.0, vessel=read_vessel("glass beaker, 10 cm wide, covered")).estimate.mass_g
        < check(1.0).estimate.mass_g / 3
    )


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"vessel": None}, "not described"),
        ({"vessel": read_vessel("600 mL glass beaker")}, "has no width"),
        ({"log": CoolingLog("X-1/1", ((0.0, 75.0),))}, "fewer than two temperatures"),
        ({"until": 0.0}, "fewer than two temperatures"),
    ],
)
def test_what_an_estimate_would_need_is_said(options, said):
    found = check(5.0, **options)
    assert found.estimate is None
    assert said in found.words
    assert "5.00 g missing" in found.words


def test_a_vessel_never_weighed_is_not_a_loss_of_nothing():
    found = check(None)
    assert "not known" in found.words
    assert found.reconciled is None
