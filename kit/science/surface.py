"""A second-order surface looked into: where it stands still, which way it bends, and the best point inside limits.

y = constant + b'x + x'Bx; plain arrays in, frozen results out. Levels are coded, or real ones between limits that are
told: how a surface bends along one factor can be set against another only on a scale that both share.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.model_terms import INTERCEPT
from kit.science.response_result import ResponseModel
from kit.show import Worded

# an axis whose bending is less than this share of the strongest is a ridge (common practice, no source)
_RIDGE = 0.05
_ON_EDGE = 1e-9


@dataclass(frozen=True, slots=True)
class SecondOrder:
    """Constant, linear and quadratic part of a surface.

    Parameters
    ----------
    names : tuple of str            Factors.
    constant : float                [unit]
    linear : tuple of float         b. [unit per level]
    quadratic : (factors, factors)  B, symmetric: half of each interaction beside the diagonal.
    """

    names: tuple[str, ...]
    constant: float
    linear: tuple[float, ...]
    quadratic: tuple[tuple[float, ...], ...]

    def at(self, point: Sequence[float]) -> float:
        """The value at a point."""
        bent = sum(self.quadratic[i][j] * point[i] * point[j] for i in range(len(point)) for j in range(len(point)))
        return self.constant + math.fsum(b * x for b, x in zip(self.linear, point, strict=True)) + bent


@dataclass(frozen=True, slots=True, repr=False)
class StationaryPoint(Worded):
    """Where a second-order surface stands still, and its canonical form.

    Parameters
    ----------
    names : tuple of str             Factors.
    point : tuple of float, None     The stationary point; None with a `reason`.
    value : float, None              The surface there, on the scale of the fit.
    eigenvalues : tuple of float     Bending along the canonical axes, the most negative first.
    axes : tuple of tuple            Direction of each, one number a factor.
    nature : str                     "maximum", "minimum", "saddle", "rising ridge" or "no bending".
    inside : bool                    Whether it lies inside the limits.
    reason : str                     Why there is none.
    words : str                      The whole in a sentence.
    """

    names: tuple[str, ...]
    point: tuple[float, ...] | None
    value: float | None
    eigenvalues: tuple[float, ...]
    axes: tuple[tuple[float, ...], ...]
    nature: str
    inside: bool
    reason: str
    words: str


@dataclass(frozen=True, slots=True)
class BestPoint:
    """The highest or lowest point of a surface inside limits; `on_edge` names the factors that lie on theirs."""

    point: tuple[float, ...]
    value: float
    on_edge: tuple[str, ...]


def second_order(model: ResponseModel) -> SecondOrder:
    """The surface of a fitted polynomial.

    Parameters
    ----------
    model : ResponseModel   Of polynomial terms up to the second order, the constant among them.

    Raises
    ------
    KitError   `surface.terms` for a model that is no such polynomial (that of a mixture has no constant, and its parts
               cannot be moved alone), or was not fitted.
    """
    count = len(model.names)
    place = {name: index for index, name in enumerate(model.names)}
    constant, linear = 0.0, [0.0] * count
    quadratic = [[0.0] * count for _ in range(count)]
    higher = any(term.degree > 2 or term.difference for term in model.terms)
    if not model.is_fitted or higher or INTERCEPT not in model.terms:
        raise KitError(
            "a stationary point needs a fitted polynomial of the second order at most, with its constant",
            where="second_order()",
            mend="fit linear, interaction or quadratic terms",
            code="surface.terms",
        )
    for found in model.coefficients:
        powers = [(place[name], power) for name, power in found.term.powers]
        if not powers:
            constant = found.estimate
        elif found.term.degree == 1:
            linear[powers[0][0]] = found.estimate
        else:
            first, last = powers[0][0], powers[-1][0]
            share = found.estimate if first == last else found.estimate / 2
            quadratic[first][last] = quadratic[last][first] = share
    return SecondOrder(model.names, constant, tuple(linear), tuple(map(tuple, quadratic)))


def stationary_point(
    surface: SecondOrder, low: Sequence[float] | None = None, high: Sequence[float] | None = None
) -> StationaryPoint:
    """The stationary point and canonical analysis.

    Parameters
    ----------
    surface : SecondOrder
    low, high : sequence of float   Limits of the tried region; everywhere when omitted, the levels coded then.

    Notes
    -----
    x = -B^-1 b / 2; the eigenvalues of B tell the nature (Box and Wilson 1951, J. R. Stat. Soc. B 13:1). Whether it
    bends, and whether an axis is a ridge, is judged over the limits, so that the units of the levels do not matter.
    """
    import numpy as np

    bending = np.array(surface.quadratic)
    values, vectors = np.linalg.eigh(bending)
    half = _half_widths(len(values), low, high)
    over_limits = half[:, None] * bending * half[None, :]
    slope = half * np.array(surface.linear)
    bent = np.linalg.eigvalsh(over_limits)
    axes = tuple(tuple(float(part) for part in vectors[:, index]) for index in range(len(values)))
    eigenvalues = tuple(float(value) for value in values)
    strongest = float(np.abs(bent).max(initial=0.0))
    none = [0.0] * len(values)
    limits = zip(none if low is None else low, none if high is None else high, strict=True)
    size = abs(surface.at([(least + most) / 2 for least, most in limits]))
    flat = strongest <= _ON_EDGE * max(size, float(np.abs(slope).max(initial=0.0)))
    if flat or float(np.abs(bent).min()) <= 1e-12 * strongest:
        reason = "the surface does not bend: its best point lies on the edge of the region"
        if not flat:
            reason = "the surface does not bend along one of its axes: it has no single stationary point"
        return StationaryPoint(surface.names, None, None, eigenvalues, axes, "no bending", False, reason, reason)
    point = tuple(float(part) for part in half * np.linalg.solve(over_limits, slope) * -0.5)
    nature = _nature([float(value) for value in bent])
    inside = all(
        (low is None or level >= low[index]) and (high is None or level <= high[index])
        for index, level in enumerate(point)
    )
    value = surface.at(point)
    where = ", ".join(f"{name} {level:.3g}" for name, level in zip(surface.names, point, strict=True))
    beyond = "" if inside else "; it lies outside the tried region and is no prediction"
    words = f"{nature} at {where}{beyond}"
    return StationaryPoint(surface.names, point, value, eigenvalues, axes, nature, inside, "", words)


def _half_widths(count: int, low: Sequence[float] | None, high: Sequence[float] | None):
    """Half the width of the limits of each factor; 1 where there is none."""
    import numpy as np

    if low is None or high is None:
        return np.ones(count)
    width = (np.array(high, dtype=float) - np.array(low, dtype=float)) / 2
    return np.where(width > 0, width, 1.0)


def _nature(eigenvalues: Sequence[float]) -> str:
    strongest = max(abs(value) for value in eigenvalues)
    if any(abs(value) < _RIDGE * strongest for value in eigenvalues):
        return "rising ridge"
    if all(value < 0 for value in eigenvalues):
        return "maximum"
    return "minimum" if all(value > 0 for value in eigenvalues) else "saddle"


def best_inside(
    surface: SecondOrder, low: Sequence[float], high: Sequence[float], *, highest: bool = True
) -> BestPoint:
    """The best point of a surface inside a box, its edges included.

    Parameters
    ----------
    surface : SecondOrder
    low, high : sequence of float   The box, one pair a factor.
    highest : bool                  The highest, else the lowest.

    Notes
    -----
    On every face of the box the surface is of the second order again: the stationary points of all faces, corners
    included, hold the best one. 3^k faces; meant for few factors.
    """
    import numpy as np

    half = _half_widths(len(surface.linear), low, high)
    linear, bending = half * np.array(surface.linear), half[:, None] * np.array(surface.quadratic) * half[None, :]
    least, most, slack = np.array(low, dtype=float), np.array(high, dtype=float), _ON_EDGE * half
    found: list[tuple[float, tuple[float, ...]]] = []
    for face in itertools.product((-1, 0, 1), repeat=len(linear)):
        free = np.array([side == 0 for side in face])
        point = np.array([low[i] if side < 0 else high[i] if side > 0 else 0.0 for i, side in enumerate(face)])
        if free.any():
            right = -(linear[free] + 2 * bending[np.ix_(free, ~free)] @ (point / half)[~free]) / 2
            solved, _, rank, _ = np.linalg.lstsq(bending[np.ix_(free, free)], right, rcond=None)
            if rank < free.sum():
                continue
            point[free] = half[free] * solved
            if (point < least - slack).any() or (point > most + slack).any():
                continue
        found.append((float(surface.at(point)), tuple(float(level) for level in point)))
    value, point = max(found) if highest else min(found)
    edges = tuple(
        name
        for name, level, bottom, top, near in zip(surface.names, point, low, high, slack, strict=True)
        if min(level - bottom, top - level) <= near
    )
    return BestPoint(point, value, edges)
