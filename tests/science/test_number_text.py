from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.science.number_text import degrees, short


@pytest.mark.parametrize(
    ("value", "figures", "text"),
    [
        (16_000, 3, "16000"),
        (1234.5, 2, "1200"),
        (0.000374, 2, "0.00037"),
        (20.0, 3, "20"),
        (0.0, 3, "0"),
        (-0.0, 3, "0"),
        (-2.50, 3, "-2.5"),
        (0.1, 1, "0.1"),
        (9.996, 3, "10"),
    ],
)
def test_numbers_are_written_out(value, figures, text):
    assert short(value, figures) == text


@pytest.mark.parametrize(
    ("df", "text"),
    [
        (1, "1 degree of freedom"),
        (1.0000001, "1 degree of freedom"),
        (1.26, "1.26 degrees of freedom"),
        (2, "2 degrees of freedom"),
        (12.0, "12 degrees of freedom"),
        (0, "0 degrees of freedom"),
    ],
)
def test_one_degree_of_freedom_is_one(df, text):
    assert degrees(df) == text


@given(value=st.floats(1e-9, 1e12), figures=st.integers(1, 8))
def test_no_exponent_and_no_more_than_half_a_last_figure_lost(value, figures):
    text = short(value, figures)
    assert "e" not in text.lower()
    assert abs(float(text) - value) <= 0.5001 * 10 ** (1 - figures) * value
