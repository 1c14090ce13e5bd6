from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.calibration_line import calibration_line

PLACES = [1.0, 2.0, 4.0, 7.0, 9.0]
VALUES = [2.1, 3.9, 8.2, 13.8, 18.3]


def test_it_is_the_line_of_scipy():
    from scipy.stats import linregress

    peer, line = linregress(PLACES, VALUES), calibration_line(PLACES, VALUES)
    assert (line.slope, line.intercept) == pytest.approx((peer.slope, peer.intercept))
    assert (line.u_slope, line.u_intercept) == pytest.approx((peer.stderr, peer.intercept_stderr))


@given(reference=st.floats(-50, 50), x=st.floats(-20, 20))
def test_the_reference_changes_no_prediction(reference, x):
    """The correlation makes up for it."""
    value, uncertainty = calibration_line(PLACES, VALUES).predict(x)
    moved, moved_uncertainty = calibration_line(PLACES, VALUES, reference).predict(x)
    assert moved == pytest.approx(value, abs=1e-9)
    assert moved_uncertainty == pytest.approx(uncertainty, rel=1e-6)


def test_it_is_known_best_in_the_middle():
    line = calibration_line(PLACES, VALUES, reference=4.6)
    assert line.correlation == pytest.approx(0, abs=1e-12)
    assert line.predict(4.6)[1] == pytest.approx(line.residual_sd / math.sqrt(5))
    assert line.predict(4.6)[1] < line.predict(1.0)[1] < line.predict(-5.0)[1]
    assert line.covers(9.0)
    assert not line.covers(9.1)


@pytest.mark.parametrize(
    ("x", "y", "code"),
    [
        ([1, 2], [1, 2], "calibration_line.points"),
        ([1, 1, 1], [1, 2, 3], "calibration_line.points"),
        ([1, 2, 3], [1, 2], "calibration_line.points"),
        ([1, 2, math.nan], [1, 2, 3], "science.not_finite"),
    ],
)
def test_points_that_make_no_line_are_refused(x, y, code):
    with pytest.raises(KitError) as error:
        calibration_line(x, y)
    assert error.value.code == code
