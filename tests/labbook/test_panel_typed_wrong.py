"""A panel typed wrongly is refused in words before anything is kept. Expected: what a person reads in what was typed.

Nothing here is of the demo studies.
"""

from __future__ import annotations

import pytest

from kit.errors import KitError
from kit.labbook.panel_typed import assessor_codes, expected_order, typed_samples, typed_scale, typed_seed

WHERE = "a panel"


def test_a_number_typed_as_text_is_a_number_of_assessors():
    """Not one assessor a digit."""
    assert assessor_codes("24", WHERE) == assessor_codes(24, WHERE)
    assert len(assessor_codes("24", WHERE)) == 24 and assessor_codes("A7", WHERE) == ["A7"]


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: assessor_codes(12.5, WHERE), "panel.assessor"),
        (lambda: assessor_codes(None, WHERE), "panel.assessor"),
        (lambda: assessor_codes(True, WHERE), "panel.assessor"),
        (lambda: typed_samples(["WOO-01/1", "WOO-02/1"], "triangle", "Which?", WHERE), "panel.samples"),
        (lambda: typed_samples({"A": "WOO-01/1"}, "triangle", None, WHERE), "panel.question"),
        (lambda: typed_seed("x", WHERE), "panel.seed"),
        (lambda: typed_seed(1.7, WHERE), "panel.seed"),
        (lambda: typed_scale(5, "rating", WHERE), "panel.scale"),
        (lambda: expected_order(5, "paired", ["A", "B"], WHERE), "panel.expected"),
    ],
)
def test_what_cannot_be_planned_is_refused(call, code):
    with pytest.raises(KitError) as caught:
        call()
    assert caught.value.code == code
