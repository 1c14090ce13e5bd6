"""Mixture designs: simplex lattice, simplex centroid, extreme vertices under bounds and constraints, pseudocomponents.

The components of a mixture add up to a total, so that none can be changed alone (Scheffe (1958), J. Royal Stat. Soc. B
20:344, and (1963) B 25:235; McLean and Anderson (1966), Technometrics 8:447; Snee and Marquardt (1974), Technometrics
16:399).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import combinations

from kit.errors import KitError
from kit.science.design_checks import factor_names, require_count
from kit.science.design_constraint import exact
from kit.science.design_layout import MIXTURE, Design
from kit.science.design_region import MOST_COMPONENTS, MixtureRegion, centroid, mixture_region

VERTICES = "vertices"
EDGES = "edge centroids"
FACES = "face centroids"
OVERALL = "overall centroid"
PARTS = (VERTICES, EDGES, FACES, OVERALL)
"""What an extreme-vertices design can hold."""


def simplex_lattice(names: Iterable[str], degree: int, *, total: object = 1) -> Design:
    """All mixtures whose parts are multiples of total/degree: {q, m} lattice, (q + m - 1)! / (m! (q - 1)!) runs.

    Parameters
    ----------
    names : iterable of str   Components, at most 8.
    degree : int              2 for a quadratic model, 3 for a cubic.
    total : number            What the components add up to. [unit of the components]

    Raises
    ------
    KitError   `design.names`, `design.count`, `design.bounds`.
    """
    components, whole = _components(names, total)
    require_count("simplex lattice", least=1, most=12, degree=degree)
    points = [tuple(Fraction(part, degree) * whole for part in parts) for parts in _parts(len(components), degree)]
    return _design(components, points, f"simplex lattice {{{len(components)}, {degree}}}")


def simplex_centroid(names: Iterable[str], *, total: object = 1) -> Design:
    """Every component alone, and every set of components in equal parts: 2^q - 1 runs.

    Parameters
    ----------
    names : iterable of str   Components, at most 8.
    total : number            What the components add up to. [unit of the components]

    Raises
    ------
    KitError   `design.names`, `design.count`, `design.bounds`.
    """
    components, whole = _components(names, total)
    size = len(components)
    points = []
    for count in range(1, size + 1):
        for chosen in combinations(range(size), count):
            points.append(tuple(whole / count if index in chosen else Fraction(0) for index in range(size)))
    return _design(components, points, f"simplex centroid of {size} components")


def extreme_vertices(
    names: Iterable[str],
    lower: Sequence[object],
    upper: Sequence[object],
    total: object = 1,
    constraints: Iterable[object] = (),
    *,
    parts: Sequence[str] = (VERTICES, OVERALL),
) -> Design:
    """The corners of the region between bounds and constraints, and the centroids asked for.

    Parameters
    ----------
    names : iterable of str    Components, at most 8.
    lower, upper : sequence    Bounds, one a component. [unit of the components]
    total : number             What the components add up to.
    constraints : iterable     Such as "CTAC + BTAC <= 2.5"; any number of them.
    parts : sequence of str    VERTICES, EDGES, FACES, OVERALL: centroids are the means of the corners of an edge, of a
        two-dimensional face, of the whole.

    Raises
    ------
    KitError   `design.names`, `design.count`, `design.bounds`, `design.constraint`, `design.infeasible`,
        `design.parts`.
    """
    region = mixture_region(names, lower, upper, total, constraints)
    return region_design(region, parts=parts)


def region_design(region: MixtureRegion, *, parts: Sequence[str] = (VERTICES, OVERALL)) -> Design:
    """The corners and centroids of a region as a design; see `extreme_vertices`.

    Parameters
    ----------
    region : MixtureRegion    Of the mixture.
    parts : sequence of str   VERTICES, EDGES, FACES, OVERALL.

    Raises
    ------
    KitError   `design.parts`.
    """
    if not parts or not set(parts) <= set(PARTS):
        raise KitError(
            f"a design of {', '.join(map(str, parts)) or 'nothing'} is not known",
            where="extreme vertices",
            allowed=", ".join(PARTS),
            mend="name some of these",
            code="design.parts",
        )
    points = []
    for part in (part for part in PARTS if part in parts):
        points += _of_part(region, part)
    return _design(region.names, list(dict.fromkeys(points)), "extreme vertices", notes=region.notes)


def _of_part(region: MixtureRegion, part: str) -> list[tuple[Fraction, ...]]:
    if part == VERTICES:
        return list(region.vertices)
    if part == OVERALL:
        return [centroid(region.vertices)]
    return [centroid(face) for face in (region.edges() if part == EDGES else region.sides())]


def to_pseudocomponents(point: Sequence[object], lower: Sequence[object], total: object = 1) -> tuple[float, ...]:
    """L-pseudocomponents (x - L) / (total - sum of L): 1 where all that is free is one component.

    Parameters
    ----------
    point : sequence    Mixture. [unit of the components]
    lower : sequence    Lower bounds, in the same order.
    total : number      What the components add up to.

    Raises
    ------
    KitError   `design.bounds` where the lower bounds leave nothing free.
    """
    lows, free = _free(point, lower, total)
    return tuple(float((exact(value) - low) / free) for value, low in zip(point, lows, strict=True))


def from_pseudocomponents(point: Sequence[object], lower: Sequence[object], total: object = 1) -> tuple[float, ...]:
    """The mixture of L-pseudocomponents: L + x' (total - sum of L). [unit of the components]

    Parameters
    ----------
    point : sequence    Pseudocomponents, which add up to 1.
    lower : sequence    Lower bounds, in the same order. [unit of the components]
    total : number      What the components add up to.

    Raises
    ------
    KitError   `design.bounds` where the lower bounds leave nothing free.
    """
    lows, free = _free(point, lower, total)
    return tuple(float(low + exact(value) * free) for value, low in zip(point, lows, strict=True))


def _free(point: Sequence[object], lower: Sequence[object], total: object) -> tuple[list[Fraction], Fraction]:
    lows = [exact(value) for value in lower]
    free = exact(total) - sum(lows)
    if free <= 0 or len(lows) != len(point):
        raise KitError(
            f"lower bounds that add up to {float(sum(lows)):g} of {float(exact(total)):g} leave nothing to vary",
            where="pseudocomponents",
            allowed="one lower bound a component, together below the total",
            mend="lower one of them",
            code="design.bounds",
        )
    return lows, free


def _components(names: Iterable[str], total: object) -> tuple[tuple[str, ...], Fraction]:
    components, whole = factor_names(names), exact(total)
    require_count("mixture", least=2, most=MOST_COMPONENTS, components=len(components))
    if whole <= 0:
        raise KitError(
            f"a mixture with a total of {total} has no parts",
            where="mixture",
            allowed="a total above zero",
            mend="give what the components add up to",
            code="design.bounds",
        )
    return components, whole


def _parts(components: int, degree: int) -> Iterable[tuple[int, ...]]:
    """All ways of sharing `degree` among the components, the first component's largest share first."""
    if components == 1:
        yield (degree,)
        return
    for first in range(degree, -1, -1):
        for rest in _parts(components - 1, degree - first):
            yield (first, *rest)


def _design(names: tuple[str, ...], points: Sequence[tuple[Fraction, ...]], title: str, **more) -> Design:
    levels = tuple(tuple(float(value) for value in point) for point in points)
    return Design(names, levels, (MIXTURE,) * len(names), title, **more)
