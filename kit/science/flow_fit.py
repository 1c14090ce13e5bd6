"""A flow model fitted to flow curves, one or many at once, each for itself."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from kit.errors import KitError
from kit.science.flow_curve import FlowCurve
from kit.science.flow_least_squares import Solution, least_squares, standard_errors
from kit.science.flow_models import PLAIN, FlowModel, FlowParameter
from kit.science.flow_result import ABSOLUTE, LOWER, RELATIVE, STATED, UPPER, FlowEstimate, FlowFit
from kit.science.flow_start import Variables, first_parameters

_NEAR_START = 1e-3  # damping of a fit that starts near its end
_FLOOR = (16 * 2.0**-52) ** 2  # residuals below this share of the readings, squared, are rounding
_TOO_FEW_RUNS = -2.6  # standard deviations: one curve in two hundred by chance
_SCATTER_BEYOND = 2.6  # the same for scatter beyond the stated


def fit_flow(
    curve: FlowCurve, model: FlowModel, *, weighting: str | None = None, held: Mapping[str, float] | None = None
) -> FlowFit:
    """Fit a flow model to one curve.

    Parameters
    ----------
    curve : FlowCurve
    model : FlowModel
    weighting : str     RELATIVE, ABSOLUTE or STATED; when None, STATED for a curve with standard deviations, else
                        RELATIVE.
    held : mapping      Values of parameters that are not to be fitted, by name.

    Returns
    -------
    FlowFit   Not `ok`, with its reasons, where the readings do not tell the parameters.

    Raises
    ------
    KitError   `flow.weighting`, `flow.held`.

    Notes
    -----
    The error of a rotational viscometer grows about with its reading, or is a share of full scale: the first is
    relative weighting, the second stated. The residuals are those of the stress, also for a curve given as
    viscosities. Standard errors are those of the linearised model, from the scatter about the curve; with stated
    deviations from these, enlarged where the scatter is larger.
    """
    return fit_flow_many([curve], model, weighting=weighting, held=held)[0]


def fit_flow_many(
    curves: Sequence[FlowCurve],
    model: FlowModel,
    *,
    weighting: str | None = None,
    held: Mapping[str, float] | None = None,
) -> tuple[FlowFit, ...]:
    """Fit a flow model to many curves at once, each for itself.

    Parameters
    ----------
    curves : sequence of FlowCurve
    model : FlowModel
    weighting : str     As in `fit_flow`; when None it is chosen curve by curve.
    held : mapping      Values of parameters that are not to be fitted, by name.

    Returns
    -------
    tuple of FlowFit   In the order of the curves.

    Raises
    ------
    KitError   `flow.weighting`, `flow.held`.
    """
    held = dict(held or {})
    _check_held(model, held)
    chosen = [_weighting(curve, weighting) for curve in curves]
    unknowns = len(model.parameters) - len(held)
    faults = [curve.fault or _too_few(curve, model, unknowns) for curve in curves]
    fits: list[FlowFit | None] = [
        FlowFit(model, (), False, (fault,), (), how) if fault else None
        for fault, how in zip(faults, chosen, strict=True)
    ]
    usable = [index for index, fit in enumerate(fits) if fit is None]
    if usable:
        batch = _Batch(model, [curves[index] for index in usable], [chosen[index] for index in usable], held)
        for index, fit in zip(usable, batch.fits(), strict=True):
            fits[index] = fit
    return tuple(fits)


def _too_few(curve: FlowCurve, model: FlowModel, unknowns: int) -> str:
    if curve.distinct_rates >= unknowns:
        return ""
    return f"readings at {curve.distinct_rates} rates do not tell the {unknowns} unknowns of the model {model.name}"


def _weighting(curve: FlowCurve, weighting: str | None) -> str:
    if weighting is None:
        return RELATIVE if curve.standard_deviation_pa is None else STATED
    if weighting not in (RELATIVE, ABSOLUTE, STATED) or (weighting == STATED and curve.standard_deviation_pa is None):
        raise KitError(
            f"the weighting {weighting!r} cannot be used for this curve",
            where="fit of a flow curve",
            allowed="'relative', 'absolute', or 'stated' for a curve with standard deviations",
            mend="leave it out for relative weighting",
            code="flow.weighting",
        )
    return weighting


def _check_held(model: FlowModel, held: Mapping[str, float]) -> None:
    by_name = {parameter.name: parameter for parameter in model.parameters}
    for name, value in held.items():
        known = by_name.get(name)
        positive = known is not None and known.fitted_as != PLAIN
        if known is None or not known.lower <= value <= known.upper or (positive and value <= 0):
            raise KitError(
                f"{name} cannot be held at {value} in the model {model.name}",
                where="fit of a flow curve",
                allowed=f"values within their bounds for {', '.join(by_name)}",
                mend="correct the name or the value, or let it be fitted",
                code="flow.held",
            )


class _Batch:
    """Curves fitted together: filled up to one length, with weight zero where a curve has no reading."""

    def __init__(self, model: FlowModel, curves: Sequence[FlowCurve], weightings: list[str], held: dict) -> None:
        self.model, self.curves, self.weightings, self.held = model, curves, weightings, held
        self.count = np.array([curve.stress_pa.size for curve in curves])
        self.rates, self.stresses = np.ones((2, len(curves), self.count.max()))
        self.weight = np.zeros_like(self.rates)
        for row, (curve, weighting) in enumerate(zip(curves, weightings, strict=True)):
            order = np.argsort(curve.shear_rate_per_s, kind="stable")
            size = order.size
            self.rates[row, :size] = curve.shear_rate_per_s[order]
            self.rates[row, size:] = curve.shear_rate_per_s[0]  # any rate will do where there is no weight
            self.stresses[row, :size] = curve.stress_pa[order]
            self.weight[row, :size] = _weights(curve, weighting)[order]
        self.free = np.array([name not in held for name in model.names])

    def fits(self) -> list[FlowFit]:
        """All of them."""
        variables = Variables(self.model)
        found = self._solve(variables)
        self.df = self.count - int(self.free.sum())
        told = self.free & ~(found.at_lower | found.at_upper)
        with np.errstate(all="ignore"):
            scatter = np.sqrt(found.squares / self.df)
        stated = np.array([weighting == STATED for weighting in self.weightings])
        covariance, _ = standard_errors(found, self.count, told, np.where(stated, np.maximum(scatter, 1.0), scatter))
        parameters, slope = variables.outward(found.parameters)
        parameters = np.where(variables.root & found.at_lower, 0.0, parameters)
        for name, value in self.held.items():
            parameters[:, self.model.names.index(name)] = value
        covariance = covariance * slope[:, :, None] * slope[:, None, :]
        aicc = self._aicc(found.squares, stated)
        runs = np.where(found.squares > self._rounding(), _runs(found.residuals, self.weight > 0), 0.0)
        return [
            self._fit(row, parameters[row], covariance[row], found, float(scatter[row]), aicc[row], runs[row])
            for row in range(len(self.curves))
        ]

    def _solve(self, variables: Variables) -> Solution:
        start = first_parameters(self.model, self.rates, self.stresses, self.weight)
        for name, value in self.held.items():
            start[:, self.model.names.index(name)] = value
        first = variables.inward(start)
        slowest = np.array([curve.slowest_per_s for curve in self.curves])
        fastest = np.array([curve.fastest_per_s for curve in self.curves])
        low, high = variables.bounds(slowest, fastest, first)
        low, high = np.where(self.free, low, first), np.where(self.free, high, first)
        return least_squares(
            variables.evaluate, self.rates, self.stresses, self.weight, first, low, high, damping=_NEAR_START
        )

    def _aicc(self, squares: np.ndarray, stated: np.ndarray) -> np.ndarray:
        """The criterion of each curve; not a number with too few readings."""
        count, fitted = self.count, int(self.free.sum())
        unknowns = fitted + np.where(stated, 0, 1)  # the scatter is one more where it is not stated
        badness = np.where(stated, squares, count * np.log(np.maximum(squares, self._rounding()) / count))
        room = count - unknowns - 1
        with np.errstate(all="ignore"):
            small = np.where(room > 0, 2.0 * unknowns * (unknowns + 1) / room, np.nan)
        return badness + 2 * unknowns + small

    def _rounding(self) -> np.ndarray:
        """Sums of squares below which residuals are rounding."""
        return _FLOOR * ((self.weight * self.stresses) ** 2).sum(axis=1)

    def _fit(self, row, parameters, covariance, found: Solution, scatter: float, aicc: float, runs: float) -> FlowFit:
        df, curve = int(self.df[row]), self.curves[row]
        errors = np.sqrt(np.diagonal(covariance))
        lower, upper = found.at_lower[row] & self.free, found.at_upper[row] & self.free
        bounds = [LOWER if low else UPPER if high else "" for low, high in zip(lower, upper, strict=True)]
        judged = [
            _judge(parameter, float(value), float(error), at_bound, not free)
            for parameter, value, error, at_bound, free in zip(
                self.model.parameters, parameters, errors, bounds, self.free, strict=True
            )
        ]
        whole = _whole(bool(found.converged[row]), df)
        reasons = [whole] if whole else [words for _, words, wrong in judged if words and wrong]
        reasons += [] if whole else _beyond(self.model, parameters, curve, self.free)
        notes = [words for _, words, wrong in judged if words and not wrong]
        estimates = [estimate for estimate, _, _ in judged]
        if reasons:  # the parameters of a model hang together: where one is not told, none is
            estimates = [_untold(estimate) for estimate in estimates]
        if df > 0:
            notes += self._scatter_notes(scatter, df, self.weightings[row], runs)
        return FlowFit(
            model=self.model,
            estimates=tuple(estimates),
            ok=not reasons,
            reasons=tuple(reasons),
            notes=tuple(notes),
            weighting=self.weightings[row],
            residual_sd=scatter if df > 0 else None,
            readings=int(self.count[row]),
            df=df,
            aicc=float(aicc) if math.isfinite(aicc) else None,
            slowest_per_s=curve.slowest_per_s,
            fastest_per_s=curve.fastest_per_s,
            fitted=tuple(parameters.tolist()),
            covariance=covariance,
        )

    @staticmethod
    def _scatter_notes(scatter: float, df: int, weighting: str, runs: float) -> list[str]:
        notes = []
        # Wilson, Hilferty (1931), Proc. Natl. Acad. Sci. 17:684: the cube root of chi-square over df is about normal.
        beyond = (scatter ** (2 / 3) - (1 - 2 / (9 * df))) / math.sqrt(2 / (9 * df))
        if weighting == STATED and beyond > _SCATTER_BEYOND:
            notes.append(f"the readings scatter {scatter:.2g} times as far as stated: the errors are enlarged by that")
        if runs < _TOO_FEW_RUNS:
            notes.append("neighbouring readings miss the curve on the same side: it has a shape that the model lacks")
        return notes


def _weights(curve: FlowCurve, weighting: str) -> np.ndarray:
    if weighting == RELATIVE:
        return 1 / curve.stress_pa
    return np.ones_like(curve.stress_pa) if weighting == ABSOLUTE else 1 / curve.standard_deviation_pa


def _whole(converged: bool, df: int) -> str:
    """What is wrong with a fit as a whole."""
    if df < 1:
        return "as many unknowns as readings: the curve goes through all of them and nothing shows how far to trust it"
    return "" if converged else "no best curve was found: the readings do not suit the model"


def _judge(
    parameter: FlowParameter, value: float, error: float, at_bound: str, held: bool
) -> tuple[FlowEstimate, str, bool]:
    """An estimate, what to say of it, and whether that is a fault."""
    if held:
        return FlowEstimate(parameter, value, held=True), "", False
    if at_bound:
        means_none = at_bound == LOWER and parameter.lower == 0 and not parameter.span and parameter.fitted_as == PLAIN
        means_none |= parameter.name == "yield_stress_pa"
        if means_none:
            words = f"the readings ask for no {parameter.label}: it rests on its bound of 0"
            return FlowEstimate(parameter, 0.0, at_bound=at_bound), words, False
        words = f"the {parameter.label} runs to its {at_bound} bound of {value:.3g}: the readings do not tell it"
        return FlowEstimate(parameter, None, at_bound=at_bound), words, True
    if not math.isfinite(error):
        words = f"the readings do not tell the {parameter.label} apart from the others"
        return FlowEstimate(parameter, None), words, True
    if parameter.fitted_as != PLAIN and parameter.name != "yield_stress_pa" and error > value:
        words = f"the {parameter.label} is not told: its standard error is larger than itself"
        return FlowEstimate(parameter, None), words, True
    return FlowEstimate(parameter, value, error), "", False


def _beyond(model: FlowModel, parameters: np.ndarray, curve: FlowCurve, free: np.ndarray) -> list[str]:
    """A bend that lies outside the measured rates, where noise may put it anywhere."""
    for parameter, value, fitted in zip(model.parameters, parameters, free, strict=True):
        if fitted and parameter.span == 1 and not curve.slowest_per_s <= 1 / value <= curve.fastest_per_s:
            return [f"the bend of the curve, at {1 / value:.2g} 1/s, lies outside the measured rates: it is not told"]
    return []


def _untold(estimate: FlowEstimate) -> FlowEstimate:
    if estimate.held:
        return estimate
    return FlowEstimate(estimate.parameter, None, at_bound=estimate.at_bound)


def _runs(residuals: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """How many standard deviations the runs of sign lie above what chance gives, curve by curve; 0 below ten readings.

    Wald, Wolfowitz (1940), Ann. Math. Stat. 11:147. Readings are in order of rate.
    """
    above = (residuals > 0) & counts
    many, few = above.sum(axis=1), (counts & ~above).sum(axis=1)
    total = many + few
    changes = ((above[:, 1:] != above[:, :-1]) & counts[:, 1:]).sum(axis=1)
    product = 2.0 * many * few
    with np.errstate(all="ignore"):
        expected = product / total
        spread = np.sqrt(product * (product - total) / (total**2 * (total - 1.0)))
        return np.where((total >= 10) & (many > 0) & (few > 0) & (spread > 0), (changes - expected) / spread, 0.0)
