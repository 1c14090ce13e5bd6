"""Serving orders and codes: balanced for every number of assessors, the same for the same seed."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.serving_orders import (
    KINDS,
    RANKING,
    RATING,
    balance,
    base_orders,
    blind_codes,
    serving_orders,
    williams,
)

panels = st.tuples(st.sampled_from(KINDS), st.integers(2, 7), st.integers(1, 61), st.integers(0, 2**31)).map(
    lambda drawn: (drawn[0], "ABCDEFG"[: drawn[1] if drawn[0] in (RANKING, RATING) else 2], drawn[2], drawn[3])
)


def test_the_six_triangles_are_those_of_the_standard():
    """ISO 4120: AAB, ABA, BAA, BBA, BAB, ABB."""
    assert {"".join(order) for order in base_orders("triangle", "AB")} == {"AAB", "ABA", "BAA", "BBA", "BAB", "ABB"}
    assert {"".join(order) for order in base_orders("duo-trio", "AB")} == {"AAB", "ABA", "BAB", "BBA"}
    assert {"".join(order) for order in base_orders("preference", "AB")} == {"AB", "BA"}


@pytest.mark.parametrize("count", range(2, 10))
def test_williams_squares_balance_place_and_follower(count):
    letters = "ABCDEFGHI"[:count]
    orders = williams(letters)
    times = 1 if count % 2 == 0 else 2
    assert len(orders) == times * count
    stood = Counter((letter, place) for order in orders for place, letter in enumerate(order))
    followed = Counter(pair for order in orders for pair in pairwise(order))
    assert set(stood.values()) == {times} and len(stood) == count * count
    assert set(followed.values()) == {times} and len(followed) == count * (count - 1)


@given(panels)
@settings(max_examples=150, deadline=None)
def test_every_panel_is_as_even_as_its_number_allows(drawn):
    kind, letters, assessors, seed = drawn
    orders = serving_orders(kind, letters, assessors, seed)
    assert len(orders) == assessors
    counts = Counter(orders)
    base = base_orders(kind, letters)
    assert set(counts) <= set(base)
    times = [counts[order] for order in base]
    assert max(times) - min(times) <= 1
    for place in range(len(base[0])):
        stood = Counter(order[place] for order in orders)
        here = [stood[letter] for letter in letters]
        assert max(here) - min(here) <= 1
    found = balance(kind, letters, orders)
    assert found.exact == (assessors % len(base) == 0)
    if found.exact:
        assert (found.positions, found.carry_over) == (0, 0)


@given(panels)
@settings(max_examples=50, deadline=None)
def test_a_seed_gives_the_same_orders_and_codes_again(drawn):
    kind, letters, assessors, seed = drawn
    assert serving_orders(kind, letters, assessors, seed) == serving_orders(kind, letters, assessors, seed)
    glasses = [len(letters)] * assessors
    assert blind_codes(glasses, seed) == blind_codes(glasses, seed)


def test_another_seed_gives_other_orders_and_codes():
    """24 assessors on six orders: 24! / 4!^6 ways, so two alike would be no chance."""
    assert len({serving_orders("triangle", "AB", 24, seed) for seed in range(30)}) == 30
    assert len({blind_codes([3] * 24, seed) for seed in range(30)}) == 30


def test_the_draw_prefers_no_order():
    """600 seeds, first assessor: each of six orders 100 times, standard deviation 9.1."""
    first = Counter(serving_orders("triangle", "AB", 6, seed)[0] for seed in range(600))
    assert len(first) == 6 and all(60 < times < 140 for times in first.values())


@given(st.lists(st.integers(1, 5), min_size=1, max_size=150), st.integers())
@settings(deadline=None)
def test_codes_have_three_digits_and_are_never_repeated(glasses, seed):
    codes = blind_codes(glasses, seed)
    every = [code for row in codes for code in row]
    assert [len(row) for row in codes] == glasses
    assert len(set(every)) == len(every)
    assert all(len(code) == 3 and 100 <= int(code) <= 999 for code in every)


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: base_orders("tetrad", "AB"), "panel.kind"),
        (lambda: base_orders("triangle", "ABC"), "panel.samples"),
        (lambda: base_orders("ranking", "A"), "panel.samples"),
        (lambda: base_orders("ranking", "AAB"), "panel.samples"),
        (lambda: serving_orders("triangle", "AB", 0, 1), "panel.assessors"),
        (lambda: blind_codes([3] * 301, 1), "panel.codes"),
    ],
)
def test_what_cannot_be_served_is_refused(call, code):
    with pytest.raises(KitError) as caught:
        call()
    assert caught.value.code == code
