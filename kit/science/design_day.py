"""Whether a factor goes with the day: of a plan before it is made, and of batches that are made.

What was changed together with the day cannot be told from what else the day brought: another operator, another lot,
another room. The measure is the share of a factor's variation that lies between days; its root is the correlation with
the day (the correlation ratio, R. A. Fisher (1925), Statistical Methods for Research Workers, section 45).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.science.design_checks import term_name
from kit.science.design_layout import CATEGORY, Design
from kit.science.number_text import short
from kit.show import Worded

if TYPE_CHECKING:
    import numpy as np

WHOLLY = "wholly"
BUT_FOR_ONE_LEVEL = "but for one level"
IN_PART = "in part"

LEAST_SHARE = 0.5
"""A factor with half of its variation between days is told: allowing for the day makes its standard error 1.41-fold."""

_NOTHING = 1e-20  # of the sum of squares: levels that differ by less are one level, a tenth of a millionth of it apart
_WHOLE = 1 - 1e-9


@dataclass(frozen=True, slots=True, repr=False)
class DayConfounding(Worded):
    """A factor, or an interaction of two, that goes with the day.

    Parameters
    ----------
    effect : str             Factor, or "a:b".
    extent : str             WHOLLY, BUT_FOR_ONE_LEVEL or IN_PART.
    correlation : float      With the day, 0 to 1. [-]
    shared_level : str       The one level that was made on several days, where it is the only one.
    words : str              The same for a reader.
    """

    effect: str
    extent: str
    correlation: float
    shared_level: str
    words: str


def confounded_with_day(
    levels: Mapping[str, Sequence[object]] | Design,
    days: Sequence[object],
    *,
    interactions: bool = True,
    least: float = LEAST_SHARE,
) -> tuple[DayConfounding, ...]:
    """Factors, and interactions of two, that coincide with the day wholly or in part.

    Batches without a level (None, or not a number) are left out for the factors concerned. A factor at one level, or
    batches of a single day, give nothing: there is nothing to confuse.

    Parameters
    ----------
    levels : mapping         Factor to its level in each batch: numbers as made, or names of categories.
    days : sequence          The day of each batch, in the same order: dates, numbers or names.
    interactions : bool      Whether products of two factors with numbers are looked at.
    least : float            Share of the variation between days from which a factor is told. [-]

    Returns
    -------
    tuple of DayConfounding   The strongest first.

    Raises
    ------
    KitError   `design.days` where levels and days differ in number.

    Examples
    --------
    >>> found = confounded_with_day({"hold": [3, 3, 12, 12]}, ["d1", "d1", "d2", "d2"])
    >>> print(found[0].words.partition(".")[0])
    hold coincides with the day wholly (correlation 1): 3 only on d1; 12 only on d2
    """
    columns = _columns(levels)
    for name, values in columns.items():
        if len(values) != len(days):
            raise KitError(
                f"{name} has {len(values)} levels for {len(days)} days",
                where="factors against days",
                allowed="one level and one day for each batch",
                mend="give None where a level is not known",
                code="design.days",
            )
    found = [one for name, values in columns.items() if (one := _of_factor(name, values, days, least))]
    if interactions:
        found += [one for pair in combinations(columns, 2) if (one := _of_pair(pair, columns, days, least))]
    return tuple(sorted(found, key=lambda one: -round(one.correlation, 9)))


def day_correlation(values: Sequence[object], days: Sequence[object]) -> float | None:
    """Correlation of a factor with the day, 0 to 1; None where it has one level or there is one day. [-]

    Values that are not known (None, or not a number) are left out.

    Parameters
    ----------
    values : sequence   Numbers, or names of categories.
    days : sequence     One a value.
    """
    values, days = _known(values, days)
    share = _share(_indicators(values), days) if values else None
    return None if share is None else share**0.5


def _columns(levels: Mapping[str, Sequence[object]] | Design) -> dict[str, list[object]]:
    if not isinstance(levels, Design):
        return {name: list(values) for name, values in levels.items()}
    columns = {}
    for index, name in enumerate(levels.names):
        values: list[object] = list(levels.column(name))
        if levels.kind[index] == CATEGORY:
            values = [levels.categories[index][int(value)] for value in values]
        columns[name] = values
    return columns


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _is_told(value: object) -> bool:
    return value is not None and not (_is_number(value) and math.isnan(value))


def _indicators(values: Sequence[object]) -> np.ndarray:
    """A column of numbers, or a column for each category."""
    import numpy as np

    if all(_is_number(value) for value in values):
        return np.array(values, dtype=float)[:, None]
    kinds = list(dict.fromkeys(values))
    return np.array([[float(value == kind) for kind in kinds] for value in values])


def _share(columns: np.ndarray, days: Sequence[object]) -> float | None:
    """Share of the sum of squares that lies between days."""
    centred = columns - columns.mean(axis=0)
    total = float((centred * centred).sum())
    groups = dict.fromkeys(days)
    if len(groups) < 2 or total <= _NOTHING * max(float((columns * columns).sum()), 1e-300):
        return None
    between = 0.0
    for day in groups:
        rows = centred[[other == day for other in days]]
        mean = rows.mean(axis=0)
        between += len(rows) * float((mean * mean).sum())
    return min(between / total, 1.0)


def _known(values: Sequence[object], days: Sequence[object]) -> tuple[list[object], list[object]]:
    pairs = [(value, day) for value, day in zip(values, days, strict=True) if _is_told(value)]
    return [value for value, _ in pairs], [day for _, day in pairs]


def _of_factor(name: str, values: Sequence[object], days: Sequence[object], least: float) -> DayConfounding | None:
    values, days = _known(values, days)
    share = _share(_indicators(values), days) if values else None
    if share is None:
        return None
    shared = _one_shared_level(values, days)
    if share < least and shared is None:
        return None
    if share >= _WHOLE:
        extent, said = WHOLLY, "coincides with the day wholly"
    elif shared is not None:
        extent, said = BUT_FOR_ONE_LEVEL, f"coincides with the day but for the level {_level(shared)}"
    else:
        extent, said = IN_PART, "goes with the day in part"
    told = "" if shared is None else _level(shared)
    words = f"{name} {said} (correlation {short(share**0.5, 2)}): {_where(values, days)}. {_consequence(extent, told)}"
    return DayConfounding(name, extent, share**0.5, told, words)


def _one_shared_level(values: Sequence[object], days: Sequence[object]) -> object | None:
    """The level without which the factor would coincide with the day, such as a centre made on every day."""
    on = _days_of(values, days)
    shared = [level for level, when in on.items() if len(when) > 1]
    others = [next(iter(when)) for level, when in on.items() if len(when) == 1]
    if len(shared) != 1 or len(others) < 2 or len(set(others)) < len(others):
        return None
    return shared[0]


def _days_of(values: Sequence[object], days: Sequence[object]) -> dict[object, dict[object, None]]:
    on: dict[object, dict[object, None]] = {}
    for value, day in zip(values, days, strict=True):
        on.setdefault(value, {})[day] = None
    return on


def _where(values: Sequence[object], days: Sequence[object]) -> str:
    on = _days_of(values, days)
    levels = sorted(on) if all(_is_number(value) for value in values) else list(on)
    if len(levels) > 6:
        return f"{len(levels)} levels over {len(dict.fromkeys(days))} days"
    parts = []
    for level in levels:
        when = list(map(str, on[level]))
        parts.append(f"{_level(level)} {'only on' if len(when) == 1 else 'on'} {' and '.join(when)}")
    return "; ".join(parts)


def _consequence(extent: str, shared: str) -> str:
    if extent == WHOLLY:
        return "What it does cannot be told from what the day did."
    if extent == BUT_FOR_ONE_LEVEL:
        return (
            f"What it does can be told from what the day did only through {shared}, if the response is straight; the "
            "other levels were never made on one day."
        )
    return "Part of what it seems to do may be the day's doing; compare within days."


def _of_pair(
    pair: tuple[str, str], columns: Mapping[str, Sequence[object]], days: Sequence[object], least: float
) -> DayConfounding | None:
    rows = [row for row in zip(*(columns[name] for name in pair), days, strict=True) if all(map(_is_told, row[:2]))]
    if not rows or not all(_is_number(value) for row in rows for value in row[:2]):
        return None
    first, second = (_centred([row[index] for row in rows]) for index in range(2))
    if first is None or second is None:
        return None
    share = _share((first * second)[:, None], [row[2] for row in rows])
    if share is None or share < least:
        return None
    whole = share >= _WHOLE
    name = term_name(pair)
    words = (
        f"The interaction {name} {'coincides with the day wholly' if whole else 'goes with the day in part'} "
        f"(correlation {short(share**0.5, 2)}). {_consequence(WHOLLY if whole else IN_PART, '')}"
    )
    return DayConfounding(name, WHOLLY if whole else IN_PART, share**0.5, "", words)


def _centred(values: Sequence[float]) -> np.ndarray | None:
    """Coded to -1 and 1 at the ends; None for one level."""
    import numpy as np

    low, high = min(values), max(values)
    if high <= low:
        return None
    return (2 * np.array(values, dtype=float) - low - high) / (high - low)


def _level(value: object) -> str:
    return short(float(value), 4) if _is_number(value) else str(value)
