"""The points of a plan as formulas: each balances exactly and carries what was changed as its reason."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.formula.swap import BASES
from kit.formula.versions import place_of, resolved
from kit.show import Fielded
from kit.trials.plan_factors import LINE, Factor
from kit.units import plain

RUN, CENTRE, CONTROL, REPEAT = "run", "centre", "control", "repeat"
EQUAL_MASS = "equal mass"
_SWAP = re.compile(r"^(?P<new>.+?)\s+for\s+(?P<old>.+?)(?:\s+at\s+(?P<at>equal .+))?$")


@dataclass(frozen=True, slots=True, repr=False)
class Swap(Fielded):
    """One material in place of another, at equal active content or at equal mass."""

    new: str
    old: str
    at: str

    @property
    def text(self) -> str:
        """As it is typed."""
        return f"{self.new} for {self.old} at {self.at}"


@dataclass(frozen=True, slots=True)
class Point:
    """One place of a design.

    Parameters
    ----------
    label : str              Short name within the plan, "cetearyl-alcohol 3.00 %" or "run 4".
    role : str               "run", "centre" or "control".
    levels : tuple           Factor name and level, in the order of the factors. [unit of the factor]
    swap : Swap              Of a plan of swaps.
    whole_plot : int         Hot base it is taken from, counted from 1; 0 where each batch is made whole.
    """

    label: str
    role: str
    levels: tuple[tuple[str, Decimal], ...] = ()
    swap: Swap | None = None
    whole_plot: int = 0


def read_swaps(formula: Formula, texts: Sequence[str]) -> tuple[Swap, ...]:
    """The swaps that were typed: "guar-gum for hydroxyethylcellulose", and how much where it is not equal active.

    Parameters
    ----------
    formula : Formula          Holds the material that is replaced.
    texts : sequence of str    "NEW for OLD", "NEW for OLD at equal mass", "... at equal active moles".

    Raises
    ------
    KitError        `plan.swap`.
    MaterialError   For a material that is not known.
    """
    found = []
    for text in [texts] if isinstance(texts, str) else texts:
        match = _SWAP.match(str(text).strip())
        at = (match["at"] or BASES[0]) if match else ""
        if not match or at not in (*BASES, EQUAL_MASS):
            raise KitError(
                f"{text!r} is no swap",
                where="factors of the plan",
                allowed=f"NEW for OLD, and behind it at {', '.join((*BASES, EQUAL_MASS))}",
                mend='write "guar-hydroxypropyltrimonium-chloride for hydroxyethylcellulose at equal mass"',
                code="plan.swap",
            )
        new = formula.find(match["new"], where="factors of the plan").key
        (phase, old), _ = place_of(formula, match["old"], "")
        homes = [place for place in resolved(formula) if place[1] == old]
        found.append(Swap(new, old if len(homes) < 2 else f"{phase}:{old}", at))
    return tuple(found)


def formula_at(base: Formula, factors: Sequence[Factor], point: Point, absorb: str) -> Formula:
    """The formula of a point; the base itself where nothing differs from it.

    Parameters
    ----------
    base : Formula     As meant, before anything is varied.
    factors : Factor   What is varied.
    point : Point      Where.
    absorb : str       Who makes room for a change: "water", "proportional" or a line's key.

    Returns
    -------
    Formula   Its lines add up to 100 % exactly; its label is that of the base and six digits of its fingerprint, so
              that the same content always has the same label.

    Raises
    ------
    KitError       `plan.balance` where the lines do not add up.
    FormulaError   As `change` and `swap`.
    """
    made = _swapped(base, point, absorb) if point.swap else _changed(base, factors, dict(point.levels), absorb)
    if made.fingerprint == base.fingerprint:
        return base
    _check_balance(made, point)
    label = f"{base.version}.{made.fingerprint[:6]}"
    return replace(made, version=label, parent=base.fingerprint, why=point.label, file="")


def _changed(base: Formula, factors: Sequence[Factor], levels: dict[str, Decimal], absorb: str) -> Formula:
    pcts = resolved(base)
    changes = {}
    for factor in factors:
        if factor.kind != LINE or factor.name not in levels:
            continue
        pct = factor.supplied(levels[factor.name])
        if pcts.get((factor.phase, factor.material.key), Decimal(0)) != pct:
            changes[f"{factor.phase}:{factor.material.key}"] = plain(pct)
    made = base.change(changes, absorb=absorb) if changes else base
    steps = base.steps
    for factor in factors:
        if factor.setting is not None and factor.name in levels and factor.setting.value(steps) != levels[factor.name]:
            steps = factor.setting.put(steps, levels[factor.name])
    return made if steps == base.steps else replace(made, steps=steps)


def _swapped(base: Formula, point: Point, absorb: str) -> Formula:
    swap = point.swap
    if swap.at != EQUAL_MASS:
        return base.swap(swap.new, for_=swap.old, at=swap.at, absorb=absorb)
    place, _ = place_of(base, swap.old, "")
    there = resolved(base).get((place[0], swap.new), Decimal(0))
    changes = {f"{place[0]}:{place[1]}": "0 %", f"{place[0]}:{swap.new}": plain(there + resolved(base)[place])}
    return base.change(changes, absorb=absorb)


def _check_balance(made: Formula, point: Point) -> None:
    total = made.composition().total
    negative = [line.material.key for line in made.composition().lines if line.pct < 0]
    if total == 100 and not negative:
        return
    what = f"{', '.join(negative)} would be negative" if negative else f"the lines add up to {plain(total)} %"
    raise KitError(
        f"{point.label}: {what}",
        where=made.title,
        allowed="lines of 0 % and more that add up to 100 %",
        mend="narrow the levels, or let another line make room (absorb=)",
        code="plan.balance",
    )
