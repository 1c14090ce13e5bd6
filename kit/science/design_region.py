"""The region that a mixture may take: its corners, edges and sides, in exact fractions.

The corners of a convex region are found by the double description method (Motzkin and others 1953; Fukuda and Prodon
1996): the simplex of all mixtures is cut by one constraint after another, and each cut makes a corner on every edge
between a corner that is kept and one that is not. Fractions make the count of corners exact: none is missed or doubled
by rounding.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from kit.errors import KitError
from kit.science.design_checks import factor_names, require_count
from kit.science.design_constraint import HalfSpace, exact, half_spaces

MOST_COMPONENTS = 8
Point = tuple[Fraction, ...]


@dataclass(frozen=True)
class MixtureRegion:
    """All mixtures of a total between bounds and under linear constraints.

    Parameters
    ----------
    names : tuple of str               Components.
    total : Fraction                   What they add up to. [unit of the components]
    half_spaces : tuple of HalfSpace   Bounds and constraints.
    vertices : tuple of tuple          Corners, sorted. [unit of the components]
    lower, upper : tuple of Fraction   What each component can take at most inside the region: the implied bounds.
    notes : tuple of str               Which bounds of those told cannot be reached.
    """

    names: tuple[str, ...]
    total: Fraction
    half_spaces: tuple[HalfSpace, ...]
    vertices: tuple[Point, ...]
    lower: tuple[Fraction, ...]
    upper: tuple[Fraction, ...]
    notes: tuple[str, ...] = ()

    @property
    def dimension(self) -> int:
        """How many components can be changed freely: 0 for a single mixture."""
        return dimension(self.vertices)

    def contains(self, point: Sequence[object], tolerance: float = 0.0) -> bool:
        """Whether a mixture keeps the total and every constraint, each within a tolerance. [unit of the components]"""
        place = tuple(exact(value) for value in point)
        slip = exact(tolerance)
        return (
            len(place) == len(self.names)
            and abs(sum(place) - self.total) <= slip
            and all(one.slack(place) >= -slip for one in self.half_spaces)
        )

    def broken(self, point: Sequence[object], tolerance: float = 0.0) -> tuple[str, ...]:
        """What a mixture breaks, in words; none for one that lies inside."""
        place = tuple(exact(value) for value in point)
        slip = exact(tolerance)
        said = [one.words for one in self.half_spaces if one.slack(place) < -slip]
        if abs(sum(place) - self.total) > slip:
            said.append(f"total = {_text(self.total)}")
        return tuple(said)

    def edges(self) -> tuple[tuple[Point, ...], ...]:
        """Pairs of corners that an edge joins, sorted."""
        return tuple((self.vertices[one], self.vertices[two]) for one, two in self._joined())

    def sides(self) -> tuple[tuple[Point, ...], ...]:
        """The two-dimensional faces, each as the tuple of its corners, sorted; a flat region is its own one."""
        active = self._active()
        found = set()
        for one, two in combinations(self._joined(), 2):
            three = {*one, *two}
            if len(three) == 3:  # two edges that share a corner span the smallest face that holds both
                common = frozenset.intersection(*(active[index] for index in three))
                found.add(tuple(index for index, own in enumerate(active) if common <= own))
        faces = (tuple(self.vertices[index] for index in face) for face in found)
        return tuple(sorted(face for face in faces if dimension(face) == 2))

    def _joined(self) -> list[tuple[int, int]]:
        active = self._active()
        pairs = combinations(range(len(active)), 2)
        return [pair for pair in pairs if _is_edge(active[pair[0]] & active[pair[1]], *pair, active)]

    def _active(self) -> list[frozenset[int]]:
        """For each corner the constraints that hold in it with equality; that no amount is below zero is one too."""
        return [
            frozenset(
                [index for index, one in enumerate(self.half_spaces) if one.slack(vertex) == 0]
                + [-1 - index for index, value in enumerate(vertex) if value == 0]
            )
            for vertex in self.vertices
        ]


def mixture_region(
    names: Iterable[str],
    lower: Sequence[object],
    upper: Sequence[object],
    total: object = 1,
    constraints: Iterable[object] = (),
) -> MixtureRegion:
    """The region of a mixture between bounds, which may be empty: then it is said which bounds clash.

    Parameters
    ----------
    names : iterable of str     Components, at most 8.
    lower, upper : sequence     Bounds, one a component; numbers are taken as printed. [unit of the components]
    total : number              What the components add up to.
    constraints : iterable      As `kit.science.design_constraint.half_spaces` reads them.

    Raises
    ------
    KitError   `design.names`, `design.count`, `design.bounds`, `design.constraint`, `design.infeasible`.
    """
    components = factor_names(names)
    require_count("mixture", least=2, most=MOST_COMPONENTS, components=len(components))
    whole = exact(total)
    lows, highs = [exact(value) for value in lower], [exact(value) for value in upper]
    if len(lows) != len(components) or len(highs) != len(components) or whole <= 0 or min(lows) < 0:
        raise KitError(
            f"bounds {_list(lows)} and {_list(highs)} with a total of {_text(whole)} do not fit {len(components)} "
            "components",
            where="bounds of a mixture",
            allowed="one lower and one upper bound a component, none below zero, a total above zero",
            mend="give a bound for each component, 0 and the total where there is none",
            code="design.bounds",
        )
    spaces = (*_bounds(components, lows, highs), *half_spaces(components, constraints))
    corners = _corners(len(components), whole, spaces)
    if not corners:
        raise _clash(len(components), whole, spaces)
    found = tuple(sorted(corners))
    low, high = tuple(map(min, zip(*found, strict=True))), tuple(map(max, zip(*found, strict=True)))
    return MixtureRegion(components, whole, spaces, found, low, high, _tightened(components, lows, highs, low, high))


def dimension(points: Sequence[Point]) -> int:
    """Dimension of the flat that some points span: 0 for one, 1 for those on a line; -1 for none."""
    if not points:
        return -1
    rows = [[a - b for a, b in zip(point, points[0], strict=True)] for point in points[1:]]
    rank = 0
    for column in range(len(points[0])):
        pivot = next((row for row in range(rank, len(rows)) if rows[row][column]), None)
        if pivot is None:
            continue
        rows[rank], rows[pivot] = rows[pivot], rows[rank]
        for row in range(rank + 1, len(rows)):
            share = rows[row][column] / rows[rank][column]
            if share:
                rows[row] = [a - share * b for a, b in zip(rows[row], rows[rank], strict=True)]
        rank += 1
    return rank


def centroid(points: Sequence[Point]) -> Point:
    """The mean of some corners."""
    return tuple(sum(column, Fraction(0)) / len(points) for column in zip(*points, strict=True))


def _bounds(names: Sequence[str], lows: Sequence[Fraction], highs: Sequence[Fraction]) -> list[HalfSpace]:
    spaces = []
    for index, name in enumerate(names):
        unit = tuple(Fraction(int(index == other)) for other in range(len(names)))
        spaces.append(HalfSpace(tuple(-one for one in unit), -lows[index], f"{name} >= {_text(lows[index])}"))
        spaces.append(HalfSpace(unit, highs[index], f"{name} <= {_text(highs[index])}"))
    return spaces


def _corners(size: int, total: Fraction, spaces: Sequence[HalfSpace]) -> list[Point]:
    """Corners of the simplex of the total after each half-space has cut it."""
    zero = tuple(Fraction(0) for _ in range(size))
    corners = [tuple(total if index == other else zero[0] for other in range(size)) for index in range(size)]
    done = [
        HalfSpace(tuple(Fraction(-int(index == other)) for other in range(size)), zero[0], "") for index in range(size)
    ]
    active = [frozenset(index for index in range(size) if not corner[index]) for corner in corners]
    for space in spaces:
        corners, active = _cut(corners, active, space, len(done))
        done.append(space)
        if not corners:
            return []
    return corners


def _cut(
    corners: list[Point], active: list[frozenset[int]], space: HalfSpace, number: int
) -> tuple[list[Point], list[frozenset[int]]]:
    """Corners after one more cut, each with the constraints that hold in it with equality."""
    slacks = [space.slack(corner) for corner in corners]
    kept = [index for index, slack in enumerate(slacks) if slack >= 0]
    lost = [index for index, slack in enumerate(slacks) if slack < 0]
    found = [corners[index] for index in kept]
    on = [active[index] | {number} if slacks[index] == 0 else active[index] for index in kept]
    for inside in kept:
        for outside in lost:
            common = active[inside] & active[outside]
            if slacks[inside] == 0 or not _is_edge(common, inside, outside, active):
                continue
            share = slacks[inside] / (slacks[inside] - slacks[outside])
            pairs = zip(corners[inside], corners[outside], strict=True)
            found.append(tuple(a + share * (b - a) for a, b in pairs))
            on.append(common | {number})
    return found, on


def _is_edge(common: frozenset[int], one: int, two: int, active: list[frozenset[int]]) -> bool:
    """Two corners are ends of an edge when no third lies in all the constraints that hold in both."""
    return not any(common <= other for index, other in enumerate(active) if index not in (one, two))


def _clash(size: int, total: Fraction, spaces: Sequence[HalfSpace]) -> KitError:
    """The error that names a smallest set of constraints that no mixture keeps: without any of them there is one."""
    left = list(spaces)
    for space in spaces:
        fewer = [one for one in left if one is not space]
        if not _corners(size, total, fewer):
            left = fewer
    said = "; ".join(dict.fromkeys(one.words for one in left))
    return KitError(
        f"no mixture with a total of {_text(total)} keeps all of these: {said}",
        where="bounds of a mixture",
        allowed="bounds and constraints that some mixture keeps",
        mend="loosen one of those named",
        code="design.infeasible",
    )


def _tightened(names, lows, highs, low, high) -> tuple[str, ...]:
    said = []
    for name, lower, upper, least, most in zip(names, lows, highs, low, high, strict=True):
        if least > lower:
            said.append(_unreached("lower", name, lower, f"{_text(least)} at least"))
        if most < upper:
            said.append(_unreached("upper", name, upper, f"{_text(most)} at most"))
    return tuple(said)


def _unreached(which: str, name: str, told: Fraction, left: str) -> str:
    return f"The {which} bound of {name}, {_text(told)}, cannot be reached: the others leave {left}."


def _text(value: Fraction) -> str:
    return format(float(value), ".6g")


def _list(values: Sequence[Fraction]) -> str:
    return ", ".join(_text(value) for value in values)
