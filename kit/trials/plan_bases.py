"""The hot bases of a split plot: what each is made of, and how it is divided into its parts."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kit.formula.formula import Formula
from kit.show import Table
from kit.trials.plan_crossed import hot_pct
from kit.trials.plan_data import PlanData, PlannedBatch
from kit.units import plain

_STEP = Decimal("0.01")  # of a portion that is weighed [g]


def bases_table(plan: PlanData) -> Table | None:
    """Each part of each hot base: grams of base, and of the water held back for it; None where nothing is divided.

    Parameters
    ----------
    plan : PlanData   As planned. The base is made with the least water that one of its parts has; what another part
                      has more goes in cold.
    """
    bases: dict[int, list[PlannedBatch]] = {}
    for batch in plan.batches:
        if batch.base:
            bases.setdefault(batch.base, []).append(batch)
    if not bases:
        return None
    rows = [row for base, parts in sorted(bases.items()) for row in _base_rows(plan, base, parts)]
    return Table(
        ("hot base", "batch", "part", "of the base, g", "water added cold, g"),
        rows,
        title="Hot bases and how they are divided",
        note="A base is made with the least water that one of its parts has; loss on the way is not counted. Divide it "
        "hot or at one temperature, and weigh each part back: parts of one base are one making.",
        numeric=frozenset({1, 3, 4}),
    )


def _base_rows(plan: PlanData, base: int, parts: Sequence[PlannedBatch]) -> list[tuple[str, ...]]:
    formulas = {batch.order: plan.version(batch.version).formula for batch in parts}
    least = min(map(hot_pct, formulas.values()))
    portion = _grams(plan, least)
    rows = [
        (str(base), str(batch.order), batch.label, plain(portion), plain(_extra(plan, formulas[batch.order], least)))
        for batch in parts
    ]
    return [*rows, (str(base), "", "all parts", plain(portion * len(parts)), "")]


def _extra(plan: PlanData, formula: Formula, least: Decimal) -> Decimal:
    return _grams(plan, hot_pct(formula) - least)


def _grams(plan: PlanData, pct: Decimal) -> Decimal:
    return (plan.batch_g * pct / 100).quantize(_STEP)
