"""Batch values of arms as a comparison takes them: checked, on the scale of the calculation, and by day."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from kit.errors import KitError

LN, LINEAR = "ln", "linear"
SCALES = (LN, LINEAR)


@dataclass(frozen=True, slots=True)
class ArmBatches:
    """One arm of a comparison: a value for every batch, readings averaged before.

    Parameters
    ----------
    label : str               What it is called.
    values : tuple of float   One a batch. [unit]
    days : tuple of str       When each was made, "2026-03-02"; empty where that is not known.

    Raises
    ------
    KitError   `verdict.days` where not every batch has its day.
    """

    label: str
    values: tuple[float, ...]
    days: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "values", tuple(float(value) for value in self.values))
        object.__setattr__(self, "days", tuple(self.days))
        if self.days and len(self.days) != len(self.values):
            raise KitError(
                f"{self.label} has {len(self.values)} batches and {len(self.days)} days",
                where="comparison with a control",
                allowed="a day for every batch, or none at all",
                mend="give the day of every batch",
                code="verdict.days",
            )

    @property
    def n(self) -> int:
        """Batches."""
        return len(self.values)

    @property
    def days_known(self) -> bool:
        """Whether every batch has a day."""
        return bool(self.days) and all(self.days)

    @property
    def repeats_a_day(self) -> bool:
        """Whether two of its batches were made on one day."""
        return self.days_known and len(set(self.days)) < self.n


def on_scale(arm: ArmBatches, scale: str) -> ArmBatches:
    """The same arm on the scale of the calculation.

    Parameters
    ----------
    arm : ArmBatches   [unit]
    scale : str        "ln" or "linear".

    Raises
    ------
    KitError   `verdict.scale`, `verdict.not_positive`, `statistics.not_finite`.
    """
    if scale not in SCALES:
        raise KitError(
            f"a scale {scale!r}",
            where="comparison with a control",
            allowed=", ".join(SCALES),
            mend="name one of these",
            code="verdict.scale",
        )
    for value in arm.values:
        if not math.isfinite(value):
            raise KitError(
                f"{value} is not a number that can be averaged",
                where=arm.label,
                allowed="finite numbers",
                mend="leave the value out and say why",
                code="statistics.not_finite",
            )
        if scale == LN and value <= 0:
            raise KitError(
                f"a ratio cannot be taken of {value}",
                where=arm.label,
                allowed="values above zero on the ln scale",
                mend="compare on the linear scale, or leave the value out and say why",
                code="verdict.not_positive",
            )
    return replace(arm, values=tuple(math.log(value) for value in arm.values)) if scale == LN else arm


def day_means(arm: ArmBatches) -> ArmBatches:
    """The arm with one value a day: batches of one day share what that day did.

    Parameters
    ----------
    arm : ArmBatches   On the scale of the calculation.
    """
    if not arm.repeats_a_day:
        return arm
    by_day: dict[str, list[float]] = {}
    for value, day in zip(arm.values, arm.days, strict=True):
        by_day.setdefault(day, []).append(value)
    means = tuple(math.fsum(found) / len(found) for found in by_day.values())
    return replace(arm, values=means, days=tuple(by_day))


def rows(arms: Iterable[ArmBatches]) -> tuple[list[float], list[int], list[str]]:
    """Values, place of their arm, and days, one row a batch.

    Parameters
    ----------
    arms : iterable of ArmBatches   On the scale of the calculation.
    """
    told = [
        (value, place, day)
        for place, arm in enumerate(arms)
        for value, day in zip(arm.values, arm.days or [""] * arm.n, strict=True)
    ]
    return [value for value, _, _ in told], [place for _, place, _ in told], [day for _, _, day in told]


def invented_repeats(sd: float, df: int) -> ArmBatches:
    """An arm whose batches scatter exactly by a given SD, each made on a day of its own: an earlier pool as data.

    Parameters
    ----------
    sd : float   On the scale of the calculation.
    df : int     One less than its batches.
    """
    size = sd * math.sqrt(df / (df + 1))
    signs = [1.0 if place % 2 else -1.0 for place in range(df + 1)]
    if df % 2 == 0:  # an odd number of batches: one lies in the middle, the others reach further
        size, signs[-1] = sd, 0.0
    return ArmBatches(
        "pooled before", tuple(size * sign for sign in signs), tuple(f"pooled {k}" for k in range(df + 1))
    )


def shares_a_day(arm: ArmBatches, others: Sequence[ArmBatches]) -> bool:
    """Whether a batch of the arm was made on a day of any of the others.

    Parameters
    ----------
    arm : ArmBatches                  With its days.
    others : sequence of ArmBatches   With theirs.
    """
    return bool(set(arm.days) & {day for other in others for day in other.days})
