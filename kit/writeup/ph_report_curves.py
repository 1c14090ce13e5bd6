"""The titration curves of an adjustment with their bands, as its figure draws them."""

from __future__ import annotations

from collections.abc import Sequence

from kit.figures.titration_words import StockCurve
from kit.formula.dosing import DROP_G
from kit.formula.ph_priors import reading_noise_sd
from kit.formula.ph_sample import HIGH, LOW, band, sample, standard_points
from kit.science.titration import Mixture, titration_curve
from kit.writeup.ph_report_doses import Adjustment, StockPlan

_TICKS, _FEWEST_DROPS = 5, 8  # marks of drops on a curve, and the shortest axis in drops
_APART = 0.01  # of the axis, from one mark to the next: nearer they would be one smear
_DROPS_EACH = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
_BEYOND = 1.5  # times the dose to the target: how far the curves are drawn
_WINDOW_PH = 0.5  # above and below all that matters: where a curve is cut
_POINTS, _EVERY = 241, 10  # points of a curve, and of how many one has a band
_UNREACHED_G_PER_100_G = 0.5


def stock_curves(adjustment: Adjustment, plans: Sequence[StockPlan]) -> list[StockCurve]:
    """The curves of the figure: each as far as half beyond the dose, and no further than the pH that matters.

    Parameters
    ----------
    adjustment : Adjustment         Batch and target.
    plans : sequence of StockPlan   One a stock solution.

    Returns
    -------
    list of StockCurve   In the order of the plans.
    """
    import numpy as np

    doses = np.linspace(0.0, _reach_g(adjustment, plans), _POINTS)
    guesses, window = guessed(adjustment), _window(adjustment)
    mark_g = DROP_G * drops_each(adjustment, plans)
    return [_curve(adjustment, plan, doses, guesses, window, mark_g) for plan in plans]


def drops_each(adjustment: Adjustment, plans: Sequence[StockPlan]) -> int:
    """Drops from one mark to the next on the curves: one, or as many as can be told apart on the axis.

    Parameters
    ----------
    adjustment : Adjustment         Batch and target.
    plans : sequence of StockPlan   One a stock solution.

    Returns
    -------
    int   1, 2, 5, 10 and so on.
    """
    apart = _APART * _reach_g(adjustment, plans)
    return next((each for each in _DROPS_EACH if each * DROP_G >= apart), _DROPS_EACH[-1])


def guessed(adjustment: Adjustment) -> Mixture:
    """The batch for every guess of what is not known; each starts at the measured pH, as well as it can be read.

    Parameters
    ----------
    adjustment : Adjustment   Batch and target.

    Returns
    -------
    Mixture   Of arrays (509,).
    """
    mixtures = adjustment.water.mixtures(sample(*adjustment.water.mean_and_covariance), batch_g=adjustment.mass_g)
    measured = adjustment.subject.measured_ph
    if measured is None:
        return mixtures
    noise = reading_noise_sd() * standard_points(len(adjustment.water.unknowns) + 1)[:, -1]
    return mixtures.at_measured_ph(float(measured) + noise)


def _reach_g(adjustment: Adjustment, plans: Sequence[StockPlan]) -> float:
    """Right end of the dose axis. [g]"""
    doses = [float(plan.answer.dose_g) for plan in plans if plan.answer]
    far = _BEYOND * max(doses) if doses else _UNREACHED_G_PER_100_G * adjustment.mass_g / 100
    return max(far, _FEWEST_DROPS * DROP_G)


def _window(adjustment: Adjustment) -> tuple[float, float]:
    """The pH between which a curve is drawn: around now, the target and the spec."""
    now = float(adjustment.mixture.solve().ph)
    matters = [value for value in (now, adjustment.target_ph, *adjustment.subject.limits) if value is not None]
    return min(matters) - _WINDOW_PH, max(matters) + _WINDOW_PH


def _curve(
    adjustment: Adjustment, plan: StockPlan, doses, guesses: Mixture, window: tuple[float, float], mark_g: float
) -> StockCurve:
    import numpy as np

    ph = titration_curve(adjustment.mixture, plan.stock, doses).ph
    outside = np.flatnonzero((ph < window[0]) | (ph > window[1]))
    kept = slice(0, outside[0] + 1 if len(outside) else len(doses))
    doses, ph = doses[kept], ph[kept]
    low, high = _band(adjustment, plan, doses, guesses)
    at = np.array([mark_g * step for step in range(1, _TICKS + 1) if mark_g * step <= doses[-1]])
    drops = titration_curve(adjustment.mixture, plan.stock, at).ph if len(at) else at
    return StockCurve(
        plan.material.name,
        *(_listed(values) for values in (doses, ph, low, high)),
        drops=list(zip(_listed(at), _listed(drops), strict=True)),
        one_drop=plan.drop_now,
        first=(float(plan.answer.first_g), plan.first_ph) if plan.answer else None,
        target=(float(plan.answer.dose_g), float(plan.answer.ph_after)) if plan.answer else None,
    )


def _band(adjustment: Adjustment, plan: StockPlan, doses, guesses: Mixture) -> tuple:
    """Nine readings in ten at each dose, worked out at some of the doses and straight between them."""
    import numpy as np

    some = np.unique([*range(0, len(doses), _EVERY), len(doses) - 1])
    at_each = (guesses.plus(plan.stock, float(dose)).solve().ph for dose in doses[some])
    if adjustment.subject.measured_ph is None:
        ends = [band(ph, reading_noise_sd()) for ph in at_each]
    else:  # the scatter of the reading is in the start already
        ends = [tuple(np.quantile(ph, (LOW, HIGH))) for ph in at_each]
    return tuple(np.interp(doses, doses[some], end) for end in zip(*ends, strict=True))


def _listed(values) -> list[float]:
    return [float(value) for value in values]
