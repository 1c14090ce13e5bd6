"""Generators of a regular two-level fraction: read from text, or searched for least aberration."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import combinations, islice

from kit.errors import KitError

_MOST_TRIED = 500_000  # sets of generators; all the fractions of up to 32 runs and most of 64 lie below
_CHUNK = 20_000

Generators = dict[int, tuple[int, int]]
"""Index of an added factor to the bits of its product and its sign."""


def read_generators(factors: Sequence[str], told: Sequence[str] | Mapping[str, str]) -> Generators:
    """Generators from text.

    Parameters
    ----------
    factors : sequence of str   Names.
    told : sequence of str      Such as "D = A:B:C", "D = -A:B"; or a mapping of the added factor to its product.

    Raises
    ------
    KitError   `design.generators`.
    """
    pairs = list(told.items()) if isinstance(told, Mapping) else [_sides(text) for text in told]
    added: Generators = {}
    for left, right in pairs:
        if left not in factors or factors.index(left) in added:
            raise _wrong(f"{left} = {right}", f"{left} is no factor, or is set twice")
        negative = right.startswith("-")
        parts = _parts(right.lstrip("+-").strip(), factors)
        bits = sum({1 << factors.index(part) for part in parts})
        if len(set(parts)) < max(len(parts), 2):
            raise _wrong(f"{left} = {right}", "the product needs two different factors or more")
        added[factors.index(left)] = (bits, -1 if negative else 1)
    own = sum(1 << index for index in added)
    for index, (bits, _) in added.items():
        if bits & own:
            raise _wrong(factors[index], "a product may hold only factors that are not set by a generator themselves")
    if len(added) >= len(factors):
        raise _wrong(", ".join(factors), "no factor is left to be varied freely")
    return added


def _sides(text: str) -> tuple[str, str]:
    left, equals, right = str(text).partition("=")
    if not equals:
        raise _wrong(str(text), "there is no equals sign")
    return left.strip(), right.strip()


def _parts(text: str, factors: Sequence[str]) -> list[str]:
    """The factors of a product: parted by ":" or "*", or letters side by side."""
    parts = [part.strip() for part in text.replace("*", ":").split(":")]
    if len(parts) == 1 and parts[0] not in factors and all(letter in factors for letter in parts[0]):
        parts = list(parts[0])
    unknown = [part for part in parts if part not in factors]
    if unknown:
        raise _wrong(text, f"{', '.join(map(repr, unknown))} is no factor")
    return parts


def _wrong(text: str, why: str) -> KitError:
    return KitError(
        f"the generator {text!r} cannot be used: {why}",
        where="fraction",
        allowed='an added factor and a product of free ones, such as "D = A:B:C"',
        mend="write it so, or give the wanted resolution instead",
        code="design.generators",
    )


def smallest_for_resolution(factors: int, resolution: int) -> Generators:
    """Generators of the smallest fraction of at least this resolution; none where only the full factorial has it.

    Parameters
    ----------
    factors : int      How many, 2 to 12.
    resolution : int   3 or more.

    Raises
    ------
    KitError   `design.resolution`.
    """
    if isinstance(resolution, bool) or not isinstance(resolution, int) or not 3 <= resolution <= factors:
        raise KitError(
            f"a fraction of {factors} factors has no resolution {resolution!r}",
            where="fraction",
            allowed=f"a whole number from 3 to {factors}, such as 4",
            mend="choose one of these, or make the full factorial",
            code="design.resolution",
        )
    for exponent in range(2, factors):
        if (1 << exponent) - 1 < factors or not _can_reach(factors, exponent, resolution):
            continue
        added = best_generators(factors, exponent)
        if min(word.bit_count() for word in _words(tuple(added.items()))) >= resolution:
            return added
    return {}


def _can_reach(factors: int, exponent: int, resolution: int) -> bool:
    """Whether so few runs can have the resolution at all: a bound of counting that spares long searches."""
    columns = (1 << exponent) - 1
    if resolution >= 5:  # main effects and interactions of two are all different columns
        return factors + factors * (factors - 1) // 2 <= columns
    return factors <= (columns + 1) // 2 if resolution == 4 else factors <= columns


@lru_cache(maxsize=64)
def _best(factors: int, exponent: int) -> tuple[tuple[int, int], ...]:
    import numpy as np

    extra = factors - exponent
    products = [bits for bits in range(1, 1 << exponent) if bits.bit_count() > 1]
    products.sort(key=lambda bits: (bits.bit_count(), [index for index in range(exponent) if bits >> index & 1]))
    _require_few(factors, exponent, len(products))
    bits_set = np.array([bits.bit_count() for bits in range(1 << factors)])
    best_key, best = None, None
    every = combinations(products, extra)
    while chunk := list(islice(every, _CHUNK)):
        words = np.zeros((len(chunk), 1), dtype=np.int64)
        for place, bits in enumerate(np.array(chunk, dtype=np.int64).T):
            word = bits | 1 << (exponent + place)
            words = np.concatenate([words, words ^ word[:, None]], axis=1)
        lengths = bits_set[words[:, 1:]]
        pattern = np.stack([(lengths == size).sum(axis=1) for size in range(1, factors + 1)], axis=1)
        first = np.lexsort(pattern.T[::-1])[0]
        key = tuple(pattern[first])
        if best_key is None or key < best_key:
            best_key, best = key, chunk[first]
    return tuple((exponent + place, bits) for place, bits in enumerate(best))


def best_generators(factors: int, exponent: int) -> Generators:
    """Generators of least aberration of a fraction of 2^exponent runs: the fewest words of the shortest length.

    All sets of products are looked at; the first of equals is taken, so that the same question has the same answer.

    Parameters
    ----------
    factors : int    How many, up to 12.
    exponent : int   Of the number of runs, below `factors`.

    Raises
    ------
    KitError   `design.generators` where there are too many sets to look at.
    """
    if exponent >= factors:
        return {}
    return {index: (bits, 1) for index, bits in _best(factors, exponent)}


def _require_few(factors: int, exponent: int, products: int) -> None:
    from math import comb

    if comb(products, factors - exponent) > _MOST_TRIED:
        raise KitError(
            f"there are too many fractions of {factors} factors in {1 << exponent} runs to look at",
            where="fraction",
            allowed="up to 32 runs for any number of factors, or up to 10 factors in 64 runs",
            mend="give the generators, or ask for fewer runs",
            code="design.generators",
        )


def _words(items: tuple[tuple[int, tuple[int, int]], ...]) -> list[int]:
    words = [0]
    for index, (bits, _) in items:
        words += [known ^ (bits | 1 << index) for known in words]
    return words[1:]
