"""Where the fit of a flow model starts, and in which variables it runs."""

from __future__ import annotations

import numpy as np

from kit.science.flow_models import LOGARITHM, ROOT, FlowModel

# What stands under a root is never quite zero while it is fitted, so that its derivative exists.
SMALLEST_ROOT = 1e-100
# A positive parameter is looked for within this many natural logarithms of where it starts.
REACH = 30.0


def first_parameters(model: FlowModel, rates: np.ndarray, stresses: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """The best of a grid of shapes, each with the amounts that suit it.

    For a given shape every model is a sum of one or two curves with amounts that may not be negative, so these follow
    without a search.

    Parameters
    ----------
    model : FlowModel
    rates, stresses, weight : array, (c, n)   [1/s], [Pa], [1/Pa]; weight zero leaves a reading out.

    Returns
    -------
    array, (c, p)   As the model takes them.
    """
    counts = weight > 0
    slowest, fastest = np.where(counts, rates, np.inf).min(axis=1), np.where(counts, rates, 0.0).max(axis=1)
    grid = model.shape_grid(slowest, fastest)
    columns = [weight[:, None, :] * curve for curve in model.shapes(rates[:, None, :], grid)]
    amounts, squares = _amounts(columns, (weight * stresses)[:, None, :])
    best = squares.argmin(axis=1)
    rows = np.arange(len(rates))
    return model.assemble(grid[rows, best], amounts[rows, best])


def _amounts(columns: list[np.ndarray], wanted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Non-negative amounts of one or two curves, (c, g, 2), and the squares they leave less those of the readings."""
    first = columns[0]
    own, on = (first * first).sum(axis=-1), (first * wanted).sum(axis=-1)
    alone = on / own
    if len(columns) == 1:
        return alone[..., None], -on * alone
    second = columns[1]
    second_own, second_on = (second * second).sum(axis=-1), (second * wanted).sum(axis=-1)
    second_alone = second_on / second_own
    shared = (first * second).sum(axis=-1)
    determinant = own * second_own - shared * shared
    safe = np.where(determinant > 1e-12 * own * second_own, determinant, np.inf)
    one = (second_own * on - shared * second_on) / safe
    two = (own * second_on - shared * on) / safe
    both = (one > 0) & (two > 0)
    first_wins = on * alone > second_on * second_alone
    # The second amount is that of a positive parameter: it starts small rather than at nothing.
    one = np.where(both, one, np.where(first_wins, alone, 0.0))
    two = np.where(both, two, np.where(first_wins, 1e-3 * second_alone, second_alone))
    squares = one * one * own + two * two * second_own + 2 * one * two * shared - 2 * (one * on + two * second_on)
    return np.stack([one, two], axis=-1), squares


class Variables:
    """What is fitted instead of a model's parameters: logarithms of what is positive, roots of what stands under one.

    Parameters
    ----------
    model : FlowModel
    """

    def __init__(self, model: FlowModel) -> None:
        kinds = np.array([parameter.fitted_as for parameter in model.parameters])
        self.model, self.logarithm, self.root = model, kinds == LOGARITHM, kinds == ROOT

    def inward(self, parameters: np.ndarray) -> np.ndarray:
        """Variables of some parameters, (c, p)."""
        with np.errstate(all="ignore"):
            logarithms = np.log(parameters)
            roots = np.maximum(np.sqrt(parameters), SMALLEST_ROOT)
        return np.where(self.logarithm, logarithms, np.where(self.root, roots, parameters))

    def outward(self, variables: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Parameters of some variables, and the derivative of each by its variable."""
        exponential = np.exp(np.where(self.logarithm, variables, 0.0))
        parameters = np.where(self.logarithm, exponential, np.where(self.root, variables**2, variables))
        slope = np.where(self.logarithm, exponential, np.where(self.root, 2 * variables, 1.0))
        return parameters, slope

    def evaluate(self, rates: np.ndarray, variables: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Stresses and their derivatives by the variables."""
        parameters, slope = self.outward(variables)
        stresses, derivatives = self.model.evaluate(rates, parameters)
        return stresses, derivatives * slope[:, None, :]

    def bounds(self, slowest: np.ndarray, fastest: np.ndarray, start: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Bounds of the variables, (c, p); a positive parameter without any is held near its start, (c, p)."""
        low, high = (self.inward(ends) for ends in self.model.bounds(slowest, fastest))
        low = np.where(self.logarithm & ~np.isfinite(low), start - REACH, low)
        return low, np.where(self.logarithm & ~np.isfinite(high), start + REACH, high)
