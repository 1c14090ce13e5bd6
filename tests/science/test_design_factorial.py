from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.design_factorial import aliases_of, fractional_factorial, two_level_factorial
from kit.science.design_screening import plackett_burman

LETTERS = tuple("ABCDEFGHJKLM")


def column(design, names) -> np.ndarray:
    """The product of some factors, worked out from the runs themselves."""
    return np.prod([np.ones(len(design)), *(design.column(name) for name in names)], axis=0)


def aliases_by_columns(design, order: int) -> set[frozenset[str]]:
    """Sets of effects whose columns are equal or opposite, with the sign against the first, by comparing them all."""
    effects = [names for size in range(1, order + 1) for names in combinations(design.names, size)]
    groups: dict[tuple, list[str]] = {}
    for names in effects:
        values = column(design, names)
        sign = 1 if values[0] > 0 else -1
        groups.setdefault(tuple(sign * values), []).append(("" if sign > 0 else "-") + ":".join(names))
    found = set()
    for members in groups.values():
        if len(members) > 1:
            flip = members[0].startswith("-")
            turned = [name.removeprefix("-") if name.startswith("-") else "-" + name for name in members]
            found.add(frozenset(turned if flip else members))
    return found


def as_sets(strings) -> set[frozenset[str]]:
    return {frozenset(text.split(" = ")) for text in strings}


@pytest.mark.parametrize("size", [1, 2, 3, 5])
def test_a_full_factorial_holds_every_combination_once(size):
    design = two_level_factorial(LETTERS[:size])
    assert len(design) == 2**size
    assert set(design.levels) == set(product((-1.0, 1.0), repeat=size))
    effects = np.array([column(design, names) for k in range(size + 1) for names in combinations(design.names, k)])
    assert np.array_equal(effects @ effects.T, 2**size * np.eye(2**size))


@pytest.mark.parametrize(
    ("size", "runs"), [(3, 4), (4, 8), (5, 8), (5, 16), (6, 16), (7, 8), (7, 16), (7, 32), (8, 16)]
)
def test_aliases_are_those_of_the_columns(size, runs):
    design = fractional_factorial(LETTERS[:size], runs=runs)
    assert as_sets(design.aliases) == aliases_by_columns(design, 2)
    assert as_sets(aliases_of(design, 3)) == aliases_by_columns(design, 3)


@settings(max_examples=40, deadline=None)
@given(data=st.data(), base=st.integers(2, 4), extra=st.integers(1, 3))
def test_any_generators_give_their_own_words(data, base, extra):
    products = [names for size in range(2, base + 1) for names in combinations(LETTERS[:base], size)]
    generators = []
    for place in range(extra):
        sign = data.draw(st.sampled_from(["", "-"]))
        generators.append(f"{LETTERS[base + place]} = {sign}{':'.join(data.draw(st.sampled_from(products)))}")
    design = fractional_factorial(LETTERS[: base + extra], generators)
    assert len(design) == 2**base
    for word in design.defining_words:
        assert set(column(design, word.removeprefix("-").split(":"))) == {-1.0 if word.startswith("-") else 1.0}
    constant = [
        size
        for size in range(1, base + extra + 1)
        for names in combinations(design.names, size)
        if len(set(column(design, names))) == 1
    ]
    assert len(constant) == len(design.defining_words) == 2**extra - 1
    assert design.resolution == min(constant)
    assert as_sets(design.aliases) == aliases_by_columns(design, 2)


def test_generators_are_read_in_several_ways():
    told = fractional_factorial(LETTERS[:4], ["D = A:B:C"]).levels
    assert fractional_factorial(LETTERS[:4], ["D=ABC"]).levels == told
    assert fractional_factorial(LETTERS[:4], {"D": "A*B*C"}).levels == told
    assert fractional_factorial(LETTERS[:4]).levels == told
    other = fractional_factorial(LETTERS[:4], ["D = -A:B:C"])
    assert other.defining_words == ("-A:B:C:D",)
    assert set(other.levels) | set(told) == set(product((-1.0, 1.0), repeat=4))
    named = fractional_factorial(("rpm", "hold", "pour rate"), ["pour rate = rpm:hold"])
    assert named.aliases == ("rpm = hold:pour rate", "hold = rpm:pour rate", "pour rate = rpm:hold")


@pytest.mark.parametrize(
    "generators",
    [["D"], ["D = A"], ["D = A:A"], ["D = A:X"], ["X = A:B"], ["D = A:B", "D = A:C"], ["C = A:B", "D = A:C"]],
)
def test_generators_that_cannot_be_are_refused(generators):
    with pytest.raises(KitError) as error:
        fractional_factorial(LETTERS[:4], generators)
    assert error.value.code == "design.generators"


@pytest.mark.parametrize(
    ("size", "wanted", "runs"), [(4, 4, 8), (5, 4, 16), (6, 4, 16), (7, 4, 16), (8, 4, 16), (5, 3, 8)]
)
def test_the_smallest_fraction_of_a_resolution(size, wanted, runs):
    design = fractional_factorial(LETTERS[:size], resolution=wanted)
    assert len(design) == runs
    assert design.resolution >= wanted


def test_where_only_the_full_factorial_will_do_it_is_made():
    assert len(fractional_factorial(LETTERS[:4], resolution=4)) == 8
    full = fractional_factorial(LETTERS[:3], resolution=3, centre=2)
    assert (len(full), full.resolution) == (6, 3)
    assert fractional_factorial(LETTERS[:3], runs=8).defining_words == ()


def test_impossible_fractions_are_refused():
    for call, code in [
        (lambda: fractional_factorial(LETTERS[:4], runs=6), "design.runs"),
        (lambda: fractional_factorial(LETTERS[:4], runs=4), "design.runs"),
        (lambda: fractional_factorial(LETTERS[:4], resolution=5), "design.resolution"),
        (lambda: fractional_factorial(LETTERS[:4], resolution=2), "design.resolution"),
        (lambda: two_level_factorial((*LETTERS[:12], "N")), "design.count"),
        (lambda: plackett_burman(LETTERS[:12], runs=8), "design.runs"),
        (lambda: plackett_burman([f"x{i}" for i in range(24)]), "design.runs"),
    ]:
        with pytest.raises(KitError) as error:
            call()
        assert error.value.code == code


@given(order=st.permutations(LETTERS[:5]))
@settings(max_examples=10, deadline=None)
def test_other_names_give_the_same_runs_under_those_names(order):
    told, other = fractional_factorial(LETTERS[:5], runs=8), fractional_factorial(order, runs=8)
    assert told.levels == other.levels
    renamed = dict(zip(LETTERS[:5], order, strict=True))
    assert other.generators[0] == "".join(renamed.get(letter, letter) for letter in told.generators[0])


@pytest.mark.parametrize(("factors", "runs"), [(5, 8), (7, 8), (9, 12), (11, 12), (19, 20), (23, 24)])
def test_plackett_burman_main_effects_are_clear_of_each_other(factors, runs):
    design = plackett_burman([f"x{index}" for index in range(factors)])
    assert len(design) == runs
    matrix = np.column_stack([np.ones(runs), design.levels])
    assert np.array_equal(matrix.T @ matrix, runs * np.eye(factors + 1))
    own = np.array([column(design, pair) for pair in combinations(design.names, 2)]) @ matrix[:, 1:] / runs
    expected = {8: {0, 1}, 12: {0, 1 / 3}, 20: {0, 0.2, 0.6}, 24: {0, 1 / 3}}[runs]
    assert {round(value, 9) for value in np.abs(own).ravel()} <= {round(value, 9) for value in expected}
    assert ("in part" in design.words) == (runs != 8)
