"""What a fit of a flow model tells: parameters with standard errors, bounds that were hit, and what is not told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kit.science.flow_models import FlowModel, FlowParameter
from kit.science.student_t import t_quantile
from kit.show import Worded

RELATIVE, ABSOLUTE, STATED = "relative", "absolute", "stated"
"""Weighting: every stress wrong by the same share of itself; by the same amount; by its own standard deviation."""

LOWER, UPPER = "lower", "upper"


@dataclass(frozen=True, slots=True)
class FlowEstimate:
    """One fitted parameter.

    Parameters
    ----------
    parameter : FlowParameter       What it is, with its unit.
    value : float, None             None where the readings do not tell the parameters of the model.
    standard_error : float, None    None, too, on a bound and where it was held.
    at_bound : str                  LOWER or UPPER when it lies on a bound, else empty.
    held : bool                     Whether the value was given and not fitted.
    """

    parameter: FlowParameter
    value: float | None
    standard_error: float | None = None
    at_bound: str = ""
    held: bool = False

    def __str__(self) -> str:
        unit = "" if self.parameter.unit == "-" else f" {self.parameter.unit}"
        if self.value is None:
            return f"{self.parameter.label} {self.parameter.symbol}: not told by these readings"
        if self.standard_error is None:
            how = "held" if self.held else "on its bound" if self.at_bound else "error unknown"
            return f"{self.parameter.label} {self.parameter.symbol} = {self.value:.4g}{unit} ({how})"
        return f"{self.parameter.label} {self.parameter.symbol} = {self.value:.4g} ± {self.standard_error:.2g}{unit}"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class FlowFit(Worded):
    """A flow model fitted to one curve.

    Parameters
    ----------
    model : FlowModel
    estimates : tuple of FlowEstimate   In the order of the model's parameters; empty when there is no fit.
    ok : bool                     Whether every fitted parameter is told, or rests on a bound that means "none".
    reasons : tuple of str        What is wrong with it, or with the readings; empty when ok.
    notes : tuple of str          What else a reader must know: bounds hit, a shape that the model lacks.
    weighting : str               RELATIVE, ABSOLUTE or STATED.
    residual_sd : float, None     Scatter about the curve: a share of the stress when relative, in Pa when absolute, in
                                  units of the stated standard deviation when stated. None without a spare reading.
    readings, df : int            Readings; readings less fitted parameters.
    aicc : float, None            Akaike's criterion for few readings; only differences, on the same readings, count.
    slowest_per_s, fastest_per_s : float, None   Between which it was measured. [1/s]
    fitted : tuple of float       The curve that was drawn through the readings, told or not: for drawing within the
                                  measured rates only.
    covariance : array, (p, p), None   Of the parameters; not a number where one has no standard error.
    """

    model: FlowModel
    estimates: tuple[FlowEstimate, ...]
    ok: bool
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    weighting: str
    residual_sd: float | None = None
    readings: int = 0
    df: int = 0
    aicc: float | None = None
    slowest_per_s: float | None = None
    fastest_per_s: float | None = None
    fitted: tuple[float, ...] = ()
    covariance: np.ndarray | None = None

    def __getitem__(self, name: str) -> FlowEstimate:
        return next(estimate for estimate in self.estimates if estimate.parameter.name == name)

    @property
    def parameters(self) -> dict[str, float | None]:
        """Value of each parameter by its name; None where it is not told."""
        return {estimate.parameter.name: estimate.value for estimate in self.estimates}

    @property
    def standard_errors(self) -> dict[str, float | None]:
        """Standard error of each parameter by its name, in the parameter's unit."""
        return {estimate.parameter.name: estimate.standard_error for estimate in self.estimates}

    @property
    def at_bound(self) -> tuple[str, ...]:
        """Names of the parameters that lie on a bound."""
        return tuple(estimate.parameter.name for estimate in self.estimates if estimate.at_bound)

    def interval(self, name: str, confidence: float = 0.95) -> tuple[float, float] | None:
        """Two-sided t interval of a parameter; None where it has no standard error.

        Parameters
        ----------
        name : str           Of the parameter.
        confidence : float   Between 0 and 1.
        """
        found = self[name]
        if found.value is None or found.standard_error is None:
            return None
        half = t_quantile(self.df, confidence) * found.standard_error
        return found.value - half, found.value + half

    def covers(self, shear_rate_per_s: float) -> bool:
        """Whether a rate lies within those measured, a hair's breadth allowed."""
        return bool(self.fitted) and self.slowest_per_s * (1 - 1e-9) <= shear_rate_per_s <= self.fastest_per_s * (
            1 + 1e-9
        )

    def stress_pa(self, shear_rate_per_s):
        """The fitted stress at some rates; outside the measured ones it is not a number.

        Parameters
        ----------
        shear_rate_per_s : float or array, (n,)   [1/s]

        Returns
        -------
        float or array   [Pa]
        """
        rates = np.atleast_1d(np.asarray(shear_rate_per_s, dtype=float))
        inside = np.array([self.covers(rate) for rate in rates], dtype=bool)
        stress = np.full(rates.shape, np.nan)
        if inside.any():
            stress[inside] = self.model.stress_pa(rates[inside], self.fitted)
        return stress if np.ndim(shear_rate_per_s) else float(stress[0])

    def viscosity_pa_s(self, shear_rate_per_s):
        """The fitted viscosity at some rates; outside the measured ones it is not a number.

        Parameters
        ----------
        shear_rate_per_s : float or array, (n,)   [1/s]

        Returns
        -------
        float or array   [Pa·s]
        """
        return self.stress_pa(shear_rate_per_s) / shear_rate_per_s

    def __str__(self) -> str:
        lines = [f"{self.model.name}, {self.model.equation}, weighting {self.weighting}"]
        lines += [str(estimate) for estimate in self.estimates]
        return "\n".join([*lines, *self.reasons, *self.notes])
