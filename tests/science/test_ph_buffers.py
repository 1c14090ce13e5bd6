"""Primary pH buffers: the values as printed, and straight lines between them.

Source of every table here: NBS conventional pH(S) scale, R. G. Bates, J. Res. NBS 66A (1962) 179-184; citrate and
carbonate B. R. Staples and R. G. Bates, J. Res. NBS 73A (1969) 37-41; read in a three-decimal table of a public
instrument firmware and held against the two-decimal table of JIS Z 8802 (confirmed 2011).
"""

import pytest

from kit.errors import KitError
from kit.science.ph_buffers import interpolated_ph, primary_buffer, primary_buffers

PRINTED = {
    "phthalate": ([0, 10, 15, 20, 25, 30, 35, 40, 50], [4.0, 3.997, 3.998, 4.001, 4.005, 4.011, 4.018, 4.027, 4.05]),
    "phosphate": (
        [0, 10, 15, 20, 25, 30, 35, 40, 50],
        [6.984, 6.923, 6.9, 6.881, 6.865, 6.853, 6.844, 6.838, 6.833],
    ),
    "carbonate": (
        [0, 10, 15, 20, 25, 30, 35, 40, 50],
        [10.317, 10.179, 10.118, 10.062, 10.012, 9.966, 9.925, 9.889, 9.828],
    ),
    "citrate": ([0, 10, 15, 20, 25, 30, 35, 40, 50], [3.863, 3.82, 3.803, 3.788, 3.776, 3.766, 3.759, 3.754, 3.749]),
    "phosphate 1:3.5": ([0, 10, 20, 25, 30, 40, 50], [7.534, 7.472, 7.429, 7.413, 7.4, 7.38, 7.367]),
}

# The same firmware table prints every degree from 18 to 30; the kit keeps steps of five.
EVERY_DEGREE = [18, 19, 21, 22, 23, 24, 26, 27, 28, 29]
BETWEEN = {
    "phthalate": [3.999, 4.000, 4.001, 4.002, 4.003, 4.004, 4.006, 4.007, 4.008, 4.009],
    "phosphate": [6.888, 6.884, 6.877, 6.874, 6.871, 6.868, 6.862, 6.860, 6.857, 6.855],
    "phosphate 1:3.5": [7.436, 7.432, 7.425, 7.422, 7.419, 7.416, 7.410, 7.407, 7.405, 7.402],
    "carbonate": [10.084, 10.073, 10.052, 10.042, 10.032, 10.022, 10.002, 9.993, 9.984, 9.975],
    "citrate": [3.793, 3.791, 3.785, 3.783, 3.780, 3.778, 3.774, 3.772, 3.770, 3.768],
    "borax": [9.245, 9.235, 9.216, 9.207, 9.197, 9.189, 9.171, 9.163, 9.155, 9.147],
    "tetroxalate": [1.674, 1.675, 1.676, 1.677, 1.678, 1.678, 1.680, 1.681, 1.681, 1.682],
}

# JIS Z 8802, two decimals; values in brackets there, from another laboratory, are left out. Its phthalate is another
# series: 4.01 at 0 and 5 degC, 4.06 at 50 degC.
JIS = {
    "tetroxalate": {0: 1.67, 10: 1.67, 20: 1.68, 25: 1.68, 30: 1.69, 40: 1.70, 50: 1.71},
    "phthalate": {10: 4.00, 15: 4.00, 20: 4.00, 25: 4.01, 30: 4.01, 35: 4.02, 40: 4.03, 45: 4.04},
    "phosphate": {0: 6.98, 5: 6.95, 10: 6.92, 20: 6.88, 25: 6.86, 30: 6.85, 40: 6.84, 50: 6.83},
    "borax": {0: 9.46, 5: 9.39, 10: 9.33, 15: 9.27, 20: 9.22, 25: 9.18, 30: 9.14, 35: 9.10, 40: 9.07, 50: 9.01},
    "carbonate": {0: 10.32, 10: 10.18, 25: 10.02},
}


@pytest.mark.parametrize("name", PRINTED)
def test_values_stand_as_printed(name):
    temps, values = PRINTED[name]
    assert [primary_buffer(name).ph_at(temp) for temp in temps] == values


@pytest.mark.parametrize("name", BETWEEN)
def test_a_straight_line_between_five_degrees_meets_every_printed_degree(name):
    """Worst 0.002: carbonate and borax bend. Taking the nearest printed temperature instead misses by up to 0.02."""
    missed = [
        abs(primary_buffer(name).ph_at(temp) - value) for temp, value in zip(EVERY_DEGREE, BETWEEN[name], strict=True)
    ]
    assert max(missed) <= 0.0021


def test_interpolated_phosphate():
    """6.8746 and 6.8714 by hand between 6.881 at 20 and 6.865 at 25 degC; printed 6.874 and 6.871."""
    found = [primary_buffer("phosphate").ph_at(temp) for temp in (22, 23)]
    assert found == pytest.approx([6.8746, 6.8714], abs=1e-9)
    assert found == pytest.approx([6.874, 6.871], abs=0.001)


@pytest.mark.parametrize("name", JIS)
def test_the_two_decimal_table_of_the_japanese_standard_agrees(name):
    for temp, value in JIS[name].items():
        assert primary_buffer(name).ph_at(temp) == pytest.approx(value, abs=0.0101), temp


def test_one_phthalate_series_is_built_in_and_not_mixed_with_another():
    """The redetermination of 1977, pH = 2073.44/T - 13.3270 + 0.045199 T - 3.4846e-5 T^2 (H. B. Hetzer et al., J. Res.
    NBS 81A (1977) 21, abstract), is another series: 0.001 away at 25 degC, up to 0.010 at 0 degC.
    """
    buffer = primary_buffer("phthalate")
    assert buffer.ph_at(25) == 4.005
    for temp_c, value in zip(buffer.temps_c, buffer.ph, strict=True):
        temp_k = temp_c + 273.15
        redetermined = 2073.44 / temp_k - 13.3270 + 0.045199 * temp_k - 3.4846e-5 * temp_k**2
        assert value == pytest.approx(redetermined, abs=0.0102), temp_c


@pytest.mark.parametrize("name", primary_buffers())
def test_no_printed_value_leaves_the_curve_of_its_neighbours(name):
    """A cubic through the two printed values on either side meets each within 0.002: no slip of a digit."""
    values = primary_buffer(name).ph
    for index in range(2, len(values) - 2):
        one, two, four, five = (values[index + step] for step in (-2, -1, 1, 2))
        assert values[index] == pytest.approx((-one + 4 * two + 4 * four - five) / 6, abs=0.0021), index


def test_a_bottle_is_no_primary_buffer():
    for name in ("4.01", "7.00", "7"):
        with pytest.raises(KitError) as refused:
            primary_buffer(name)
        assert refused.value.code == "buffer.unknown"
        assert "bottle" in refused.value.mend
    assert primary_buffer(" Phosphate  1:3.5 ") is primary_buffers()["phosphate 1:3.5"]


def test_a_temperature_outside_the_table_is_refused():
    for temp in (-1, 51, float("nan")):
        with pytest.raises(KitError) as refused:
            primary_buffer("phthalate").ph_at(temp)
        assert (refused.value.code, refused.value.allowed) == ("buffer.temperature", "0 to 50 degC")
    with pytest.raises(KitError):
        interpolated_ph({}, 25)


def test_a_bottle_brings_its_own_table():
    """A label that prints 7.02 at 20 and 7.00 at 25 degC says 7.01 half way: worked by hand."""
    assert interpolated_ph({20: 7.02, 25: 7.00}, 22.5) == pytest.approx(7.01, abs=1e-12)
    assert interpolated_ph({25: 4.01}, 25) == 4.01
    with pytest.raises(KitError):
        interpolated_ph({25: 4.01}, 20)
