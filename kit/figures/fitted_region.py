"""The outline of the tried region in the plane of a figure, for shading what lies beyond it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from kit.science.tried_region import inside_hull

if TYPE_CHECKING:
    import numpy as np

_RAYS, _HALVINGS = 90, 18
_FLAT = 1e-6  # of the drawn range: an area thinner than this is a line


def hull_outline(places: Sequence[tuple[float, float]], spans: tuple[float, float]) -> list[tuple[float, float]]:
    """The corners of the smallest convex outline around places, in order; empty where they lie on one line.

    Parameters
    ----------
    places : sequence of pairs
    spans : pair                 Width and height of what is drawn.

    Notes
    -----
    Andrew's monotone chain (1979, Information Processing Letters 9:216).
    """
    ordered = sorted(set(places))
    lower, upper = _chain(ordered), _chain(ordered[::-1])
    found = [*lower[:-1], *upper[:-1]]
    area = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(found, [*found[1:], *found[:1]], strict=True))
    return found if abs(area) > _FLAT * spans[0] * spans[1] else []


def _chain(ordered: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    kept: list[tuple[float, float]] = []
    for place in ordered:
        while len(kept) > 1 and _turn(kept[-2], kept[-1], place) <= 0:
            kept.pop()
        kept.append(place)
    return kept


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def cut_outline(
    middle: tuple[float, float],
    spans: tuple[float, float],
    to_points: Callable[[np.ndarray], np.ndarray],
    tried: Sequence[Sequence[float]],
) -> list[tuple[float, float]]:
    """Where the plane of a figure cuts the tried region, other factors held; empty where its middle lies outside.

    Parameters
    ----------
    middle : pair          Where the factors are held, in the plane.
    spans : pair           Width and height of what is drawn.
    to_points : callable   From places, (places, 2), to coordinates of the model.
    tried : (batches, factors)   Coordinates of the model.

    Notes
    -----
    The cut is convex: along each ray from the middle its edge is found by halving.
    """
    import numpy as np

    angles = 2 * math.pi * np.arange(_RAYS) / _RAYS
    ways = np.column_stack([np.cos(angles) * spans[0], np.sin(angles) * spans[1]])
    start = np.array(middle)
    if not inside_hull(to_points(start[None, :]), tried)[0]:
        return []
    near, far = np.zeros(_RAYS), np.full(_RAYS, 1.5)
    for _ in range(_HALVINGS):
        half = (near + far) / 2
        inside = inside_hull(to_points(start + half[:, None] * ways), tried)
        near, far = np.where(inside, half, near), np.where(inside, far, half)
    edge = start + near[:, None] * ways
    return hull_outline([(float(x), float(y)) for x, y in edge], spans)
