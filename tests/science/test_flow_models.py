"""Flow models: their derivatives, units and limits."""

import numpy as np
import pytest

from kit.science.flow_least_squares import complex_step
from kit.science.flow_models import (
    BINGHAM,
    BY_KEY,
    CARREAU,
    CASSON,
    CROSS,
    HERSCHEL_BULKLEY,
    MODELS,
    NEWTONIAN,
    POWER_LAW,
    THREE_COMPONENT,
)

RATES = np.array([0.05, 0.4, 3.0, 20.0, 150.0])
SAMPLE = {
    NEWTONIAN: (4.0,),
    BINGHAM: (11.0, 0.6),
    POWER_LAW: (14.0, 0.31),
    HERSCHEL_BULKLEY: (12.0, 4.5, 0.42),
    CASSON: (9.0, 0.35),
    CROSS: (60.0, 0.05, 2.5, 0.8),
    CARREAU: (60.0, 0.05, 2.5, 0.3),
    THREE_COMPONENT: (10.0, 0.9, 0.7),
}


# The equations written again, apart from the module, in plain numpy.
EQUATIONS = {
    NEWTONIAN: lambda r, v: v * r,
    BINGHAM: lambda r, y, v: y + v * r,
    POWER_LAW: lambda r, k, n: k * r**n,
    HERSCHEL_BULKLEY: lambda r, y, k, n: y + k * r**n,
    CASSON: lambda r, y, v: (np.sqrt(y) + np.sqrt(v * r)) ** 2,
    CROSS: lambda r, a, b, t, m: r * (b + (a - b) / (1 + (t * r) ** m)),
    CARREAU: lambda r, a, b, t, n: r * (b + (a - b) * (1 + (t * r) ** 2) ** ((n - 1) / 2)),
    THREE_COMPONENT: lambda r, y, c, v: y + y * np.sqrt(r / c) + v * r,
}


@pytest.mark.parametrize("model", MODELS, ids=repr)
def test_stress_and_derivatives(model):
    """Derivatives by the complex step of the equation written again."""
    parameters = np.array([SAMPLE[model], np.array(SAMPLE[model]) * 1.1])
    rates = np.array([RATES, RATES * 2])

    def written_again(rates, parameters):
        return EQUATIONS[model](rates, *(parameters[:, i, None] for i in range(parameters.shape[1])))

    stress, derivatives = model.evaluate(rates, parameters)
    expected, expected_derivatives = complex_step(written_again)(rates, parameters)
    assert stress == pytest.approx(expected, rel=1e-12)
    assert derivatives == pytest.approx(expected_derivatives, rel=1e-9)


def test_every_model_is_sampled_and_has_units():
    assert set(SAMPLE) == set(EQUATIONS) == set(MODELS) == set(BY_KEY.values())
    for model in MODELS:
        assert all(parameter.unit for parameter in model.parameters)
        assert all(parameter.symbol in model.equation for parameter in model.parameters)
    assert [model.key for model in MODELS if model.has_yield] == [
        "bingham",
        "herschel_bulkley",
        "casson",
        "three_component",
    ]


def test_parameters_by_name_or_in_order():
    """By hand: 12 + 4.5 x 1 = 16.5 Pa at 1/s; at 4/s and n = 0.5, 12 + 4.5 x 2 = 21 Pa, 5.25 Pa·s."""
    assert HERSCHEL_BULKLEY.stress_pa(1.0, (12, 4.5, 0.42)) == pytest.approx(16.5)
    named = {"flow_index": 0.5, "yield_stress_pa": 12, "consistency_pa_s_n": 4.5}
    assert HERSCHEL_BULKLEY.viscosity_pa_s(4.0, named) == pytest.approx(5.25)


def test_thinning_index_of_the_power_law():
    """Viscosity at a speed over that at ten times the speed: 10^0.7 = 5.01 for n = 0.30."""
    ratio = POWER_LAW.viscosity_pa_s(1.0, (14, 0.30)) / POWER_LAW.viscosity_pa_s(10.0, (14, 0.30))
    assert ratio == pytest.approx(5.01, abs=0.005)


def test_plateaus_of_cross_and_carreau():
    for model in (CROSS, CARREAU):
        assert model.viscosity_pa_s(1e-9, SAMPLE[model]) == pytest.approx(60, rel=1e-3)
    # at a rate of one over the time constant Cross is half way between its plateaus
    assert CROSS.viscosity_pa_s(1 / 2.5, SAMPLE[CROSS]) == pytest.approx((60 + 0.05) / 2)


def test_bounds_follow_the_measured_window():
    low, high = CROSS.bounds(np.array([0.1]), np.array([100.0]))
    assert (low[0, 2], high[0, 2]) == pytest.approx((1e-5, 1e4))
    low, high = THREE_COMPONENT.bounds(np.array([0.1]), np.array([100.0]))
    assert (low[0, 1], high[0, 1]) == pytest.approx((1e-4, 1e5))
    assert low[0, 0] == 0
