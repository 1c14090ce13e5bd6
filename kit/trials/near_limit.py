"""A batch near a limit of its spec: whether the limit lies within what is known of the batch's own value.

It is said beside the verdict and never changes it. Batches on one instrument are set against each other by their
scatter alone, which already holds what the instrument adds.
"""

from __future__ import annotations

from collections.abc import Sequence

from kit.bench.mean_uncertainty import Calibrations, mean_uncertainty
from kit.errors import UnitError
from kit.formula.model import SpecLine
from kit.trials.results import LN, BatchValue
from kit.units import plain, same_unit


def near_limit_words(
    values: Sequence[BatchValue], spec: SpecLine | None, calibration: Calibrations, *, scale: str, unit: str
) -> list[str]:
    """A sentence for each batch whose limit lies within its expanded uncertainty.

    Parameters
    ----------
    values : sequence         The batches of one arm that are judged.
    spec : SpecLine, None     Its limits in the unit of the values.
    calibration : callable    The calibration of a name.
    scale : str               "ln" where the readings of a batch are averaged geometrically.
    unit : str                Of values and limits.
    """
    if spec is None:
        return []
    found = [(value.batch, _one(value, spec, calibration, scale, unit)) for value in values]
    alone = len(values) > 1
    return [f"{batch} alone is {words}" if alone else words for batch, words in found if words]


def _one(value: BatchValue, spec: SpecLine, calibration: Calibrations, scale: str, unit: str) -> str:
    if not all(_in_unit(reading.unit, unit) for reading in value.readings):
        return ""
    known = mean_uncertainty(value.readings, calibration, mean=value.mean, relative=scale == LN)
    if known is None:
        return ""
    limits = [limit for limit in (spec.low, spec.high) if limit is not None]
    near = [limit for limit in limits if abs(value.mean - float(limit)) < known.expanded]
    if not near:
        return ""
    inside = (spec.low is None or value.mean >= spec.low) and (spec.high is None or value.mean <= spec.high)
    side, limit = ("inside" if inside else "outside"), min(near, key=lambda end: abs(value.mean - float(end)))
    return f"{side}, but the limit {plain(limit)} lies within its uncertainty ({known.told})"


def _in_unit(read: str, unit: str) -> bool:
    try:
        return same_unit(read or "1", unit or "1")
    except UnitError:
        return False
