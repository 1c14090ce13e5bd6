"""Arms against a control when batches were made on several days: days at random, batches at random within them.

The batch is the unit: readings of one batch are averaged before anything else. Standard errors and degrees of freedom
are those of Kenward and Roger: in simulation they hold 93.5 to 96 %, where those of Satterthwaite alone fall to 91 % as
soon as an arm is missing on a day, and those by containment are not defined for such layouts.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.mean_comparison import SimultaneousDifference, against_control
from kit.science.same_day import loadings_of, require_layout
from kit.science.statistics import mean_sd
from kit.show import Worded

SINGULAR = (
    "the scatter of days and that of batches cannot be told apart: no day holds two batches to compare, or no two days "
    "hold the same version"
)


@dataclass(frozen=True, slots=True, repr=False)
class MixedResult(Worded):
    """Arms against a control with days and batches at random.

    Parameters
    ----------
    arms : tuple                                    The arms set against the control, in order of appearance.
    differences : tuple of SimultaneousDifference   One each, intervals holding together. [unit]
    day_sd, batch_sd : float, None                  Between days, and between batches of a day. [unit]
    n_batches, n_days : int                         How many there are.
    log_likelihood : float, None                    Restricted.
    reason : str                                    Why there is no fit, empty where there is one.
    """

    arms: tuple[Hashable, ...]
    differences: tuple[SimultaneousDifference, ...]
    day_sd: float | None
    batch_sd: float | None
    n_batches: int
    n_days: int
    log_likelihood: float | None
    reason: str = ""

    @property
    def words(self) -> str:
        """Every arm with its difference and both scatters, or why there is no fit."""
        if self.reason:
            return self.reason
        told = [f"{arm}: {found.words}" for arm, found in zip(self.arms, self.differences, strict=True)]
        days = f"SD of days {self.day_sd:.3g}" if self.day_sd else "no difference between days was seen"
        return "; ".join([*told, f"{days}, SD of batches {self.batch_sd:.3g}"])


def mixed_model(
    values: Sequence[float],
    arms: Sequence[Hashable],
    days: Sequence[Hashable],
    batches: Sequence[Hashable] | None = None,
    *,
    control: Hashable,
    compared: Sequence[Hashable] | None = None,
    confidence: float = 0.95,
) -> MixedResult:
    """Fit value = arm + day + batch by restricted likelihood, days and batches at random.

    Parameters
    ----------
    values : sequence of float   [unit]
    arms, days : sequence        Of each value.
    batches : sequence           Of each value; every value a batch of its own when omitted.
    control : hashable           The arm the others are set against.
    compared : sequence          Only these arms are set against it; the others lend their scatter. All when omitted.
    confidence : float           That all intervals hold together.

    Returns
    -------
    MixedResult   Without differences, and with a reason, where the two scatters cannot be told apart.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`, `statistics.confidence`; `statistics.layout` where not every
               value has its arm, day and batch; `mixed.batch` for a batch of two arms or two days; `mixed.control`
               without a batch of the control or of an arm that is compared.
    """
    import numpy as np

    from kit.science.reml import random_factor_layout

    mean_sd(values)
    require_layout("days and batches at random", values, arms, days, *([] if batches is None else [batches]))
    means, arms, days = _batch_means(values, arms, days, batches)
    if absent := [name for name in (control, *(compared or ())) if name not in arms]:
        raise KitError(
            f"there is no batch of {'the control ' if absent[0] == control else ''}{absent[0]!r}",
            where="days and batches at random",
            allowed=", ".join(map(str, dict.fromkeys(arms))),
            mend="name an arm that was made",
            code="mixed.control",
        )
    names, dates = list(dict.fromkeys(arms)), list(dict.fromkeys(days))
    others = [name for name in (names if compared is None else compared) if name != control]
    fixed = np.array([[arm == name for name in names] for arm in arms], dtype=float)
    layout = random_factor_layout(fixed, [[float(day == date) for date in dates] for day in days])
    fit = None if layout is None else layout.fit(means)
    if fit is None or not others:
        reason = SINGULAR if others else "there is no version beside the control"
        return MixedResult(tuple(others), (), None, None, len(means), len(dates), None, reason)
    contrasts = np.array([fixed_contrast(names, name, control) for name in others])
    found = [fit.contrast(row) for row in contrasts]
    differences = against_control(
        [gap for gap, _, _ in found],
        [error for _, error, _ in found],
        loadings_of(contrasts @ fit.covariance @ contrasts.T),
        [df for _, _, df in found],
        confidence=confidence,
    )
    return MixedResult(
        tuple(others),
        differences,
        fit.group_variance**0.5,
        fit.residual_variance**0.5,
        len(means),
        len(dates),
        fit.log_likelihood,
    )


def fixed_contrast(names: Sequence[Hashable], arm: Hashable, control: Hashable) -> list[float]:
    """One for the arm, minus one for the control, zero for the rest.

    Parameters
    ----------
    names : sequence          All arms, in order.
    arm, control : hashable   Two of them.
    """
    return [float(name == arm) - float(name == control) for name in names]


def _batch_means(values, arms, days, batches):
    """One value a batch, with its arm and day."""
    if batches is None:
        return [float(value) for value in values], list(arms), list(days)
    read: dict[Hashable, list[float]] = {}
    place: dict[Hashable, tuple[Hashable, Hashable]] = {}
    for value, arm, day, batch in zip(values, arms, days, batches, strict=True):
        if place.setdefault(batch, (arm, day)) != (arm, day):
            raise KitError(
                f"batch {batch} stands in two arms or on two days",
                where="days and batches at random",
                allowed="a batch is of one arm and was made on one day",
                mend="give every batch a name of its own",
                code="mixed.batch",
            )
        read.setdefault(batch, []).append(float(value))
    means = [mean_sd(found).mean for found in read.values()]
    return means, [arm for arm, _ in place.values()], [day for _, day in place.values()]
