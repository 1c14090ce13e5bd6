"""Layouts of mixture and making together, of chosen points, and of hot bases that are divided."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import product
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.trials.plan_factors import LINE, Factor
from kit.trials.plan_layouts import CROSSED, EFFECTS, MIXTURE, Asked, Laid, need, unfit
from kit.trials.plan_mixtures import mixture_parts, named, vertices
from kit.trials.plan_model import term_matrix
from kit.trials.plan_points import CENTRE, RUN, Point

if TYPE_CHECKING:
    from kit.science.design_layout import Design

CROSS, OPTIMAL, SPLIT = "mixture and process", "D-optimal", "split plot"
_COLD_STEPS = ("cool", "add", "adjust", "rest")
_COLD_PHASES = ("cool-down", "adjust")
_SPARE = 3  # runs of a D-optimal design over its terms, for the scatter; own choice


def crossed(asked: Asked) -> Laid:
    """Every mixture of an extreme-vertices design at every combination of the making, low and high."""
    from kit.science.design_factorial import two_level_factorial

    settings = tuple(factor for factor in asked.factors if factor.kind != LINE)
    need(settings, CROSS, least=1, most=4, ranges=True)
    mixture = vertices(asked)
    made = two_level_factorial([factor.name for factor in settings])
    points: list[Point] = []
    for point in dict.fromkeys(mixture.points):
        for row in made.levels:
            process = tuple((one.name, one.real(level)) for one, level in zip(settings, row, strict=True))
            points.append(Point(f"point {len(points) + 1}", RUN, (*point.levels, *process)))
    title = f"{mixture.title}, each at {len(made)} settings of {' and '.join(one.name for one in settings)}"
    return Laid(tuple(points), (*mixture.factors, *settings), title, CROSSED, notes=mixture.notes, order=1)


def optimal(asked: Asked) -> Laid:
    """The points, among candidates, that tell the terms of a model best for their number."""
    from kit.science.design_optimal import d_optimal

    need(asked.factors, OPTIMAL, least=1)
    _refuse_one_level(asked.factors, OPTIMAL)
    factors, candidates, judged = _candidates(asked)
    order = int(asked.options.get("order") or 2)

    def matrix(points: Sequence[Sequence[float]]):
        return term_matrix(points, factors, judged, order, candidates.levels)

    terms = matrix(candidates.levels).shape[1]
    runs = int(asked.options.get("runs") or terms + _SPARE)
    design = d_optimal(candidates, matrix, runs, seed=asked.seed)
    if design.reason:
        raise unfit(OPTIMAL, design.reason, f"{terms} runs or more, or a straight model (order=1)")
    points = _points_of(design, factors, judged)
    words = f"Chosen with seed {asked.seed} among {len(candidates)} candidates for a model of {terms} terms."
    return Laid(points, factors, f"D-optimal design, {runs} runs", judged, notes=(words,), order=order)


def split(asked: Asked) -> Laid:
    """Hot bases at every combination of what is set hot, each divided among every combination of what is set cold."""
    hot = tuple(factor for factor in asked.factors if not _is_cold(factor, asked.formula))
    cold = tuple(factor for factor in asked.factors if factor not in hot)
    if not cold:
        raise unfit(SPLIT, "every factor is set while hot", "one factor of the cool-down at least")
    _refuse_one_level(asked.factors, SPLIT)
    bases = list(product(*(factor.levels for factor in hot)))
    times = int(asked.options.get("runs") or (2 if len(bases) == 1 else 1))
    points: list[Point] = []
    for number, base in enumerate([one for _ in range(times) for one in bases], start=1):
        for part in product(*(factor.levels for factor in cold)):
            levels = (*named(hot, base), *named(cold, part))
            label = ", ".join(f"{factor.name} {factor.text(value)}" for factor, (_, value) in
                              zip((*hot, *cold), levels, strict=True))  # fmt: skip
            points.append(Point(label, RUN, levels, whole_plot=number))
    return Laid(
        tuple(points),
        (*hot, *cold),
        f"split plot of {len(bases) * times} hot bases, each in {len(points) // (len(bases) * times)} parts",
        EFFECTS,
        notes=_split_notes(hot, cold, times),
        within=tuple(factor.name for factor in cold),
    )


def _refuse_one_level(factors: Sequence[Factor], layout: str) -> None:
    single = [factor.name for factor in factors if len(factor.levels) < 2]
    if single:
        raise unfit(layout, f"{', '.join(single)} has one level", "two levels or more of each")


def _split_notes(hot: Sequence[Factor], cold: Sequence[Factor], times: int) -> tuple[str, ...]:
    cold_names = ", ".join(factor.name for factor in cold)
    notes = [f"{cold_names}: set for each part of a base, judged against the scatter of the parts within a base."]
    if hot:
        hot_names = ", ".join(factor.name for factor in hot)
        notes.append(f"{hot_names}: set once a base, judged against the scatter between bases.")
        if times == 1:
            notes.append(
                "No base is made twice: the scatter between bases rests on history alone (runs=2 repeats them)."
            )
    return tuple(notes)


def _is_cold(factor: Factor, formula: Formula) -> bool:
    """Whether it can be set for each part of a hot base: a line or a step of the cool-down."""
    if factor.kind == LINE:
        return formula.phase(factor.phase).kind in _COLD_PHASES
    return factor.setting.do in _COLD_STEPS


def _candidates(asked: Asked) -> tuple[tuple[Factor, ...], Design, str]:
    """What could be made: a grid of levels, or corners and centroids of the mixture at every setting."""
    from kit.science.design_crossed import cross
    from kit.science.design_layout import MIXTURE as PARTS
    from kit.science.design_layout import Design
    from kit.science.design_mixture import EDGES, OVERALL, VERTICES, extreme_vertices

    if not asked.options.get("total"):
        grid = tuple(product(*map(_grid, asked.factors)))
        return asked.factors, Design([factor.name for factor in asked.factors], grid, title="grid of levels"), EFFECTS
    parts, total = mixture_parts(asked, OPTIMAL)
    mixture = extreme_vertices(
        [factor.name for factor in parts],
        [str(factor.low) for factor in parts],
        [str(factor.high) for factor in parts],
        str(total),
        tuple(asked.options.get("constraints") or ()),
        parts=(VERTICES, EDGES, OVERALL),
    )
    settings = tuple(factor for factor in asked.factors if factor.kind != LINE)
    rows = tuple(tuple(float(Decimal(repr(one)).quantize(Decimal("0.0001"))) for one in row) for row in mixture.levels)
    mixture = Design(mixture.names, rows, (PARTS,) * len(parts), title="corners and centroids")
    if not settings:
        return parts, mixture, MIXTURE
    process = Design([factor.name for factor in settings], tuple(product(*map(_grid, settings))))
    return (*parts, *settings), cross(mixture, process), CROSSED


def _grid(factor: Factor) -> tuple[float, ...]:
    """Coded levels of a factor: low, middle and high of a range, else as typed."""
    return (-1.0, 0.0, 1.0) if factor.is_range else tuple(factor.coded(level) for level in factor.levels)


def _points_of(design: Design, factors: Sequence[Factor], judged: str) -> tuple[Point, ...]:
    points: list[Point] = []
    for row in design.levels:
        levels = tuple(
            (factor.name, _amount(value) if judged != EFFECTS and factor.kind == LINE else factor.real(value))
            for factor, value in zip(factors, row, strict=True)
        )
        centre = judged == EFFECTS and not any(row)
        points.append(Point("centre" if centre else f"point {len(points) + 1}", CENTRE if centre else RUN, levels))
    return tuple(points)


def _amount(value: float) -> Decimal:
    exact = Decimal(repr(value)).quantize(Decimal("0.0001"))
    short = exact.quantize(Decimal("0.01"))
    return short if short == exact else exact


def check_split(formulas: Sequence[Formula], points: Sequence[Point], absorb: str) -> None:
    """Refuse a split plot whose parts would differ in more of the hot phases than the water that is held back.

    Parameters
    ----------
    formulas : sequence   One a point.
    points : sequence     Of a split plot.
    absorb : str          Who makes room.

    Raises
    ------
    KitError   `plan.split`.
    """
    bases: dict[int, set] = {}
    for made, point in zip(formulas, points, strict=True):
        if point.whole_plot:
            bases.setdefault(point.whole_plot, set()).add(hot_lines(made))
    if any(len(found) > 1 for found in bases.values()):
        raise KitError(
            f"the parts of a hot base would differ in more than its water, as room is made by {absorb!r}",
            where=SPLIT,
            allowed='absorb="water", or a line of the cool-down',
            mend="let the water make room: what differs is added cold",
            code="plan.split",
        )


def hot_lines(formula: Formula) -> tuple:
    """Lines of the hot phases and their percentages, water apart.

    Parameters
    ----------
    formula : Formula   Of a part.
    """
    return tuple(
        (phase.name, line.material.key, line.pct)
        for phase, line in formula.placed_lines()
        if phase.kind not in _COLD_PHASES and not line.material.is_water
    )


def hot_pct(formula: Formula) -> Decimal:
    """What the hot phases are of the whole, their water included. [% w/w]

    Parameters
    ----------
    formula : Formula   Of a part.
    """
    return sum((line.pct for line in formula.composition().lines if line.kind not in _COLD_PHASES), Decimal(0))
