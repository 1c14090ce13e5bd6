"""Two-level designs: the full factorial, and its regular fractions with what they cannot tell apart.

A product of factors is a set of bits: multiplying two products is the exclusive or, as every squared column is ones.
Words, resolution and aliases follow from the generators without a look at the runs (Box, Hunter and Hunter (2005),
Statistics for Experimenters, 2nd ed., chapter 6).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

from kit.errors import KitError
from kit.science.design_checks import factor_names, require_count, term_name
from kit.science.design_generators import best_generators, read_generators, smallest_for_resolution
from kit.science.design_layout import Design

MOST_FACTORS = 12
ROMAN = {2: "II", 3: "III", 4: "IV", 5: "V", 6: "VI", 7: "VII", 8: "VIII"}


def two_level_factorial(names: Iterable[str], *, centre: int = 0) -> Design:
    """Every combination of low and high, the first factor changing fastest.

    Parameters
    ----------
    names : iterable of str   Factors, at most 12.
    centre : int              Centre points added.

    Raises
    ------
    KitError   `design.names`, `design.count`.
    """
    factors = factor_names(names)
    require_count("two-level factorial", least=1, most=MOST_FACTORS, factors=len(factors))
    require_count("two-level factorial", least=0, centre=centre)
    title = f"two-level factorial 2^{len(factors)}"
    return Design(factors, full_levels(len(factors)), title=title).with_centre(centre)


def fractional_factorial(
    names: Iterable[str],
    generators: Sequence[str] | Mapping[str, str] | None = None,
    *,
    resolution: int | None = None,
    runs: int | None = None,
    centre: int = 0,
) -> Design:
    """A regular fraction of a two-level factorial: by its generators, by its resolution or by its number of runs.

    Without generators those of least aberration are searched: the fewest shortest words (Fries and Hunter (1980),
    Technometrics 22:601). With none of the three it is the half fraction; two factors have none.

    Parameters
    ----------
    names : iterable of str   Factors, at most 12.
    generators : sequence     Such as "D = A:B:C" or "D = -A:B"; with names of one letter "D = ABC" too.
    resolution : int          The least wanted, 3 to 5 or more; the smallest fraction that has it.
    runs : int                A power of two above the number of factors, at most the full number.
    centre : int              Centre points added; they belong to no word.

    Returns
    -------
    Design   With generators, defining relation, resolution and the aliases of main effects and two-factor interactions.

    Raises
    ------
    KitError   `design.names`, `design.count`, `design.generators`, `design.resolution`, `design.runs`.
    """
    factors = factor_names(names)
    require_count("fraction", least=2, most=MOST_FACTORS, factors=len(factors))
    require_count("fraction", least=0, centre=centre)
    if generators is not None:
        added = read_generators(factors, generators)
    elif resolution is not None:
        added = smallest_for_resolution(len(factors), resolution)
    else:
        added = best_generators(len(factors), _exponent(len(factors), runs))
    if not added:
        return two_level_factorial(factors, centre=centre)
    return _fraction(factors, added).with_centre(centre)


def full_levels(factors: int) -> tuple[tuple[float, ...], ...]:
    """All combinations of -1 and 1, the first factor changing fastest.

    Parameters
    ----------
    factors : int   How many.
    """
    return tuple(tuple(1.0 if run >> bit & 1 else -1.0 for bit in range(factors)) for run in range(1 << factors))


def _exponent(factors: int, runs: int | None) -> int:
    if runs is None:
        runs = 1 << (factors - 1)
    exponent = runs.bit_length() - 1 if isinstance(runs, int) and runs > 0 else -1
    if exponent < 1 or 1 << exponent != runs or exponent > factors or (1 << exponent) - 1 < factors:
        raise KitError(
            f"{runs} runs make no fraction of {factors} two-level factors",
            where="fraction",
            allowed=f"a power of two above {factors} and at most {1 << factors}",
            mend="choose such a number, or fewer factors",
            code="design.runs",
        )
    return exponent


def _fraction(factors: tuple[str, ...], added: Mapping[int, tuple[int, int]]) -> Design:
    """The design of generators: added factor to the bits of its product and its sign."""
    base = [index for index in range(len(factors)) if index not in added]
    levels = []
    for run in full_levels(len(base)):
        row = [0.0] * len(factors)
        for index, level in zip(base, run, strict=True):
            row[index] = level
        for index, (bits, sign) in added.items():
            value = float(sign)
            for other in _members(bits):
                value *= row[other]
            row[index] = value
        levels.append(tuple(row))
    words = defining_words(added)
    resolution = min(bits.bit_count() for bits in words)
    title = (
        f"two-level fraction 2^({len(factors)}-{len(added)}), {len(levels)} runs, resolution "
        f"{ROMAN.get(resolution, resolution)}"
    )
    return Design(
        factors,
        tuple(levels),
        title=title,
        generators=tuple(
            f"{factors[index]} = {_signed(factors, bits, sign)}" for index, (bits, sign) in sorted(added.items())
        ),
        defining_words=tuple(_signed(factors, bits, sign) for bits, sign in _sorted(words)),
        resolution=resolution,
        aliases=tuple(alias_strings(factors, words, order=2)),
        notes=(_resolution_sentence(resolution),),
    )


def defining_words(added: Mapping[int, tuple[int, int]]) -> dict[int, int]:
    """The defining relation of generators: bits of each word to its sign.

    Parameters
    ----------
    added : mapping   Index of an added factor to the bits of its product of other factors and the sign, 1 or -1.
    """
    words: dict[int, int] = {0: 1}
    for index, (bits, sign) in added.items():
        word = bits | 1 << index
        words |= {known ^ word: known_sign * sign for known, known_sign in words.items()}
    del words[0]
    return words


def aliases_of(design: Design, order: int = 3) -> tuple[str, ...]:
    """Effects up to an order that a regular fraction cannot tell apart, from its defining relation.

    An effect that is a word of the defining relation itself cannot be told from the mean and is not listed.

    Parameters
    ----------
    design : Design   Made by `fractional_factorial`; any other has no defining relation and gives none.
    order : int       The most factors in a product, 1 to 12.

    Raises
    ------
    KitError   `design.count`.

    Examples
    --------
    >>> aliases_of(fractional_factorial(("A", "B", "C")), order=2)
    ('A = B:C', 'B = A:C', 'C = A:B')
    """
    require_count("aliases", least=1, most=MOST_FACTORS, order=order)
    words = {}
    for text in design.defining_words:
        bits = sum(1 << design.names.index(name) for name in text.removeprefix("-").split(":"))
        words[bits] = -1 if text.startswith("-") else 1
    return tuple(alias_strings(design.names, words, order=order))


def alias_strings(factors: tuple[str, ...], words: Mapping[int, int], *, order: int) -> Iterable[str]:
    """Each set of effects of at most `order` factors that share one column, written with signs.

    Parameters
    ----------
    factors : tuple of str   Names.
    words : mapping          Bits of each word of the defining relation to its sign.
    order : int              The most factors in a product.
    """
    effects = [sum(1 << index for index in chosen) for chosen in _products(len(factors), order)]
    seen: set[int] = set()
    for bits in effects:
        if bits in seen:
            continue
        same = [(bits ^ word, sign) for word, sign in words.items() if 0 < (bits ^ word).bit_count() <= order]
        seen |= {bits, *(other for other, _ in same)}
        if same:
            yield " = ".join([_signed(factors, bits, 1), *(_signed(factors, *other) for other in _sorted(dict(same)))])


def _products(factors: int, order: int) -> Iterable[tuple[int, ...]]:
    for size in range(1, order + 1):
        yield from combinations(range(factors), size)


def _sorted(words: Mapping[int, int]) -> list[tuple[int, int]]:
    """Shorter words first, then in the order of the factors."""
    return sorted(words.items(), key=lambda item: (item[0].bit_count(), _members(item[0])))


def _members(bits: int) -> list[int]:
    return [index for index in range(bits.bit_length()) if bits >> index & 1]


def _signed(factors: tuple[str, ...], bits: int, sign: int) -> str:
    return ("-" if sign < 0 else "") + term_name(factors[index] for index in _members(bits))


def _resolution_sentence(resolution: int) -> str:
    if resolution <= 2:
        return "Resolution II: some main effects cannot be told from each other."
    if resolution == 3:
        return (
            "Resolution III: each main effect is mixed with interactions of two factors; trust it only if those are "
            "small."
        )
    if resolution == 4:
        return "Resolution IV: main effects are clear of interactions of two factors, which are mixed with each other."
    return (
        f"Resolution {ROMAN.get(resolution, resolution)}: main effects and interactions of two factors are clear of "
        "each other."
    )
