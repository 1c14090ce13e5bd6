"""Uncertainty budgets against the worked examples of the guides."""

from __future__ import annotations

import math

import pytest

from kit.science.calibration_line import calibration_line
from kit.science.measurement_uncertainty import budget, effective_df
from kit.science.uncertainty_inputs import UncertainInput, arcsine, df_from_doubt, rectangular, triangular
from kit.science.uncertainty_use import against_limits

# JCGM 100:2008, Annex H.1, end gauge: lengths in nm, temperatures in degC.
GAUGE = (
    UncertainInput("standard", 50_000_623, 25, 18),
    UncertainInput("difference, scatter", 215, 5.8, 24),
    UncertainInput("difference, random", 0, 3.9, 5),
    UncertainInput("difference, systematic", 0, 6.7, 8),
    rectangular("expansion of the standard", 11.5e-6, 2e-6),
    rectangular("difference of expansions", 0, 1e-6, 50),
    UncertainInput("mean temperature", -0.1, 0.2),
    arcsine("swing of temperature", 0, 0.5),
    rectangular("difference of temperatures", 0, 0.05, 2),
)


def gauge_nm(at):
    difference = at["difference, scatter"] + at["difference, random"] + at["difference, systematic"]
    temperature = at["mean temperature"] + at["swing of temperature"]
    stretch = at["difference of expansions"] * temperature
    stretch += at["expansion of the standard"] * at["difference of temperatures"]
    return at["standard"] * (1 - stretch) + difference


def test_the_end_gauge():
    """JCGM 100:2008, H.1.4 to H.1.6: 50.000 838 mm, u 32 nm, 16 degrees of freedom, U99 93 nm (with u rounded to
    32)."""
    result = budget(gauge_nm, GAUGE)
    assert result.value / 1e6 == pytest.approx(50.000838, abs=5e-7)
    assert result.standard_uncertainty == pytest.approx(31.66, abs=0.05)
    assert result.df == pytest.approx(16.75, abs=0.1)
    assert result.coverage_factor(0.99) == pytest.approx(2.92, abs=0.005)
    assert result.expanded(0.99) == pytest.approx(93, abs=1)


def test_the_largest_part_of_the_end_gauge_is_the_standard():
    """JCGM 100:2008, Table H.1: 25 nm from the standard, 16.6 from the difference of temperatures, 2.9 of
    expansions."""
    adds = {part.source.name: part for part in budget(gauge_nm, GAUGE).contributions}
    assert next(iter(adds)) == "standard"
    assert adds["standard"].uncertainty == pytest.approx(25, abs=0.01)
    assert adds["difference of temperatures"].uncertainty == pytest.approx(16.6, abs=0.05)
    assert adds["difference of temperatures"].sensitivity == pytest.approx(-50_000_623 * 11.5e-6, rel=1e-6)
    assert adds["difference of expansions"].uncertainty == pytest.approx(2.9, abs=0.05)
    assert adds["mean temperature"].uncertainty == pytest.approx(0, abs=1e-6)


def test_the_second_order_of_the_end_gauge():
    """JCGM 100:2008, H.1.7: terms of 11.7 and 1.7 nm make 34 nm of 32."""
    result = budget(gauge_nm, GAUGE)
    assert result.with_second_order == pytest.approx(34, abs=0.5)
    added = math.sqrt(result.with_second_order**2 - result.standard_uncertainty**2)
    assert added == pytest.approx(math.hypot(11.7, 1.7), abs=0.1)


def test_degrees_of_freedom_of_the_difference():
    """JCGM 100:2008, H.1.6: 9.7 nm out of 5.8 (24), 3.9 (5) and 6.7 (8) has 25.6 degrees of freedom."""
    assert effective_df([(5.8, 24), (3.9, 5), (6.7, 8)]) == pytest.approx(25.6, abs=0.2)


def test_degrees_of_freedom_from_doubt():
    """JCGM 100:2008, G.4.2 example: known to 25 %, 8 degrees of freedom; H.1: 10 % gives 50 and 50 % gives 2."""
    assert [df_from_doubt(doubt) for doubt in (0.25, 0.10, 0.50)] == pytest.approx([8, 50, 2])


# JCGM 100:2008, Table H.6: thermometer readings and corrections, degC.
TEMPERATURES = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
CORRECTIONS = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_the_thermometer_line():
    """JCGM 100:2008, H.3.3: -0.1712 (29), 0.00218 (67), r -0.930, s 0.0035."""
    line = calibration_line(TEMPERATURES, CORRECTIONS, reference=20)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.u_intercept == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.u_slope == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.residual_sd == pytest.approx(0.0035, abs=5e-5)
    assert line.residual_squares == pytest.approx(0.000110096583, rel=1e-6)
    assert line.df == 9


def test_a_correction_from_the_thermometer_line():
    """JCGM 100:2008, H.3.4: -0.1494 degC at 30 degC, u 0.0041."""
    line = calibration_line(TEMPERATURES, CORRECTIONS, reference=20)
    value, uncertainty = line.predict(30)
    assert value == pytest.approx(-0.1494, abs=5e-5)
    assert uncertainty == pytest.approx(0.0041, abs=5e-5)
    assert not line.covers(30)


def test_the_thermometer_line_in_the_budget():
    """The same -0.1494 (41) from a budget of intercept and slope with their correlation, as JCGM 100:2008, H.3.4 forms
    it."""
    inputs = [UncertainInput("intercept", -0.1712, 0.0029, 9), UncertainInput("slope", 0.00218, 0.00067, 9)]
    result = budget(lambda at: at["intercept"] + 10 * at["slope"], inputs, {("intercept", "slope"): -0.930})
    assert result.value == pytest.approx(-0.1494, abs=5e-5)
    assert result.standard_uncertainty == pytest.approx(0.0041, abs=5e-5)
    alone = budget(lambda at: at["intercept"] + 10 * at["slope"], inputs)
    assert alone.standard_uncertainty > 0.007


def naoh_mol_l(at):
    molar_mass = 8 * at["carbon"] + 5 * at["hydrogen"] + 4 * at["oxygen"] + at["potassium"]
    mass = 0.3888 + at["balance, full"] + at["balance, empty"]
    volume = at["volume"] + at["volume, temperature"]
    return 1000 * mass * at["purity"] * at["repeatability"] / (molar_mass * volume)


def test_the_standardisation_of_sodium_hydroxide():
    """EURACHEM/CITAC, QUAM:2012.P1, A2, Table A2.1: 0.10214 mol/L, u 0.00010; volume relative 0.0007, mass 0.00033."""
    inputs = [
        rectangular("balance, full", 0, 0.15e-3),
        rectangular("balance, empty", 0, 0.15e-3),
        rectangular("purity", 1.0, 0.0005),
        rectangular("carbon", 12.0107, 0.0008),
        rectangular("hydrogen", 1.00794, 0.00007),
        rectangular("oxygen", 15.9994, 0.0003),
        rectangular("potassium", 39.0983, 0.0001),
        triangular("volume", 18.64, 0.03),
        UncertainInput("volume, temperature", 0, 0.006),
        UncertainInput("repeatability", 1.0, 0.0005),
    ]
    result = budget(naoh_mol_l, inputs)
    assert result.value == pytest.approx(0.10214, abs=5e-6)
    assert result.standard_uncertainty == pytest.approx(0.00010, abs=3e-6)
    adds = {part.source.name: part.uncertainty / result.value for part in result.contributions}
    assert math.hypot(adds["volume"], adds["volume, temperature"]) == pytest.approx(0.0007, abs=5e-5)
    assert math.hypot(adds["balance, full"], adds["balance, empty"]) == pytest.approx(0.00033, abs=2e-5)
    assert adds["purity"] == pytest.approx(0.00029, abs=5e-6)
    assert not result.bends


def test_the_probability_of_conformity():
    """JCGM 106:2012, 7.3: one limit, value 1.4 standard uncertainties inside it, probability 0.92 (example from
    memory; the normal distribution itself gives 0.9192)."""
    assert against_limits(-5.47, 0.05, high=-5.40).probability == pytest.approx(0.9192, abs=5e-5)
