"""The uncertainty of one value from its budget, after JCGM 100:2008 (the guide to the expression of uncertainty).

It serves a single value: against its limits, and across instruments. Between batches read on one instrument the scatter
of the batches already holds it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.uncertainty_inputs import UncertainInput
from kit.show import Table, Worded

_MOST_SECOND_ORDER = 0.1  # second-order terms above this share of the first-order ones are told


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one input adds to the uncertainty of a result.

    Parameters
    ----------
    source : UncertainInput       The input.
    sensitivity : float           Change of the result with the input. [unit of the result / unit of the input]
    share_pct : float             Of the variance of the result. [%]
    """

    source: UncertainInput
    sensitivity: float
    share_pct: float

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty it adds, without sign. [unit of the result]"""
        return abs(self.sensitivity) * self.source.standard_uncertainty


@dataclass(frozen=True, slots=True, repr=False)
class Budget(Worded):
    """The uncertainty of a result.

    Parameters
    ----------
    value : float                          [unit]
    standard_uncertainty : float           Combined, to first order. [unit]
    df : float                             Effective degrees of freedom, Welch and Satterthwaite.
    contributions : tuple of Contribution  Largest first.
    with_second_order : float              The standard uncertainty with the next terms; None where not computed. [unit]
    """

    value: float
    standard_uncertainty: float
    df: float
    contributions: tuple[Contribution, ...]
    with_second_order: float | None = None

    def coverage_factor(self, confidence: float = 0.95) -> float:
        """Factor k for an interval that covers so often, from Student's t. [-]

        Parameters
        ----------
        confidence : float   Between 0 and 1.

        Raises
        ------
        KitError   `uncertainty.confidence`.

        Notes
        -----
        Degrees of freedom are cut to a whole number, JCGM 100:2008, G.4.1.
        """
        from scipy.special import ndtri, stdtrit

        if not 0 < confidence < 1:
            raise KitError(
                f"a confidence of {confidence} is not possible",
                where="expanded uncertainty",
                allowed="between 0 and 1, such as 0.95",
                mend="give the confidence as a fraction",
                code="uncertainty.confidence",
            )
        upper = (1 + confidence) / 2
        return float(ndtri(upper) if math.isinf(self.df) else stdtrit(math.floor(self.df), upper))

    def expanded(self, confidence: float = 0.95) -> float:
        """Half width of the interval that covers so often. [unit]

        Parameters
        ----------
        confidence : float   Between 0 and 1.

        Raises
        ------
        KitError   `uncertainty.confidence`.
        """
        return self.coverage_factor(confidence) * self.standard_uncertainty

    @property
    def relative_pct(self) -> float | None:
        """Standard uncertainty of the value; None for a value of zero. [%]"""
        return 100 * self.standard_uncertainty / abs(self.value) if self.value else None

    @property
    def bends(self) -> bool:
        """Whether the model is not straight within the uncertainties, so that the first order alone is too little."""
        if self.with_second_order is None or not self.with_second_order:
            return False
        return abs(self.with_second_order - self.standard_uncertainty) > _MOST_SECOND_ORDER * self.with_second_order

    def rows(self) -> list[dict[str, object]]:
        """The budget as rows, largest contribution first."""
        return [
            {
                "input": part.source.name,
                "type": part.source.kind,
                "from": part.source.how,
                "value": part.source.value,
                "standard uncertainty": part.source.standard_uncertainty,
                "sensitivity": part.sensitivity,
                "adds": part.uncertainty,
                "share %": part.share_pct,
                "df": part.source.df,
            }
            for part in self.contributions
        ]

    @property
    def words(self) -> str:
        """Value, expanded uncertainty and what it comes from."""
        expanded, factor = self.expanded(), self.coverage_factor()
        told = f"{short(self.value, 6)} ± {short(expanded, 2)} (k = {factor:.2f}, 95 %)"
        if self.contributions:
            first = self.contributions[0]
            told += f"; {first.share_pct:.0f} % of the variance from {first.source.name}"
        if self.df < 5:
            told += "; the uncertainty itself is poorly known"
        return f"{told}."

    def table(self) -> Table:
        """The budget, an input a row, the largest contribution first."""
        rows = [
            (
                part.source.name,
                part.source.kind,
                part.source.how,
                short(part.source.value, 5),
                short(part.source.standard_uncertainty, 2),
                short(part.uncertainty, 2),
                f"{part.share_pct:.0f}",
            )
            for part in self.contributions
        ]
        heads = ("input", "type", "from", "value", "standard uncertainty", "adds", "share, %")
        return Table(heads, rows, title="Budget of the uncertainty", note=self.words, numeric=frozenset({3, 4, 5, 6}))

    def _repr_html_(self) -> str:
        return self.table().html()


def budget(
    model: Callable[[Mapping[str, float]], float],
    inputs: Sequence[UncertainInput],
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Budget:
    """Combined uncertainty of a result that is computed from inputs.

    Parameters
    ----------
    model : callable             Values by name to the result; plain arithmetic without side effects.
    inputs : sequence            With different names.
    correlations : mapping       Pair of names to their correlation; pairs left out are independent. [-]

    Returns
    -------
    Budget   First order, with the second order beside it for independent inputs.

    Raises
    ------
    KitError   `uncertainty.names` for a name that is twice or missing, `uncertainty.correlation` outside -1 to 1 or
               impossible together, `uncertainty.model` where the model gives no finite number.

    Notes
    -----
    Sensitivities are slopes between one standard uncertainty below and above (JCGM 100:2008, 5.1.3 note 2), so they are
    exact for models that are straight or quadratic in each input. Variance: equation 13; second order: note to 5.1.2;
    degrees of freedom: equation G.2b, meant for independent inputs.
    """
    names = [source.name for source in inputs]
    _check_names(names, correlations or {})
    values = {source.name: source.value for source in inputs}
    evaluate = _Evaluation(model, values, {source.name: source.standard_uncertainty for source in inputs})
    steps = {name: evaluate.step(name) for name in names}
    sensitivities = {
        source.name: steps[source.name] / source.standard_uncertainty if source.standard_uncertainty else 0.0
        for source in inputs
    }
    crossed = math.fsum(2 * rho * steps[one] * steps[other] for (one, other), rho in (correlations or {}).items())
    variance = math.fsum(step**2 for step in steps.values()) + crossed
    if variance < -1e-12 * math.fsum(step**2 for step in steps.values()):
        raise _bad_correlation("these correlations cannot hold together")
    uncertainty = math.sqrt(max(variance, 0.0))
    second = None if correlations else math.sqrt(max(variance + evaluate.second_order(names), 0.0))
    return Budget(
        evaluate(),
        uncertainty,
        effective_df([(steps[source.name], source.df) for source in inputs]),
        _contributions(inputs, sensitivities, steps),
        second,
    )


def effective_df(parts: Sequence[tuple[float, float]]) -> float:
    """Effective degrees of freedom of independent parts, Welch and Satterthwaite. [-]

    Parameters
    ----------
    parts : sequence of tuple   Standard uncertainty in the unit of the result, and its degrees of freedom.

    Returns
    -------
    float   Infinite where every part that counts is.

    Notes
    -----
    JCGM 100:2008, equation G.2b.
    """
    variance = math.fsum(part**2 for part, _ in parts)
    below = math.fsum((part**2 / variance) ** 2 / df for part, df in parts) if variance else 0.0
    return 1 / below if below else math.inf


class _Evaluation:
    """A model at its inputs, and moved away from them by standard uncertainties."""

    def __init__(self, model: Callable, values: Mapping[str, float], uncertainties: Mapping[str, float]) -> None:
        self._model, self._values, self._uncertainties = model, values, uncertainties

    def __call__(self, **moved: float) -> float:
        """The result with the inputs named moved by so many standard uncertainties."""
        at = {name: value + moved.get(name, 0.0) * self._uncertainties[name] for name, value in self._values.items()}
        result = float(self._model(at))
        if not math.isfinite(result):
            raise KitError(
                f"the model gives {result} at {at}",
                where="uncertainty budget",
                allowed="a finite result within one standard uncertainty of every input",
                mend="check the inputs; an uncertainty as large as the value needs another treatment",
                code="uncertainty.model",
            )
        return result

    def step(self, name: str) -> float:
        """Change of the result for one standard uncertainty of an input."""
        return (self(**{name: 1.0}) - self(**{name: -1.0})) / 2

    def second_order(self, names: Sequence[str]) -> float:
        """The next terms of the variance: half the squared second derivatives, and slope times third derivative."""
        return math.fsum(self._second(one, other) for one in names for other in names)

    def _second(self, one: str, other: str) -> float:
        if one == other:
            curve = self(**{one: 1.0}) - 2 * self() + self(**{one: -1.0})
            far = self(**{one: 2.0}) - self(**{one: -2.0})
            third = (far - 2 * (self(**{one: 1.0}) - self(**{one: -1.0}))) / 2
            return curve**2 / 2 + self.step(one) * third
        ahead = [self(**{one: 1.0, other: move}) for move in (1.0, 0.0, -1.0)]
        behind = [self(**{one: -1.0, other: move}) for move in (1.0, 0.0, -1.0)]
        mixed = (ahead[0] - ahead[2] - behind[0] + behind[2]) / 4
        third = ((ahead[0] - 2 * ahead[1] + ahead[2]) - (behind[0] - 2 * behind[1] + behind[2])) / 2
        return mixed**2 / 2 + self.step(one) * third


def _contributions(
    inputs: Sequence[UncertainInput], sensitivities: Mapping[str, float], steps: Mapping[str, float]
) -> tuple[Contribution, ...]:
    whole = math.fsum(step**2 for step in steps.values())
    parts = [
        Contribution(source, sensitivities[source.name], 100 * steps[source.name] ** 2 / whole if whole else 0.0)
        for source in inputs
    ]
    return tuple(sorted(parts, key=lambda part: -part.share_pct))


def _check_names(names: Sequence[str], correlations: Mapping[tuple[str, str], float]) -> None:
    known = set(names)
    pairs = [frozenset(pair) for pair in correlations]
    if len(known) != len(names) or any(not pair <= known or len(pair) != 2 for pair in pairs):
        raise KitError(
            f"the inputs are {', '.join(names) or 'none'}",
            where="uncertainty budget",
            allowed="different names, and correlations between two of them",
            mend="give each input a name of its own",
            code="uncertainty.names",
        )
    if len(set(pairs)) != len(pairs) or any(not -1 <= rho <= 1 for rho in correlations.values()):
        raise _bad_correlation(f"correlations {list(correlations.values())}")


def _bad_correlation(what: str) -> KitError:
    return KitError(
        what,
        where="uncertainty budget",
        allowed="one number of -1 to 1 for a pair",
        mend="leave independent pairs out",
        code="uncertainty.correlation",
    )
