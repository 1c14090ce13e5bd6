"""Every layout by its name."""

from __future__ import annotations

from collections.abc import Callable

from kit.errors import KitError
from kit.trials import plan_layouts as plain
from kit.trials import plan_mixtures as mixtures
from kit.trials.plan_crossed import CROSS, OPTIMAL, SPLIT, crossed, optimal, split
from kit.trials.plan_layouts import Asked, Laid

LAYOUTS: dict[str, Callable[[Asked], Laid]] = {
    plain.LEVELS: plain.levels,
    plain.SWAPS: plain.swaps,
    plain.FACTORIAL: plain.factorial,
    plain.FRACTION: plain.fraction,
    plain.COMPOSITE: plain.composite,
    plain.BOX_BEHNKEN: plain.box_behnken,
    mixtures.LATTICE: mixtures.lattice,
    mixtures.CENTROID: mixtures.centroid,
    mixtures.VERTICES: mixtures.vertices,
    CROSS: crossed,
    OPTIMAL: optimal,
    SPLIT: split,
}
"""Each layout with the function that lays it out."""


def lay_out(layout: str, asked: Asked) -> Laid:
    """The points of a layout.

    Parameters
    ----------
    layout : str     One of `LAYOUTS`.
    asked : Asked    Factors and options.

    Raises
    ------
    KitError   `plan.layout`, `plan.factors` where their number or kind does not fit, `design.*` of the designs.
    """
    if layout not in LAYOUTS:
        raise KitError(
            f"there is no layout {layout!r}",
            where="plan_variations()",
            allowed=", ".join(LAYOUTS),
            mend="name one of these",
            code="plan.layout",
        )
    return LAYOUTS[layout](asked)
