"""From factors to points: which layout puts which levels together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.trials.plan_factors import Factor
from kit.trials.plan_points import CENTRE, RUN, Point, Swap

if TYPE_CHECKING:
    from kit.science.design_layout import Design

LEVELS, SWAPS = "levels", "swaps"
FACTORIAL, FRACTION = "two-level factorial", "two-level fraction"
COMPOSITE, BOX_BEHNKEN = "central composite", "Box-Behnken"
ARMS, EFFECTS, MIXTURE, CROSSED = "arms", "effects", "mixture", "mixture and process"
"""How a plan is judged: every formula against the control, by effects, by a mixture model, or by both."""


@dataclass(frozen=True)
class Asked:
    """What was asked of a layout.

    Parameters
    ----------
    formula : Formula           The base.
    factors : tuple of Factor   What is varied; empty for swaps.
    swaps : tuple of Swap       Of a plan of swaps.
    centre : int                Centre points.
    options : dict              What only some layouts take: resolution, generators, runs, alpha, degree, total,
                                constraints, model.
    seed : int                  Of whatever is drawn.
    """

    formula: Formula
    factors: tuple[Factor, ...] = ()
    swaps: tuple[Swap, ...] = ()
    centre: int = 0
    options: dict = field(default_factory=dict)
    seed: int = 1


@dataclass(frozen=True)
class Laid:
    """Points laid out.

    Parameters
    ----------
    points : tuple of Point     Each batch of the design, repeats included, in standard order.
    factors : tuple of Factor   What is varied.
    title : str                 "two-level factorial 2^2".
    judged : str                "arms", "effects", "mixture" or "mixture and process".
    aliases : tuple of str      Effects that cannot be told apart.
    notes : tuple of str        Sentences about the design.
    order : int                 Of the model that the design is for: 1 straight, 2 with interactions or curvature.
    within : tuple of str       Factors of a split plot that are set for each part of a hot base.
    """

    points: tuple[Point, ...]
    factors: tuple[Factor, ...]
    title: str
    judged: str
    aliases: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    order: int = 2
    within: tuple[str, ...] = ()


def levels(asked: Asked) -> Laid:
    """One factor at its levels; a range is divided into equal steps."""
    need(asked.factors, LEVELS, least=1, most=1)
    (factor,) = asked.factors
    if factor.is_range:
        count = int(asked.options.get("runs") or 5)
        factor = factor.with_levels(_spaced(factor, count))
    if len(factor.levels) < 2:
        raise unfit(LEVELS, "one level is no series", "two levels or more")
    points = tuple(Point(f"{factor.name} {factor.text(one)}", RUN, ((factor.name, one),)) for one in factor.levels)
    return Laid(points, (factor,), f"level series of {factor.name}", ARMS)


def _spaced(factor: Factor, count: int) -> tuple[Decimal, ...]:
    from kit.science.design_levels import spaced_levels

    places = spaced_levels(-1.0, 1.0, count)
    return tuple(dict.fromkeys(factor.real(place) for place in places))


def swaps(asked: Asked) -> Laid:
    """One material for another, one at a time."""
    if not asked.swaps:
        raise unfit(SWAPS, "no swap is named", '"NEW for OLD", one a swap')
    points = tuple(Point(swap.text, RUN, swap=swap) for swap in asked.swaps)
    note = "One swap at a time: interactions between them are not seen."
    return Laid(points, (), "swaps", ARMS, notes=(note,), order=1)


def factorial(asked: Asked) -> Laid:
    """Every combination of low and high."""
    from kit.science.design_factorial import two_level_factorial

    need(asked.factors, FACTORIAL, least=1, ranges=True)
    names = [factor.name for factor in asked.factors]
    return coded(two_level_factorial(names, centre=asked.centre), asked)


def fraction(asked: Asked) -> Laid:
    """A regular fraction of a two-level factorial."""
    from kit.science.design_factorial import fractional_factorial

    need(asked.factors, FRACTION, least=3, ranges=True)
    names = [factor.name for factor in asked.factors]
    given = {name: asked.options.get(name) for name in ("resolution", "runs")}
    generators = asked.options.get("generators") or None
    return coded(fractional_factorial(names, generators, **given, centre=asked.centre), asked)


def composite(asked: Asked) -> Laid:
    """Corners, axial points and centre."""
    from kit.science.design_surface import central_composite

    need(asked.factors, COMPOSITE, least=2, ranges=True)
    alpha = asked.options.get("alpha") or "face"
    names = [factor.name for factor in asked.factors]
    return coded(central_composite(names, alpha=alpha, centre=asked.centre), asked)


def box_behnken(asked: Asked) -> Laid:
    """Edges and centre, no corner."""
    from kit.science.design_surface import box_behnken

    need(asked.factors, BOX_BEHNKEN, least=3, ranges=True)
    return coded(box_behnken([factor.name for factor in asked.factors], centre=asked.centre), asked)


def coded(design: Design, asked: Asked) -> Laid:
    """A design in coded units as points in the units of the factors."""
    points, count = [], 0
    for row in design.levels:
        centre = not any(row)
        count += not centre
        levels = tuple((factor.name, factor.real(coded)) for factor, coded in zip(asked.factors, row, strict=True))
        points.append(Point("centre" if centre else f"point {count}", CENTRE if centre else RUN, levels))
    return Laid(tuple(points), asked.factors, design.title, EFFECTS, design.aliases, design.notes)


def need(factors: Sequence[Factor], layout: str, *, least: int, most: int = 12, ranges: bool = False) -> None:
    """Refuse factors whose number, or whose levels where two ends are wanted, do not fit a layout.

    Raises
    ------
    KitError   `plan.factors`.
    """
    if not least <= len(factors) <= most:
        count = f"{len(factors)} factor{'' if len(factors) == 1 else 's'}"
        raise unfit(layout, f"{count} given", f"{least} to {most}" if most > least else str(least))
    if ranges:
        wrong = [factor.name for factor in factors if len(factor.levels) != 2]
        if wrong:
            raise unfit(layout, f"{', '.join(wrong)} has other than two levels", '"3 to 7 %": a low and a high end')


def unfit(layout: str, what: str, allowed: str) -> KitError:
    """The error for factors that a layout cannot take."""
    return KitError(
        f"{layout}: {what}",
        where="factors of the plan",
        allowed=allowed,
        mend="change the factors or take another layout",
        code="plan.factors",
    )
