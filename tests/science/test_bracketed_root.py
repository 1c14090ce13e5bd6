"""Roots between two ends, beside `scipy.optimize.brentq`."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, special

from kit.errors import KitError
from kit.science.bracketed_root import bracketed_root

FUNCTIONS = {
    "cubic": (lambda x: x**3 - 2 * x - 5, 2.0, 3.0),  # J. Wallis 1685: 2.0945514815423265
    "cosine": (lambda x: math.cos(x) - x, 0.0, 1.0),  # 0.7390851332151607
    "far": (lambda x: x - 1e-8, -1e6, 1e6),
    "flat": (lambda x: (x - 1) ** 9, -4.0, 7.0),
    "cliff": (lambda x: math.tanh(1e6 * (x - 0.3)), 0.0, 1.0),
    "t": (lambda x: float(special.stdtr(3.0, x)) - 0.975, 0.0, 1e3),
    "turned": (lambda x: 1 - math.exp(x), -3.0, 40.0),
    "jump": (lambda x: -1.0 if x < 0.7 else 1.0, 0.0, 1.0),
}


@pytest.mark.parametrize("name", FUNCTIONS)
def test_it_finds_what_brent_finds(name):
    function, low, high = FUNCTIONS[name]
    calls = []

    def counted(x):
        calls.append(x)
        return function(x)

    found = bracketed_root(counted, low, high, xtol=1e-13, rtol=1e-13)
    if name == "flat":  # ninth power: any x within 1e-34 ** (1/9) of 1 is a root in double precision
        assert found == pytest.approx(1.0, abs=1e-3)
    else:
        assert found == pytest.approx(optimize.brentq(function, low, high, xtol=1e-13, rtol=1e-13), abs=1e-11)
    assert low <= min(calls) and max(calls) <= high
    assert len(calls) < 75


def test_published_roots():
    assert bracketed_root(FUNCTIONS["cubic"][0], 2, 3) == pytest.approx(2.0945514815423265, rel=1e-13)
    assert bracketed_root(FUNCTIONS["cosine"][0], 0, 1) == pytest.approx(0.7390851332151607, rel=1e-13)


@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e3), st.floats(1e-3, 1e3), st.sampled_from([1.0, -1.0]))
def test_any_monotonic_curve(root, below, above, sign):
    def curve(x):
        return sign * (math.expm1(min((x - root) / 100, 50)) + 0.2 * (x - root))

    found = bracketed_root(curve, root - below, root + above, xtol=1e-9)
    assert found == pytest.approx(root, abs=1e-8)
    assert bracketed_root(curve, root + above, root - below, xtol=1e-9) == pytest.approx(root, abs=1e-8)


def test_an_end_may_be_the_root():
    assert bracketed_root(lambda x: x, 0.0, 5.0) == 0.0
    assert bracketed_root(lambda x: x - 5, 0.0, 5.0) == 5.0


@pytest.mark.parametrize("function", [lambda x: x * x + 1, lambda x: -1.0, lambda x: math.nan])
def test_ends_of_one_sign_are_refused(function):
    with pytest.raises(KitError) as problem:
        bracketed_root(function, -1.0, 1.0)
    assert problem.value.code == "science.bracket"
