"""What a person calls an emptied container, and the phase or material it stands for."""

from decimal import Decimal

import pytest

from kit.bench.containers import weighed_back
from kit.errors import BatchError
from kit.formula.files import read_formula


@pytest.mark.parametrize(
    ("container", "phase", "material"),
    [
        ("oil beaker", "B", None),
        ("Water beaker", "A", None),
        ("cool-down cup", "C", None),
        ("B", "B", None),
        ("beaker of phase A", "A", None),
        ("a beaker, C", "C", None),
        ("mixing head", "", None),
        ("rotor-stator", "", None),
        ("parfum boat", "C", "parfum"),
        ("the glycerine boat", "A", "glycerin"),
        ("cetearyl-alcohol", "B", "cetearyl-alcohol"),
    ],
)
def test_names_that_are_understood(linden, container, phase, material):
    found = weighed_back(container, Decimal("2.1"), linden)
    assert (found.phase, found.material and found.material.key) == (phase, material)
    assert (found.container, found.mass_g) == (container, Decimal("2.1"))


@pytest.mark.parametrize("container", ["beaker", "a beaker", "", "xanthan-gum", "blue bowl"])
def test_names_that_are_not(linden, container):
    with pytest.raises(BatchError) as caught:
        weighed_back(container, Decimal(1), linden)
    assert caught.value.code == "batch.container"
    assert "beaker B" in str(caught.value)


def test_two_phases_of_a_kind_must_be_told_apart(library, linden_text):
    premix = '[[phase]]\nname = "A2"\nkind = "water"\nline = [ { material = "propanediol", pct = "1.00" } ]\n[[step]]'
    formula = read_formula(linden_text.replace("[[step]]", premix), library)
    with pytest.raises(BatchError) as caught:
        weighed_back("water beaker", Decimal(1), formula)
    assert caught.value.code == "batch.container"
    assert "fits phases A and A2" in str(caught.value)
    assert weighed_back("beaker A2", Decimal(1), formula).phase == "A2"


def test_a_material_in_two_phases_has_no_boat_of_its_own(library, linden_text):
    twice = linden_text.replace('{ material = "parfum", pct = "0.40" }', '{ material = "glycerin", pct = "0.40" }')
    with pytest.raises(BatchError) as caught:
        weighed_back("glycerin boat", Decimal(1), read_formula(twice, library))
    assert "Glycerin stands in phases A and C" in str(caught.value)
    with pytest.raises(BatchError) as caught:
        weighed_back("xanthan-gum boat", Decimal(1), read_formula(linden_text, library))
    assert "Xanthan Gum is not in the formula" in str(caught.value)
