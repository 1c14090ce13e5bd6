"""Flow models and their fit against certified data sets, open flow curves and the models' own definitions."""

from __future__ import annotations

import csv
import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit

from kit.science.flow_activation import flow_activation
from kit.science.flow_curve import FlowCurve
from kit.science.flow_fit import fit_flow
from kit.science.flow_least_squares import complex_step, least_squares, standard_errors
from kit.science.flow_models import BY_KEY, CARREAU, CASSON, CROSS, HERSCHEL_BULKLEY, THREE_COMPONENT
from kit.science.flow_result import ABSOLUTE, RELATIVE

# NIST Statistical Reference Datasets, nonlinear regression: data, both official starts, certified values and their
# standard deviations, as in the .dat files.
CERTIFIED = json.loads((Path(__file__).parent / "data" / "nist_nonlinear.json").read_text(encoding="utf-8"))
exp = np.exp


def _rational(x, a, b, c, d, e, f, g):
    return (a + b * x + c * x**2 + d * x**3) / (1 + e * x + f * x**2 + g * x**3)


NIST_MODELS = {
    "Misra1a": lambda x, a, b: a * (1 - exp(-b * x)),
    "Misra1b": lambda x, a, b: a * (1 - (1 + b * x / 2) ** -2),
    "Misra1c": lambda x, a, b: a * (1 - (1 + 2 * b * x) ** -0.5),
    "Misra1d": lambda x, a, b: a * b * x / (1 + b * x),
    "BoxBOD": lambda x, a, b: a * (1 - exp(-b * x)),
    "DanWood": lambda x, a, b: a * x**b,
    "Chwirut2": lambda x, a, b, c: exp(-a * x) / (b + c * x),
    "Kirby2": lambda x, a, b, c, d, e: (a + b * x + c * x * x) / (1 + d * x + e * x * x),
    "Hahn1": _rational,
    "MGH09": lambda x, a, b, c, d: a * (x * x + x * b) / (x * x + x * c + d),
    "MGH17": lambda x, a, b, c, d, e: a + b * exp(-x * d) + c * exp(-x * e),
    "Thurber": _rational,
    "Rat42": lambda x, a, b, c: a / (1 + exp(b - c * x)),
    "Rat43": lambda x, a, b, c, d: a / (1 + exp(b - c * x)) ** (1 / d),
    "Roszman1": lambda x, a, b, c, d: a - b * x - np.arctan(c / (x - d)) / np.pi,
}


def fit_nist(names: list[str], start: str):
    """Certified sets of one model, all in one call: short ones are filled up with weight zero."""
    sets = [CERTIFIED[name] for name in names]
    longest = max(len(told["x"]) for told in sets)
    x, y, weight = np.ones((3, len(sets), longest))
    for row, told in enumerate(sets):
        size = len(told["x"])
        x[row, :size], y[row, :size], weight[row, size:] = told["x"], told["y"], 0.0

    def values(rates, parameters):
        return NIST_MODELS[names[0]](rates, *(parameters[:, i, None] for i in range(parameters.shape[1])))

    starts = np.array([told[start] for told in sets])
    found = least_squares(complex_step(values), x, y, weight, starts, iterations=1000)
    count = np.array([len(told["x"]) for told in sets])
    return found, standard_errors(found, count, np.ones(starts.shape, dtype=bool))[1], count


@pytest.mark.parametrize("start", ["start_1", "start_2"])
@pytest.mark.parametrize("name", list(NIST_MODELS))
def test_certified_values_from_both_official_starts(name, start):
    """Signs count: the values are compared as they are, and the least distance to the start is far above 1e-7."""
    told = CERTIFIED[name]
    found, errors, count = fit_nist([name], start)
    assert found.converged[0]
    assert found.parameters[0] == pytest.approx(told["certified"], rel=1e-7)
    assert errors[0] == pytest.approx(told["deviations"], rel=1e-7)
    scatter = np.sqrt(found.squares[0] / (count[0] - len(told["certified"])))
    assert scatter == pytest.approx(told["residual_sd"], rel=1e-9)
    assert max(abs(np.array(told[start]) / told["certified"] - 1)) > 0.005


def test_certified_sets_fitted_together_are_fitted_as_alone():
    """BoxBOD and Misra1a have one model, 6 and 14 readings."""
    found, errors, _ = fit_nist(["BoxBOD", "Misra1a"], "start_2")
    for row, name in enumerate(("BoxBOD", "Misra1a")):
        assert found.parameters[row] == pytest.approx(CERTIFIED[name]["certified"], rel=1e-8)
        assert errors[row] == pytest.approx(CERTIFIED[name]["deviations"], rel=1e-8)


# Open flow curves: package rheopy-rheodata 0.1.1 (MIT). The files are read without importing the package, which would
# load a drawing library.


def open_curve(data_set: str, sample: str) -> FlowCurve:
    place = importlib.util.find_spec("rheodata").submodule_search_locations[0]
    text = Path(place, "datasets", data_set, "data.csv").read_text(encoding="utf-8")
    rows = [row for row in csv.DictReader(text.splitlines()) if row["sample_id"] == sample]
    return FlowCurve([float(row["shear_rate_1/s"]) for row in rows], [float(row["stress_Pa"]) for row in rows])


# Parameters found by SciPy 1.17.1 curve_fit and lmfit 1.3.4, which agree; curves digitised from
# Dinkgreve et al., Phys. Rev. E 92 (2015) 012305, Fig. 2a: castor oil in water, volume fraction 0.80;
# Paredes et al., Phys. Rev. Lett. 111 (2013) 015701, Fig. 1: dense soft-sphere emulsion, 0.80;
# Mason, Bibette, Weitz, J. Colloid Interface Sci. 179 (1996) 439, Fig. 5: monodisperse emulsion, 0.65.
HERSCHEL_BULKLEY_FITS = [
    ("dinkgreve2015_fig2", "phi_0.8", 21, RELATIVE, (45.579, 9.8437, 0.62724)),
    ("dinkgreve2015_fig2", "phi_0.8", 21, ABSOLUTE, (45.094, 10.614, 0.60805)),
    ("paredes2013_fig1", "phi_0.8", 33, RELATIVE, (38.909, 7.143, 0.52311)),
    ("paredes2013_fig1", "phi_0.8", 33, ABSOLUTE, (39.659, 5.9974, 0.55298)),
    ("mason1996_fig5", "phi_0.65", 12, RELATIVE, (17.488, 8.5822, 0.33686)),
    ("mason1996_fig5", "phi_0.65", 12, ABSOLUTE, (17.553, 8.5317, 0.33808)),
]


@pytest.mark.parametrize(("data_set", "sample", "readings", "weighting", "expected"), HERSCHEL_BULKLEY_FITS)
def test_open_emulsions(data_set, sample, readings, weighting, expected):
    curve = open_curve(data_set, sample)
    found = fit_flow(curve, HERSCHEL_BULKLEY, weighting=weighting)
    assert (found.readings, found.df, found.ok) == (readings, readings - 3, True)
    assert tuple(found.parameters.values()) == pytest.approx(expected, rel=1e-4)
    _errors_as_scipy(found, curve, lambda rate, y, k, n: y + k * rate**n, expected)


def _errors_as_scipy(found, curve, function, start):
    sigma = curve.stress_pa if found.weighting == RELATIVE else None
    exact = {"ftol": 1e-14, "xtol": 1e-14, "gtol": 1e-14}
    _, covariance = curve_fit(function, curve.shear_rate_per_s, curve.stress_pa, start, sigma, **exact)
    free = [error for error in found.standard_errors.values() if error is not None]
    assert free == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-4)
    assert found.covariance[0, -1] == pytest.approx(covariance[0, -1], rel=1e-3)


def test_weighting_is_part_of_the_answer():
    """The paper of Paredes et al. quotes an exponent near 0.55 (from memory): the unweighted one."""
    curve = open_curve("paredes2013_fig1", "phi_0.8")
    low, high = fit_flow(curve, HERSCHEL_BULKLEY, weighting=ABSOLUTE).interval("flow_index")
    assert low < 0.55 < high
    assert fit_flow(curve, HERSCHEL_BULKLEY).interval("flow_index")[1] < 0.55


def test_open_polymer_solution():
    """Set caggioni_linear_polymer_flow, 51 readings at 25 °C; parameters by SciPy 1.17.1 with no viscosity at high
    rates and relative weighting."""
    curve = open_curve("caggioni_linear_polymer_flow", "linear_polymer")
    nothing = {"infinite_shear_viscosity_pa_s": 0.0}
    carreau, cross = (fit_flow(curve, model, held=nothing) for model in (CARREAU, CROSS))
    assert (carreau.readings, carreau.df, carreau.ok, cross.ok) == (51, 48, True, True)
    assert tuple(carreau.parameters.values()) == pytest.approx((1.9919, 0.0, 0.19919, 0.41445), rel=1e-4)
    assert tuple(cross.parameters.values()) == pytest.approx((2.1386, 0.0, 0.07613, 0.75356), rel=1e-4)
    _errors_as_scipy(
        carreau, curve, lambda r, a, t, n: r * a * (1 + (t * r) ** 2) ** ((n - 1) / 2), (1.9919, 0.19919, 0.41445)
    )
    _errors_as_scipy(cross, curve, lambda r, a, t, m: r * a / (1 + (t * r) ** m), (2.1386, 0.07613, 0.75356))


def test_open_microgel_with_two_models():
    """Set caggioni_pg_carbopol_2pct, 61 readings; model of Caggioni, Trappe, Spicer, J. Rheol. 64 (2020) 413.

    Parameters and the difference of AIC by SciPy 1.17.1; both models have three parameters: AIC and AICc differ alike.
    The set is unpublished and its authors print no standard errors: these are held to SciPy's covariance.
    """
    curve = open_curve("caggioni_pg_carbopol_2pct", "carbopol_2pct")
    three, power = (fit_flow(curve, model) for model in (THREE_COMPONENT, HERSCHEL_BULKLEY))
    assert three.readings == 61
    assert tuple(three.parameters.values()) == pytest.approx((20.82, 0.9534, 0.715), rel=5e-4)
    assert tuple(power.parameters.values()) == pytest.approx((22.03, 19.2, 0.5951), rel=5e-4)
    assert three.aicc - power.aicc == pytest.approx(-109.97, abs=0.02)
    _errors_as_scipy(three, curve, lambda r, y, c, b: y + y * (r / c) ** 0.5 + b * r, (20.82, 0.9534, 0.715))
    _errors_as_scipy(power, curve, lambda r, y, k, n: y + k * r**n, (22.03, 19.2, 0.5951))


RATES = [0.1, 1, 10, 50, 100, 300]
# Values by hand from the definitions; stresses of the first two, viscosities of the others.
DEFINITIONS = [
    (HERSCHEL_BULKLEY, (12, 4.5, 0.42), [13.7109, 16.5, 23.8362, 35.2691, 43.1324, 61.386], False),
    (CASSON, (9, 0.35), [10.1575, 12.8996, 23.725, 51.5998, 79.4965, 175.4817], False),
    (CROSS, (60, 0.05, 2.5, 0.8), [45.1294, 19.5055, 4.292, 1.2838, 0.7649, 0.3489], True),
    (CARREAU, (60, 0.05, 2.5, 0.3), [58.7413, 30.0189, 6.3449, 2.0915, 1.3067, 0.6324], True),
]


@pytest.mark.parametrize(("model", "parameters", "expected", "viscosity"), DEFINITIONS, ids=lambda v: str(v)[:20])
def test_definitions_and_back(model, parameters, expected, viscosity):
    read = (model.viscosity_pa_s if viscosity else model.stress_pa)(np.array(RATES), parameters)
    assert read == pytest.approx(expected, rel=1e-4)
    curve = FlowCurve.from_viscosity(RATES, read) if viscosity else FlowCurve(RATES, read)
    found = fit_flow(curve, model)
    assert found.ok
    assert tuple(found.parameters.values()) == pytest.approx(parameters, rel=1e-8)
    # the values as printed, to four decimals: the last digit of the smallest is a part in 7000
    printed = FlowCurve.from_viscosity(RATES, expected) if viscosity else FlowCurve(RATES, expected)
    assert tuple(fit_flow(printed, model).parameters.values()) == pytest.approx(parameters, rel=2e-3)


def test_all_models_are_checked_somewhere():
    checked = {"herschel_bulkley", "casson", "cross", "carreau", "three_component"}
    assert checked | {"newtonian", "bingham", "power_law"} == set(BY_KEY)


def test_activation_energy_of_water():
    """IAPWS viscosities, 10 to 60 °C; 16.07 kJ/mol by NumPy, and water is no Arrhenius liquid: missed by 2.7 %."""
    temps = [10.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0]
    read = [1.3059, 1.0016, 0.89, 0.7972, 0.6527, 0.5465, 0.466]
    found = flow_activation(temps, read)
    assert found.energy_kj_mol == pytest.approx(16.07, rel=5e-4)
    assert round(found.worst_misfit, 3) == 0.027
    _, covariance = np.polyfit(1 / (np.array(temps) + 273.15), np.log(read), 1, cov=True)
    assert found.standard_error_kj_mol == pytest.approx(np.sqrt(covariance[0, 0]) * 8.314462618e-3, rel=1e-6)
