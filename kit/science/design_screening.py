"""Plackett-Burman designs: main effects of many factors in few runs.

Plackett and Burman (1946), Biometrika 33:305, give the first row; each next one is the row before moved on by one
place, and a row of low levels closes the design.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import combinations

from kit.errors import KitError
from kit.science.design_checks import factor_names, require_count
from kit.science.design_layout import Design

FIRST_ROWS = {
    8: "+++-+--",
    12: "++-+++---+-",
    20: "++--++++-+-+----++-",
    24: "+++++-+-++--++--+-+----",
}
"""First row by number of runs."""


def plackett_burman(names: Iterable[str], *, runs: int | None = None, centre: int = 0) -> Design:
    """A two-level design whose main effects are clear of each other.

    Parameters
    ----------
    names : iterable of str   Factors, fewer than the runs.
    runs : int                8, 12, 20 or 24; the smallest that is enough where it is left out.
    centre : int              Centre points added.

    Raises
    ------
    KitError   `design.names`, `design.count`, `design.runs`.
    """
    factors = factor_names(names)
    require_count("Plackett-Burman design", least=0, centre=centre)
    fitting = [count for count in FIRST_ROWS if count > len(factors) and runs in (None, count)]
    if not fitting:
        raise KitError(
            f"there is no Plackett-Burman design of {len(factors)} factors in {runs or 'so few'} runs",
            where="Plackett-Burman design",
            allowed=f"{', '.join(map(str, FIRST_ROWS))} runs, more than there are factors",
            mend="choose more runs or fewer factors",
            code="design.runs",
        )
    count = fitting[0]
    first = [1.0 if sign == "+" else -1.0 for sign in FIRST_ROWS[count]]
    rows = [first[-shift:] + first[:-shift] if shift else first for shift in range(count - 1)]
    levels = tuple(tuple(row[: len(factors)]) for row in [*rows, [-1.0] * (count - 1)])
    resolution, note = _mixed(levels)
    title = f"Plackett-Burman design of {count} runs"
    return Design(factors, levels, title=title, resolution=resolution, notes=(note,)).with_centre(centre)


def _mixed(levels: Sequence[Sequence[float]]) -> tuple[int | None, str]:
    """The resolution, and how far main effects are mixed with interactions of two other factors."""
    columns = list(zip(*levels, strict=True))
    sums = (abs(math.fsum(map(math.prod, zip(*three, strict=True)))) for three in combinations(columns, 3))
    most = max(sums, default=0.0)
    if not most:
        return None, "Each main effect is clear of interactions of two other factors."
    how = "wholly with interactions" if most == len(levels) else "in part with interactions"
    return 3, f"Resolution III: main effects are mixed {how} of two other factors; trust them only if those are small."
