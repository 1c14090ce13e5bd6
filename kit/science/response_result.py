"""A fitted response: coefficients with their errors, how well the model fits, and what it predicts.

Frozen results. Where the batches allow no answer `reason` says what is missing.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.science.lack_of_fit import LackOfFit
from kit.science.model_terms import Term, model_matrix

if TYPE_CHECKING:
    import numpy as np


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One coefficient; its error, t and p are None where no scatter is known.

    Parameters
    ----------
    term : Term                    What it stands beside.
    estimate : float               On the scale of the fit: ln units with `log`. [unit, or ln units]
    standard_error : float, None   [as estimate]
    t, p : float, None             Student's t and its two-sided probability. [-]
    """

    term: Term
    estimate: float
    standard_error: float | None
    t: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class Prediction:
    """What a model says of some points, in the unit of the response; arrays of one number a point.

    Parameters
    ----------
    mean : array                     The middle; with `log` the median of batches.
    low, high : array, None          Two-sided interval of the mean; None where no scatter is known.
    new_low, new_high : array, None  The same for one new batch.
    outside : tuple of str           Why a point lies outside the tried region; empty inside.
    confidence : float               Of the intervals.
    standard_error : array, None     Of the mean, on the scale of the fit.
    """

    mean: np.ndarray
    low: np.ndarray | None
    high: np.ndarray | None
    new_low: np.ndarray | None
    new_high: np.ndarray | None
    outside: tuple[str, ...]
    confidence: float
    standard_error: np.ndarray | None = None


@dataclass(frozen=True)
class ResponseModel:
    """A response by least squares.

    Parameters
    ----------
    names : tuple of str                Factors, in the order of the levels.
    terms : tuple of Term               What was fitted.
    points : (batches, factors)         Levels.
    values : tuple of float             Observed. [unit]
    log : bool                          Whether ln of the values was fitted.
    reason : str                        Why there is no fit, or no scatter; empty otherwise.
    coefficients : tuple                One a term; empty where nothing could be fitted.
    block_effects : dict                Block to its effect against the mean of the blocks, on the scale of the fit.
    residual_sd : float, None           Root of the residual mean square, on the scale of the fit.
    df : int                            Batches less coefficients.
    sd, sd_df : float, None             The scatter of one batch that errors and intervals rest on, and its df.
    sd_from : str                       Where it is from.
    block_sd : float                    Scatter between blocks beyond that of batches, on the scale of the fit.
    r2, r2_adjusted, r2_predicted : float, None   About the mean; predicted: each batch left out in turn.
    press : float, None                 Sum of squares of the left-out residuals.
    aicc : float, None                  Akaike's criterion for few batches.
    leverage, residuals : tuple         One a batch; residuals on the scale of the fit.
    studentized : tuple                 Residual over its own error; None where that is not known.
    lack_of_fit : LackOfFit, None       Against the scatter of repeats, or the known scatter.
    notes : tuple of str                What weakens it.
    inverse : (terms, terms)            Times the square of `sd` the covariance of the coefficients.
    """

    names: tuple[str, ...]
    terms: tuple[Term, ...]
    points: tuple[tuple[float, ...], ...]
    values: tuple[float, ...]
    log: bool
    reason: str = ""
    coefficients: tuple[Coefficient, ...] = ()
    block_effects: dict[Hashable, float] = field(default_factory=dict)
    residual_sd: float | None = None
    df: int = 0
    sd: float | None = None
    sd_df: float | None = None
    sd_from: str = ""
    block_sd: float = 0.0
    r2: float | None = None
    r2_adjusted: float | None = None
    r2_predicted: float | None = None
    press: float | None = None
    aicc: float | None = None
    leverage: tuple[float, ...] = ()
    residuals: tuple[float, ...] = ()
    studentized: tuple[float | None, ...] = ()
    lack_of_fit: LackOfFit | None = None
    notes: tuple[str, ...] = ()
    inverse: tuple[tuple[float, ...], ...] = field(default=(), repr=False)

    @property
    def is_fitted(self) -> bool:
        """Whether there are coefficients."""
        return bool(self.coefficients)

    @property
    def fitted(self) -> tuple[float, ...]:
        """What the model says of the batches it was fitted to, blocks included. [unit]"""
        return tuple(
            off_scale(on_scale(value, self.log) - residual, self.log)
            for value, residual in zip(self.values, self.residuals, strict=True)
        )

    def coefficient(self, name: str) -> Coefficient:
        """The coefficient of a term by its name, "rpm * minutes".

        Raises
        ------
        KitError   `model.term` with those there are.
        """
        for found in self.coefficients:
            if found.term.name == name:
                return found
        raise KitError(
            f"there is no term {name!r}",
            where="response model",
            allowed="; ".join(term.name for term in self.terms),
            mend="name one of these",
            code="model.term",
        )

    def predict(self, points: Sequence[Sequence[float]], confidence: float = 0.95) -> Prediction:
        """What the model says of some points, for a batch of average blocks.

        Parameters
        ----------
        points : (points, factors)   Levels, in the order of `names`.
        confidence : float           Of the two-sided intervals.

        Raises
        ------
        KitError   `model.not_fitted`, `model.points`, `model.confidence`.

        Notes
        -----
        Mean: t s sqrt(h); one new batch: t sqrt(s^2 (1 + h) + scatter between blocks). h is the leverage of the point.
        """
        import numpy as np
        from scipy.special import stdtrit

        if not self.is_fitted:
            raise KitError(
                f"there is no model to predict from: {self.reason}",
                where="response model",
                mend="make the batches it asks for",
                code="model.not_fitted",
            )
        if not 0 < confidence < 1:
            raise KitError(f"a confidence of {confidence}", allowed="between 0 and 1", code="model.confidence")
        rows = model_matrix(self.terms, self.names, points)
        middle = rows @ [found.estimate for found in self.coefficients]
        leverage = np.einsum("ij,jk,ik->i", rows, np.array(self.inverse), rows)
        outside = self._outside(points, leverage)
        back = np.exp if self.log else np.asarray
        if self.sd is None:
            return Prediction(back(middle), None, None, None, None, outside, confidence)
        t = float(stdtrit(self.sd_df, (1 + confidence) / 2))
        error = self.sd * np.sqrt(leverage)
        wide = t * np.sqrt(self.sd**2 * (1 + leverage) + self.block_sd**2)
        near = t * error
        return Prediction(
            back(middle),
            back(middle - near),
            back(middle + near),
            back(middle - wide),
            back(middle + wide),
            outside,
            confidence,
            error,
        )

    def _outside(self, points: Sequence[Sequence[float]], leverage: np.ndarray) -> tuple[str, ...]:
        import numpy as np

        from kit.science.tried_region import LEVERAGE, outside_words

        # as for the points: the mean of the blocks, a batch of weight 1
        rows = model_matrix(self.terms, self.names, self.points)
        most = np.einsum("ij,jk,ik->i", rows, np.array(self.inverse), rows).max() * (1 + 1e-9)
        return tuple(
            words or (LEVERAGE if share > most else "")
            for words, share in zip(outside_words(points, self.points), leverage, strict=True)
        )


def on_scale(value: float, log: bool) -> float:
    """A value on the scale of the fit."""
    return math.log(value) if log else value


def off_scale(value: float, log: bool) -> float:
    """Back from the scale of the fit. [unit]"""
    return math.exp(value) if log else value
