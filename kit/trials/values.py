"""From readings to batch means to the mean of an arm, on the scale where scatter does not grow with the value."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from kit.science.statistics import mean_sd
from kit.trials.arms import day_made
from kit.trials.results import LN, BatchValue
from kit.trials.selection import Counted


def on_scale(value: float, scale: str) -> float:
    """A value on the scale of the calculation."""
    return math.log(value) if scale == LN else value


def off_scale(value: float, scale: str) -> float:
    """Back from the scale of the calculation. [unit]"""
    return math.exp(value) if scale == LN else value


def mean_and_sd(values: Sequence[float], scale: str) -> tuple[float | None, float | None]:
    """Mean [unit] and SD [unit, or ln units] of some values; a single value is given back as it is, without an SD."""
    if len(values) < 2:
        return (values[0] if values else None), None
    found = mean_sd(on_scale(value, scale) for value in values)
    return off_scale(found.mean, scale), found.sd


def one_sd(mean: float, sd: float, scale: str) -> tuple[float, float]:
    """The mean less and plus one SD, taken on the scale of the calculation. [unit]"""
    middle = on_scale(mean, scale)
    return off_scale(middle - sd, scale), off_scale(middle + sd, scale)


def batch_values(counted: Iterable[Counted], scale: str) -> tuple[BatchValue, ...]:
    """One value a batch: its readings averaged first, so that reading a jar twice never makes two batches of one."""
    by_batch: dict[str, list[Counted]] = {}
    for item in counted:
        by_batch.setdefault(item.batch.name, []).append(item)
    return tuple(_batch_value(found, scale) for found in by_batch.values())


def scaled_means(values: Iterable[BatchValue], scale: str) -> list[float]:
    """Batch means on the scale of the calculation."""
    return [on_scale(value.mean, scale) for value in values]


def _batch_value(found: Sequence[Counted], scale: str) -> BatchValue:
    readings = tuple(item.reading for item in found)
    mean, sd = mean_and_sd([float(reading.value) for reading in readings], scale)
    ages = [float(reading.age_h) for reading in readings if reading.age_h is not None]
    return BatchValue(
        found[0].batch.name,
        mean,
        sd,
        len(readings),
        day_made(found[0].batch),
        readings,
        math.fsum(ages) / len(ages) if ages else None,
    )
