"""What is said beside what was learned: how well it fits, what does not, and what the readings cannot tell apart."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations

import numpy as np

from kit.formula.knowledge import LearnedReading, Unknown
from kit.formula.knowledge_words import signed
from kit.trials.wording import plural

_MISFIT_PH = 0.15  # three times the scatter of a reading
_ALIKE = 0.8  # a correlation from which two unknowns are told as one
_FELT = 0.8  # an unknown counts as learned when its SD fell below this share of the prior's


def remarks(
    readings: Sequence[LearnedReading], unknowns: Sequence[Unknown], covariance: np.ndarray, *, converged: bool
) -> tuple[str, ...]:
    """Sentences on a piece of knowledge.

    Parameters
    ----------
    readings : sequence of LearnedReading   With what they were off by before and after.
    unknowns : sequence of Unknown          With their priors.
    covariance : array (k, k)               Of the unknowns after learning, in their order.
    converged : bool                        Whether the update settled.
    """
    told = [_fit(readings), *_misfit(readings), *_alike(unknowns, covariance)]
    return tuple(told) if converged else (*told, "The update did not settle: use it with care.")


def asked(ages: Sequence[str]) -> str:
    """How to ask for readings of other ages: learn_ph(..., age="0 h").

    Parameters
    ----------
    ages : sequence of str   As they are typed.
    """
    return " or ".join(f'learn_ph(..., age="{age}")' for age in ages)


def _fit(readings: Sequence[LearnedReading]) -> str:
    batches = len({reading.batch for reading in readings})
    before, after = (_mean_miss(residuals) for residuals in zip(*map(_residuals, readings), strict=True))
    return (
        f"Learned from {plural(len(readings), 'reading')} of {plural(batches, 'batch', 'batches')}: off by "
        f"{before:.2f} on average before, {after:.2f} after."
    )


def _residuals(reading: LearnedReading) -> tuple[float, float]:
    return reading.residual_before, reading.residual_after


def _mean_miss(residuals: Iterable[float]) -> float:
    return float(np.mean(np.abs(list(residuals))))


def _misfit(readings: Sequence[LearnedReading]) -> Iterator[str]:
    """The reading that fits worst, where that is badly: it pulls the others away with it, so they are not named."""
    worst = max(readings, key=lambda reading: abs(reading.residual_after))
    if len(readings) > 1 and abs(worst.residual_after) > _MISFIT_PH:
        yield (
            f"{worst.batch} ({worst.what}) does not fit the others, still off by {signed(worst.residual_after)}: "
            "read it again, or void it with the reason."
        )


def _alike(unknowns: Sequence[Unknown], covariance: np.ndarray) -> Iterator[str]:
    sd = np.sqrt(np.diag(covariance))
    felt = [place for place, unknown in enumerate(unknowns) if sd[place] < _FELT * unknown.sd]
    for one, other in combinations(felt, 2):
        if abs(covariance[one, other]) > _ALIKE * sd[one] * sd[other]:
            yield (
                f'These readings hardly tell "{unknowns[one].title}" from "{unknowns[other].title}": together they are '
                "known better than each. Vary the one and not the other to tell them apart."
            )
