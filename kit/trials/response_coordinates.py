"""Between the levels of some factors, as a formulator has them, and the coordinates of a model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.trials.response_levels import MIXTURE, LevelFactor

if TYPE_CHECKING:
    import numpy as np


@dataclass(frozen=True)
class Coordinates:
    """Between levels as a formulator has them and the coordinates of the model.

    Parts of a mixture become L-pseudocomponents of their total: 0 at the lower bound, 1 where all others lie on
    theirs. Other factors are coded, -1 at their low and 1 at their high level.

    Parameters
    ----------
    factors : tuple of LevelFactor   Parts of the mixture first.
    low, high : tuple of float       Of each factor. [unit]
    total : float                    Of the mixture part as meant; 0 without a mixture. [%]
    """

    factors: tuple[LevelFactor, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    total: float = 0.0

    @property
    def parts(self) -> int:
        """How many of the factors are parts of a mixture."""
        return sum(factor.kind == MIXTURE for factor in self.factors)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the factors."""
        return tuple(factor.name for factor in self.factors)

    def to_model(self, levels: Sequence[Sequence[float]]) -> np.ndarray:
        """Levels as coordinates of the model; amounts of a mixture count by their shares of their own total.

        Parameters
        ----------
        levels : (points, factors)   [unit of each]
        """
        import numpy as np

        given = np.atleast_2d(np.asarray(levels, dtype=float))
        out, parts = given.copy(), self.parts
        if parts:
            least = np.array(self.low[:parts]) / self.total
            shares = given[:, :parts] / given[:, :parts].sum(axis=1, keepdims=True)
            out[:, :parts] = (shares - least) / (1 - least.sum())
        low, high = np.array(self.low[parts:]), np.array(self.high[parts:])
        half = np.where(high > low, (high - low) / 2, 1.0)
        out[:, parts:] = (given[:, parts:] - (low + high) / 2) / half
        return out

    def to_levels(self, points: Sequence[Sequence[float]]) -> np.ndarray:
        """Coordinates of the model as levels; the parts of a mixture add up to its total as meant.

        Parameters
        ----------
        points : (points, factors)   Pseudocomponents and coded levels.
        """
        import numpy as np

        given = np.atleast_2d(np.asarray(points, dtype=float))
        out, parts = given.copy(), self.parts
        if parts:
            least = np.array(self.low[:parts])
            out[:, :parts] = least + given[:, :parts] * (self.total - least.sum())
        low, high = np.array(self.low[parts:]), np.array(self.high[parts:])
        out[:, parts:] = (low + high) / 2 + given[:, parts:] * (high - low) / 2
        return out


def coordinates(
    factors: Sequence[LevelFactor], meant: Sequence[Sequence[float]], made: Sequence[Sequence[float]] = ()
) -> Coordinates:
    """The coordinates of some factors: by the bounds that were typed, else by the levels that were meant.

    Parameters
    ----------
    factors : sequence of LevelFactor   Parts of the mixture first.
    meant : (batches, factors)          Levels as meant. [unit of each]
    made : (batches, factors)           As made: they stand in for a factor that was always meant the same.
    """
    import numpy as np

    levels = np.atleast_2d(np.asarray(meant, dtype=float))
    if len(made):
        levels = np.where(np.ptp(levels, axis=0) > 0, levels, np.asarray(made, dtype=float))
    low = [float(levels[:, i].min()) if one.low is None else one.low for i, one in enumerate(factors)]
    high = [float(levels[:, i].max()) if one.high is None else one.high for i, one in enumerate(factors)]
    parts = sum(factor.kind == MIXTURE for factor in factors)
    total = float(levels[:, :parts].sum(axis=1).mean()) if parts else 0.0
    if parts and sum(low[:parts]) >= total:  # a mixture that was never varied has no room for pseudocomponents
        low[:parts] = [0.0] * parts
    return Coordinates(tuple(factors), tuple(low), tuple(high), total)
