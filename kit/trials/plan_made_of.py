"""What a plan is made of before it is drawn: every batch with its formula, the control set apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from math import ceil

from kit.formula.formula import Formula
from kit.formula.versions import resolved
from kit.show import Fielded
from kit.trials.plan_factors import LINE, Factor
from kit.trials.plan_layouts import ARMS, EFFECTS, Laid
from kit.trials.plan_model import Batch
from kit.trials.plan_points import CENTRE, CONTROL
from kit.trials.plan_repair import LaidOut

CONTROL_LABEL = "control"


@dataclass(frozen=True, slots=True)
class Item:
    """One batch before it has a day.

    Parameters
    ----------
    label, role : str     Of its point.
    formula : Formula     As planned.
    levels : tuple        Factor name and level; empty for a control outside the factors.
    whole_plot : int      Hot base it is taken from; 0 where it is made whole.
    """

    label: str
    role: str
    formula: Formula
    levels: tuple[tuple[str, Decimal], ...] = ()
    whole_plot: int = 0


@dataclass(frozen=True, repr=False)
class Making(Fielded):
    """All batches of a plan, not yet drawn.

    Parameters
    ----------
    laid : Laid            The layout.
    items : tuple          Batches; the control, made every day, stands among them once.
    days : int             How many.
    daily : int            Index of the control; None without one.
    notes : tuple of str   What to say about the control.
    """

    laid: Laid
    items: tuple[Item, ...]
    days: int
    daily: int | None
    notes: tuple[str, ...] = ()

    @property
    def control(self) -> str:
        """Fingerprint of the control; empty without one."""
        return "" if self.daily is None else self.items[self.daily].formula.fingerprint

    def every(self) -> list[int]:
        """Indices of all batches, the control as often as there are days."""
        return [place for place in range(len(self.items)) for _ in range(self.days if place == self.daily else 1)]

    def candidates(self) -> list[int]:
        """One index for each version: what one more batch could be made of."""
        seen: dict[str, int] = {}
        for place, item in enumerate(self.items):
            seen.setdefault(item.formula.fingerprint, place)
        return list(seen.values())

    def seen(self, place: int) -> Batch:
        """A batch as the model sees it, on day 1.

        Parameters
        ----------
        place : int   Its index.
        """
        item, levels = self.items[place], dict(self.items[place].levels)
        inside = bool(levels) and all(factor.name in levels for factor in self.laid.factors)
        coded = tuple(_place(factor, levels[factor.name], self.laid) for factor in self.laid.factors) if inside else ()
        real = tuple(float(levels[factor.name]) for factor in self.laid.factors) if inside else ()
        centre = CENTRE in (item.role, item.label.removeprefix(f"{CONTROL_LABEL}: "))
        return Batch(item.formula.fingerprint, item.label, 1, coded, centre, real, item.whole_plot)

    def repeated(self, place: int, role: str) -> Making:
        """The same with one batch made once more.

        Parameters
        ----------
        place : int   Its index.
        role : str    What the further batch is called.
        """
        return replace(self, items=(*self.items, replace(self.items[place], role=role)))


def makings(found: LaidOut, control: Formula | None, base: Formula, days: int, daily: int) -> Making:
    """All batches of a layout, with its control.

    Parameters
    ----------
    found : LaidOut      Points and formulas.
    control : Formula    Made every day; None for none.
    base : Formula       What is varied: as the control it stands on the line of a level series; another formula does
                         not.
    days : int           How many; 0 for as many as it takes at `daily` batches a day.
    daily : int          Batches a day, the control counted.
    """
    laid = found.laid
    items = [
        Item(point.label, point.role, made, point.levels, point.whole_plot)
        for point, made in zip(laid.points, found.formulas, strict=True)
    ]
    if control is None:
        count = days or ceil(len(items) / daily)
        return Making(laid, tuple(items), count, None)
    same = [place for place, item in enumerate(items) if item.formula.fingerprint == control.fingerprint]
    count = days or max(1, ceil((len(items) - min(len(same), 1)) / (daily - 1)))
    served = [place for place in same if not items[place].whole_plot][:count]
    kept = [item for place, item in enumerate(items) if place not in served]
    first = items[same[0]] if same else None
    is_base = control.fingerprint == base.fingerprint
    levels = first.levels if first else _own_levels(control, laid) if is_base else ()
    label = f"{CONTROL_LABEL}: {first.label}" if first else CONTROL_LABEL
    kept.append(Item(label, CONTROL, control, levels))
    return Making(laid, tuple(kept), count, len(kept) - 1, tuple(_control_notes(first, served, count)))


def _control_notes(first: Item | None, served: Sequence[int], days: int) -> list[str]:
    each = "on the one day" if days == 1 else f"on each of the {days} days"
    if first is None:
        return [f"The control, made {each}, is no point of the design: it carries the days and the scatter."]
    more = days - len(served)
    added = ""
    if more > 0:
        added = f" {more} of these batches {'is' if more == 1 else 'are'} over and above the design."
    return [f"The control is a point of the design ({first.label}), made {each}: its batches count for both.{added}"]


def _own_levels(control: Formula, laid: Laid) -> tuple[tuple[str, Decimal], ...]:
    """Where the control stands on the one factor of a level series; elsewhere it is outside the design."""
    if laid.judged != ARMS or len(laid.factors) != 1:
        return ()
    (factor,) = laid.factors
    if factor.kind == LINE:
        pct = resolved(control).get((factor.phase, factor.material.key), Decimal(0))
        return ((factor.name, pct * factor.active_pct / 100 if factor.basis == "active" else pct),)
    value = factor.setting.value(control.steps)
    return () if value is None else ((factor.name, value),)


def _place(factor: Factor, level: Decimal, laid: Laid) -> float:
    """A level as the model takes it: an amount of a mixture, else coded."""
    is_part = laid.judged not in (ARMS, EFFECTS) and factor.kind == LINE
    return float(level) if is_part else factor.coded(level)
