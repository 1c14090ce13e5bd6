"""Terms of a response model: what stands beside each coefficient, and the matrix of a design.

A mixture has no intercept, as its proportions add up to one; process factors have one. Names are free text; the order
of the terms is the order of the coefficients.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.show import Worded

if TYPE_CHECKING:
    import numpy as np

SCHEFFE_ORDERS = ("linear", "quadratic", "special cubic", "full cubic")
POLYNOMIAL_ORDERS = ("linear", "interaction", "quadratic")


@dataclass(frozen=True, slots=True, repr=False)
class Term(Worded):
    """One term: a product of powers of factors, and for a full cubic one the difference of two of them.

    Parameters
    ----------
    powers : tuple of pairs   Factor and power, (("rpm", 2),); empty for the intercept.
    difference : tuple        Two factors whose difference is a further part of the product, or nothing.
    """

    powers: tuple[tuple[str, int], ...] = ()
    difference: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """ "1", "rpm", "rpm^2", "rpm * minutes", "a * b * (a - b)" """
        parts = [factor if power == 1 else f"{factor}^{power}" for factor, power in self.powers]
        if self.difference:
            parts.append(f"({self.difference[0]} - {self.difference[1]})")
        return " * ".join(parts) or "1"

    @property
    def factors(self) -> tuple[str, ...]:
        """The factors in it, each once."""
        return tuple(factor for factor, _ in self.powers)

    @property
    def degree(self) -> int:
        """Its power over all factors; 0 for the intercept."""
        return sum(power for _, power in self.powers) + (1 if self.difference else 0)

    def times(self, other: Term) -> Term:
        """The product of two terms of different factors."""
        return Term((*self.powers, *other.powers), (*self.difference, *other.difference))

    def __str__(self) -> str:
        return self.name


INTERCEPT = Term()


def scheffe_terms(names: Sequence[str], order: str) -> tuple[Term, ...]:
    """Terms of a Scheffe model of a mixture, without intercept.

    Parameters
    ----------
    names : sequence of str   Components, at least two.
    order : str               "linear", "quadratic", "special cubic" or "full cubic".

    Raises
    ------
    KitError   `model.order`, `model.names`.

    Notes
    -----
    Scheffe (1958), J. R. Stat. Soc. B 20:344; the full cubic has x_i x_j (x_i - x_j) besides.
    """
    _checked(names, order, SCHEFFE_ORDERS, least=2)
    terms = [_product(name) for name in names]
    if order == "linear":
        return tuple(terms)
    pairs = list(itertools.combinations(names, 2))
    terms += [_product(*pair) for pair in pairs]
    if order == "full cubic":
        terms += [Term(_product(*pair).powers, pair) for pair in pairs]
    if order != "quadratic":
        terms += [_product(*three) for three in itertools.combinations(names, 3)]
    return tuple(terms)


def polynomial_terms(names: Sequence[str], order: str) -> tuple[Term, ...]:
    """Terms of a polynomial in independent factors, the intercept first.

    Parameters
    ----------
    names : sequence of str   Factors.
    order : str               "linear", "interaction" (products of two besides) or "quadratic" (squares besides).

    Raises
    ------
    KitError   `model.order`, `model.names`.
    """
    _checked(names, order, POLYNOMIAL_ORDERS, least=1)
    terms = [INTERCEPT, *(_product(name) for name in names)]
    if order != "linear":
        terms += [_product(*pair) for pair in itertools.combinations(names, 2)]
    if order == "quadratic":
        terms += [Term(((name, 2),)) for name in names]
    return tuple(terms)


def crossed_terms(mixture: Sequence[Term], process: Sequence[Term]) -> tuple[Term, ...]:
    """A mixture model whose every coefficient goes with the process: each term of one times each of the other.

    Parameters
    ----------
    mixture : sequence of Term   Of `scheffe_terms`.
    process : sequence of Term   Of `polynomial_terms`, the intercept included.
    """
    return tuple(first.times(second) for second in process for first in mixture)


def added_terms(mixture: Sequence[Term], process: Sequence[Term]) -> tuple[Term, ...]:
    """A mixture model and a process model side by side: the process does the same to every mixture.

    Parameters
    ----------
    mixture : sequence of Term   Of `scheffe_terms`; it holds the constant, so that the intercept goes.
    process : sequence of Term   Of `polynomial_terms`.
    """
    return (*mixture, *(term for term in process if term != INTERCEPT))


def model_matrix(terms: Sequence[Term], names: Sequence[str], points: Sequence[Sequence[float]]) -> np.ndarray:
    """The value of every term at every point, (points, terms).

    Parameters
    ----------
    terms : sequence of Term         Columns of the matrix.
    names : sequence of str          Columns of the points.
    points : (points, factors)       Levels.

    Raises
    ------
    KitError   `model.points` where they do not fit the names, `model.names` for a term of another factor.
    """
    import numpy as np

    levels = np.atleast_2d(np.asarray(points, dtype=float))
    if levels.ndim != 2 or levels.shape[1] != len(names):
        raise KitError(
            f"the points have {levels.shape[-1]} levels each, and there are {len(names)} factors",
            where="model_matrix()",
            mend="give one level a factor",
            code="model.points",
        )
    column = {name: levels[:, index] for index, name in enumerate(names)}
    unknown = [name for term in terms for name in (*term.factors, *term.difference) if name not in column]
    if unknown:
        raise KitError(
            f"{unknown[0]} is no factor of the points",
            where="model_matrix()",
            allowed=", ".join(names),
            mend="name one of these",
            code="model.names",
        )
    matrix = np.ones((len(levels), len(terms)))
    for index, term in enumerate(terms):
        for name, power in term.powers:
            matrix[:, index] *= column[name] ** power
        for first, second in zip(term.difference[::2], term.difference[1::2], strict=True):
            matrix[:, index] *= column[first] - column[second]
    return matrix


def _product(*names: str) -> Term:
    return Term(tuple((name, 1) for name in names))


def _checked(names: Sequence[str], order: str, orders: Sequence[str], *, least: int) -> None:
    if order not in orders:
        raise KitError(
            f"there is no {order!r} model of this kind",
            where="terms of a model",
            allowed=", ".join(orders),
            mend="name one of these",
            code="model.order",
        )
    if len(names) < least or len(set(names)) != len(names):
        raise KitError(
            f"{', '.join(names) or 'nothing'} cannot be the factors of this model",
            where="terms of a model",
            allowed=f"{least} or more different names",
            mend="name every factor once",
            code="model.names",
        )
