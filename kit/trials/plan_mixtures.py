"""Layouts of lines that share a fixed total: simplex lattice and centroid, extreme vertices under bounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.trials.plan_factors import ACTIVE, LINE, SUPPLIED, Factor
from kit.trials.plan_layouts import MIXTURE, Asked, Laid, unfit
from kit.trials.plan_points import CENTRE, RUN, Point
from kit.units import percent, plain

if TYPE_CHECKING:
    from kit.science.design_layout import Design

LATTICE, CENTROID, VERTICES = "simplex lattice", "simplex centroid", "extreme vertices"
_LACK_OF_FIT = 2  # points over the terms of a quadratic model from which it is thought of; own choice
_PLACES = Decimal("0.0001")  # of an amount worked out, before it is rounded as a supply form [%]


def read_total(text: object) -> tuple[Decimal, str]:
    """The fixed total of a mixture and what it counts: "7.00 % active" or "9.00 % as supplied".

    Parameters
    ----------
    text : str   As typed; without a word behind it, % as supplied.

    Raises
    ------
    KitError    `plan.total` where none is given or it is not above zero.
    UnitError   For text that cannot be read.
    """
    words = str(text or "").strip()
    basis = next((one for one in (ACTIVE, SUPPLIED) if words.endswith(one)), "")
    total = percent(words.removesuffix(basis).strip(), where="total of the mixture") if words else Decimal(0)
    if total <= 0 or total > 100:
        raise KitError(
            "the total that the lines share is not given" if not words else f"the lines cannot share {words}",
            where="total of the mixture",
            allowed='"7.00 % active" or "9.00 % as supplied", above 0 and at most 100 %',
            mend='total="7.00 % active"',
            code="plan.total",
        )
    return total, basis or SUPPLIED


def vertices(asked: Asked) -> Laid:
    """Corners of the region between the bounds and the constraints, with its centroid as often as centres are asked."""
    from kit.science import design_mixture

    factors, total = mixture_parts(asked, VERTICES)
    design = design_mixture.extreme_vertices(
        [factor.name for factor in factors],
        [str(factor.low) for factor in factors],
        [str(factor.high) for factor in factors],
        str(total),
        tuple(asked.options.get("constraints") or ()),
        parts=(design_mixture.VERTICES, *((design_mixture.OVERALL,) if asked.centre else ())),
    )
    return _laid(design, factors, total, asked.centre)


def lattice(asked: Asked) -> Laid:
    """A simplex lattice above the lower bounds."""
    from kit.science.design_mixture import simplex_lattice

    degree = int(asked.options.get("degree") or 2)
    return _simplex(asked, LATTICE, degree, lambda names: simplex_lattice(names, degree))


def centroid(asked: Asked) -> Laid:
    """A simplex centroid above the lower bounds."""
    from kit.science.design_mixture import simplex_centroid

    return _simplex(asked, CENTROID, 2, simplex_centroid)


def mixture_parts(asked: Asked, layout: str) -> tuple[tuple[Factor, ...], Decimal]:
    """The lines that share the total, on its basis, and the total. [%]

    Parameters
    ----------
    asked : Asked   Factors; settings of the making are left to the layouts that cross them.
    layout : str    For an error.

    Raises
    ------
    KitError   `plan.total`, `plan.factors`.
    """
    total, basis = read_total(asked.options.get("total"))
    parts = tuple(replace(factor, basis=basis) for factor in asked.factors if factor.kind == LINE)
    if len(parts) < 2:
        raise unfit(layout, f"{len(parts)} line shares the total", "two lines or more, each with its bounds")
    single = [factor.name for factor in parts if len(factor.levels) != 2]
    if single:
        raise unfit(layout, f"{', '.join(single)} has other than two bounds", '"0.5 to 2.5 %"')
    unknown = [factor.name for factor in parts if basis == ACTIVE and not factor.active_pct]
    if unknown:
        raise unfit(layout, f"how much of {', '.join(unknown)} is active is not known", "a total as supplied")
    return parts, total


def _simplex(asked: Asked, layout: str, degree: int, make) -> Laid:
    from kit.science.design_mixture import from_pseudocomponents

    factors, total = mixture_parts(asked, layout)
    lower = [str(factor.low) for factor in factors]
    free = total - sum(factor.low for factor in factors)
    cut = [factor.name for factor in factors if factor.high < factor.low + free]
    if cut:
        raise unfit(
            layout,
            f"the upper bound of {', '.join(cut)} cuts the simplex (it reaches {plain(free)} % above each lower bound)",
            f"upper bounds at {plain(free)} % above the lower ones, or the layout {VERTICES}",
        )
    design = make([factor.name for factor in factors])
    levels = tuple(from_pseudocomponents([repr(one) for one in row], lower, str(total)) for row in design.levels)
    return _laid(replace(design, levels=levels), factors, total, asked.centre, 1 if degree == 1 else 2)


def _laid(design: Design, factors: Sequence[Factor], total: Decimal, centre: int, order: int = 0) -> Laid:
    """A mixture design as points; its centroid, where it has one, is its centre and is made so often."""
    rows = [tuple(Decimal(repr(value)).quantize(_PLACES) for value in row) for row in design.levels]
    size = len(rows)
    exact_centre = tuple((sum(column) / size).quantize(_PLACES) for column in zip(*rows, strict=True))
    points: list[Point] = []
    for row in rows:
        if row == exact_centre:
            continue
        points.append(Point(f"point {len(points) + 1}", RUN, named(factors, row)))
    points += [Point("centre", CENTRE, named(factors, exact_centre))] * max(centre, int(exact_centre in rows))
    basis = f"{plain(total)} % {factors[0].basis}"
    title = f"{design.title}, {len(factors)} lines share {basis}"
    curved = len(factors) * (len(factors) + 1) // 2  # terms of a quadratic mixture model
    straight = order == 1 or (not order and curved + _LACK_OF_FIT > len(set(rows)))
    return Laid(tuple(points), tuple(factors), title, MIXTURE, notes=design.notes, order=1 if straight else 2)


def named(factors: Sequence[Factor], row: Sequence[Decimal]) -> tuple[tuple[str, Decimal], ...]:
    """Levels with the names of their factors, two decimals where they hold an amount, else four."""
    return tuple((factor.name, _tidy(value)) for factor, value in zip(factors, row, strict=True))


def _tidy(value: Decimal) -> Decimal:
    """Two decimals where they hold the amount, else four."""
    short = value.quantize(Decimal("0.01"))
    return short if short == value else value
