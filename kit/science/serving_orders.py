"""In which order each assessor is served, and under which three-digit codes: balanced, and drawn from a seed.

Letters stand for products. The orders of a kind of test make a set in which every product stands equally often in every
place; they are dealt out set by set, each set shuffled, so that those who do not come leave little imbalance.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from kit.errors import KitError

TRIANGLE, DUO_TRIO, PAIRED, PREFERENCE, RANKING, RATING = (
    *("triangle", "duo-trio", "paired", "preference"),
    *("ranking", "rating"),
)
KINDS = (TRIANGLE, DUO_TRIO, PAIRED, PREFERENCE, RANKING, RATING)
_LOWEST_CODE, _HIGHEST_CODE = 100, 999

Order = tuple[str, ...]
"""Letters of the products in the order served; in a duo-trio test the reference stands first."""


@dataclass(frozen=True, slots=True)
class Balance:
    """How evenly products are spread over a set of orders.

    Parameters
    ----------
    orders : dict       Order to how often it is served, every order of the set included.
    positions : int     Largest less smallest number of times that a product stands in a place.
    carry_over : int    Largest less smallest number of times that one product follows another at once; 0 where the
                        kind of test does not ask for it.
    """

    orders: dict[Order, int]
    positions: int
    carry_over: int

    @property
    def uneven(self) -> int:
        """Largest less smallest number of times that an order is served."""
        return max(self.orders.values()) - min(self.orders.values())

    @property
    def exact(self) -> bool:
        """Whether every order is served equally often."""
        return self.uneven == 0


def base_orders(kind: str, letters: Sequence[str]) -> tuple[Order, ...]:
    """The set of orders of a kind of test.

    Parameters
    ----------
    kind : str                   One of KINDS.
    letters : sequence of str    Two products; two or more for ranking and rating.

    Returns
    -------
    tuple of orders   Triangle: AAB, ABA, BAA, BBA, BAB, ABB. Duo-trio: the reference, then both; every product is the
                      reference equally often. Paired: AB, BA. Ranking and rating: Latin squares after Williams.

    Raises
    ------
    KitError   `panel.kind`, `panel.samples`.
    """
    if kind not in KINDS:
        raise KitError(
            f"{kind!r} is no kind of panel test",
            allowed=", ".join(KINDS),
            mend="name one of these",
            code="panel.kind",
        )
    many = kind in (RANKING, RATING)
    if len(set(letters)) != len(letters) or len(letters) < 2 or (len(letters) > 2 and not many):
        raise KitError(
            f"{', '.join(letters) or 'no product'}: these are no products of a {kind} test",
            allowed="two or more different products" if many else "two different products",
            mend="name each product once",
            code="panel.samples",
        )
    if many:
        return williams(letters)
    first, second = letters
    if kind == TRIANGLE:
        return tuple(
            tuple(odd if place == at else twin for place in range(3))
            for twin, odd in ((first, second), (second, first))
            for at in (2, 1, 0)
        )
    if kind == DUO_TRIO:
        return tuple((twin, *pair) for twin in letters for pair in ((first, second), (second, first)))
    return ((first, second), (second, first))


def williams(letters: Sequence[str]) -> tuple[Order, ...]:
    """Orders in which each product stands equally often in each place and follows each other equally often at once.

    Parameters
    ----------
    letters : sequence of str   Two products or more.

    Returns
    -------
    tuple of orders   One Latin square for an even number of products; a second, mirrored, for an odd one.

    Notes
    -----
    Williams (1949), Aust. J. Sci. Res. A 2:149.
    """
    count = len(letters)
    steps = [0]
    for place in range(1, count):
        steps.append((steps[-1] + (place if place % 2 else -place)) % count)
    square = [tuple(letters[(step + row) % count] for step in steps) for row in range(count)]
    mirrored = [order[::-1] for order in square] if count % 2 else []
    return tuple([*square, *mirrored])


def serving_orders(kind: str, letters: Sequence[str], assessors: int, seed: int) -> tuple[Order, ...]:
    """The order of each assessor, drawn from a seed.

    Parameters
    ----------
    kind : str                  One of KINDS.
    letters : sequence of str   The products.
    assessors : int             1 or more.
    seed : int                  The same seed gives the same orders.

    Returns
    -------
    tuple of orders   As even as the number of assessors allows: no order is served two times more than another, and a
                      product stands in a place at most once more than another.

    Raises
    ------
    KitError   `panel.kind`, `panel.samples`, `panel.assessors`.
    """
    base = base_orders(kind, letters)
    if assessors < 1:
        raise KitError(f"a panel of {assessors}", allowed="1 or more", code="panel.assessors")
    drawn = random.Random(f"orders {kind} {seed}")
    whole, left = divmod(assessors, len(base))
    dealt: list[Order] = []
    for _ in range(whole):
        dealt += _shuffled(base, drawn)
    rest = _part(kind, base, len(letters), left, drawn)
    return tuple([*dealt, *_shuffled(rest, drawn)])


def blind_codes(glasses: Sequence[int], seed: int) -> tuple[tuple[str, ...], ...]:
    """Three-digit codes, 100 to 999, none twice in the whole panel.

    Parameters
    ----------
    glasses : sequence of int   How many each assessor is served under a code, none below 0.
    seed : int                  The same seed gives the same codes.

    Raises
    ------
    KitError   `panel.codes` where there are more than 900, or fewer than none.
    """
    known, wanted = range(_LOWEST_CODE, _HIGHEST_CODE + 1), sum(glasses)
    if wanted > len(known) or min(glasses, default=0) < 0:
        raise KitError(
            f"{wanted} coded samples cannot each have a three-digit code of their own",
            allowed=f"0 or more for each assessor, at most {len(known)} in one panel",
            mend="divide the assessors over two panels",
            code="panel.codes",
        )
    drawn = iter(random.Random(f"codes {seed}").sample(known, wanted))
    return tuple(tuple(str(next(drawn)) for _ in range(count)) for count in glasses)


def balance(kind: str, letters: Sequence[str], orders: Sequence[Order]) -> Balance:
    """How evenly the products are spread over the orders that were served.

    Parameters
    ----------
    kind : str                  One of KINDS.
    letters : sequence of str   The products.
    orders : sequence           As served.

    Raises
    ------
    KitError   `panel.kind`, `panel.samples`.
    """
    counts = Counter(orders)
    served = {order: counts[order] for order in base_orders(kind, letters)}
    places = range(len(next(iter(served))))
    stood = Counter((letter, place) for order in orders for place, letter in enumerate(order))
    positions = _spread([stood[letter, place] for place in places for letter in letters])
    if kind not in (RANKING, RATING):
        return Balance(served, positions, 0)
    followed = Counter(pair for order in orders for pair in pairwise(order))
    pairs = [followed[one, other] for one in letters for other in letters if one != other]
    return Balance(served, positions, _spread(pairs))


def _part(kind: str, base: Sequence[Order], products: int, left: int, drawn: random.Random) -> list[Order]:
    """Some orders of a set that is not filled: of Latin squares, rows of one square before the other."""
    if kind not in (RANKING, RATING):
        return _even_part(base, left, drawn)
    squares = [list(base[at : at + products]) for at in range(0, len(base), products)]
    drawn.shuffle(squares)
    ordered = [order for square in squares for order in _shuffled(square, drawn)]
    return ordered[:left]


def _even_part(base: Sequence[Order], left: int, drawn: random.Random) -> list[Order]:
    """The part of a small set in which products and places are most even; drawn among equals."""
    from itertools import combinations

    letters = sorted({letter for order in base for letter in order})
    parts = [list(part) for part in combinations(base, left)]
    return drawn.choice(_least(parts, lambda part: _spread(_stood(part, letters))))


def _stood(orders: Sequence[Order], letters: Sequence[str]) -> list[int]:
    places = range(len(orders[0])) if orders else ()
    return [sum(order[place] == letter for order in orders) for place in places for letter in letters]


def _least(parts: list, measure) -> list:
    found = [measure(part) for part in parts]
    return [part for part, value in zip(parts, found, strict=True) if value == min(found)]


def _shuffled(orders: Sequence[Order], drawn: random.Random) -> list[Order]:
    mixed = list(orders)
    drawn.shuffle(mixed)
    return mixed


def _spread(counts: Sequence[int]) -> int:
    return max(counts) - min(counts) if counts else 0
