"""The electrode line: theoretical slope, two and three buffers, an unknown, temperature, and what is refused."""

import math

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.electrode import bracketed, calibrate_electrode, nernst_slope_mv

PHTHALATE, PHOSPHATE, CARBONATE = 4.005, 6.865, 10.012


def test_the_theoretical_slope_by_temperature():
    """R T ln 10 / F, R 8.314462618 and F 96485.33212 (CODATA 2018); Buck et al., Pure Appl. Chem. 74 (2002) 2169."""
    temps = np.array([5, 10, 20, 25, 30, 40, 50])
    printed = [55.191, 56.183, 58.167, 59.159, 60.151, 62.136, 64.12]
    assert nernst_slope_mv(temps) == pytest.approx(printed, abs=0.001)
    assert nernst_slope_mv(25) == pytest.approx(0.19842 * 298.15, abs=0.002)  # the handbook form 0.1984 T


def test_two_buffers():
    """By hand: (7.4 - 171.2) / (6.865 - 4.005) = -57.2727, 96.81 % of 59.159; 7.4 - 57.2727 x 0.135 = -0.33 mV."""
    line = calibrate_electrode([171.2, 7.4], [PHTHALATE, PHOSPHATE], 25)
    assert line.slope_mv_per_ph == pytest.approx(-57.273, abs=0.001)
    assert line.slope_pct == pytest.approx(96.81, abs=0.01)
    assert line.offset_mv == pytest.approx(-0.33, abs=0.005)
    assert line.zero_point_ph == pytest.approx(6.994, abs=0.0005)
    assert line.ph(120.0) == pytest.approx(4.899, abs=0.001)
    assert line.residuals_mv == (0.0, 0.0)
    assert line.ph(171.2) == pytest.approx(PHTHALATE, abs=1e-12)
    assert line.ph(7.4) == pytest.approx(PHOSPHATE, abs=1e-12)


def test_the_order_of_the_buffers_does_not_matter():
    one = calibrate_electrode([171.2, 7.4], [PHTHALATE, PHOSPHATE], 25)
    other = calibrate_electrode([7.4, 171.2], [PHOSPHATE, PHTHALATE], 25)
    assert (one.slope_mv_per_ph, one.offset_mv) == pytest.approx((other.slope_mv_per_ph, other.offset_mv), rel=1e-12)


def test_three_buffers_by_least_squares():
    """Against numpy's polynomial fit; the largest residual is that of the buffer that was moved by 3 mV."""
    ph, mv = [PHTHALATE, PHOSPHATE, CARBONATE], [172.1, 9.4, -171.0]
    line = calibrate_electrode(mv, ph, 25)
    slope, at_zero = np.polyfit(ph, mv, 1)
    assert line.slope_mv_per_ph == pytest.approx(slope, rel=1e-10)
    assert line.offset_mv == pytest.approx(at_zero + 7 * slope, abs=1e-9)
    left = np.array(mv) - np.polyval([slope, at_zero], ph)
    assert line.residuals_mv == pytest.approx(left, abs=1e-9)
    assert math.fsum(line.residuals_mv) == pytest.approx(0, abs=1e-9)
    assert line.largest_residual_ph == pytest.approx(max(abs(left)) / abs(slope), rel=1e-9)
    moved = calibrate_electrode([172.1, 12.4, -171.0], ph, 25)
    assert moved.largest_residual_ph > line.largest_residual_ph + 0.02


def test_compensation_corrects_the_slope_of_the_electrode_only():
    """Same millivolts, other temperature, isopotential at pH 7: 5.421, 5.500, 5.572; nothing is brought to 25 degC."""
    line = calibrate_electrode([7 * nernst_slope_mv(25), 0.0], [0.0, 7.0], 25)
    assert line.slope_pct == pytest.approx(100, abs=1e-9)
    assert [line.ph(88.739, temp) for temp in (10, 25, 40)] == pytest.approx([5.421, 5.5, 5.572], abs=0.001)
    assert line.ph(0.0, 60) == 7.0


def test_many_readings_at_once():
    line = calibrate_electrode([171.2, 7.4], [PHTHALATE, PHOSPHATE], 25)
    many = np.array([171.2, 120.0, 7.4])
    assert line.ph(many) == pytest.approx([line.ph(float(one)) for one in many], abs=1e-12)


def test_an_electrode_calibrated_warm_keeps_its_share():
    """95 % of the slope at 40 degC (62.136 mV) is 59.03 mV, which at 25 degC would look like 99.8 %."""
    line = calibrate_electrode([2.7 * 0.95 * 62.136, 0.0], [4.3, 7.0], 40)
    assert line.slope_pct == pytest.approx(95, abs=0.01)


@pytest.mark.parametrize(
    ("millivolts", "buffers", "temp_c", "code"),
    [
        ([171.2], [4.005], 25, "electrode.pairs"),
        ([171.2, 7.4], [4.005], 25, "electrode.pairs"),
        ([], [], 25, "electrode.pairs"),
        ([171.2, float("nan")], [4.005, 6.865], 25, "electrode.not_finite"),
        ([171.2, 7.4], [4.005, 6.865], float("inf"), "electrode.not_finite"),
        ([171.2, 7.4], [4.005, 6.865], 298.15, "electrode.temperature"),
        ([171.2, 7.4], [7.0, 7.0], 25, "electrode.buffers"),
        ([171.2, 160.0, 7.4], [4.005, 4.2, 7.0], 25, "electrode.buffers"),
        ([-171.2, -7.4], [4.005, 6.865], 25, "electrode.slope_sign"),
        ([7.4, 171.2], [4.005, 6.865], 25, "electrode.slope_sign"),
        ([0.0, 0.0], [4.005, 6.865], 25, "electrode.slope_sign"),
    ],
)
def test_what_makes_no_calibration_is_refused(millivolts, buffers, temp_c, code):
    with pytest.raises(KitError) as refused:
        calibrate_electrode(millivolts, buffers, temp_c)
    assert refused.value.code == code


def test_buffers_half_a_ph_apart_make_a_line():
    """4.005 and 4.505 with 29.5 mV between them: -59.0 mV per pH."""
    assert calibrate_electrode([177.0, 147.5], [4.005, 4.505], 25).slope_mv_per_ph == pytest.approx(-59.0)


def test_bracketing():
    assert bracketed([4.01, 7.0], 4.6)
    assert bracketed([7.0, 4.01], 4.01)
    assert not bracketed([7.0, 10.01], 4.6)
    assert not bracketed([4.01, 7.0], 3.99)
    assert not bracketed([4.6], 4.6)
    assert not bracketed([4.6, 4.6], 4.6)
