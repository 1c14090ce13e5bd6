"""Changed lines first: what each arm's formula has otherwise than the control's, and who took up the change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.composition import show_pct
from kit.formula.versions import FormulaDiff, diff, resolved
from kit.show import Fielded, Worded
from kit.trials.arms import Arm
from kit.trials.wording import ABSENT


@dataclass(frozen=True, repr=False)
class Changed(Worded):
    """One line that some arm has otherwise than the control.

    Parameters
    ----------
    material, phase : str    Name of the supply form, and its phase.
    absorbs : bool           Whether it takes up the change of the others.
    pcts : tuple of Decimal  One an arm, the control first; None where the line is absent. [% w/w]
    words : tuple of str     The same as printed: "5.00", "5.00 → 6.00 %, +1.00 pp, +20 %".
    largest : Decimal        The largest change of any arm, without its sign. [percentage points]
    """

    material: str
    phase: str
    absorbs: bool
    pcts: tuple[Decimal | None, ...]
    words: tuple[str, ...]
    largest: Decimal


@dataclass(frozen=True, repr=False)
class Changes(Fielded):
    """The meant formulas of the arms beside the control's.

    Parameters
    ----------
    lines : tuple of Changed        Largest change first, the absorbing line last.
    identical : int                 Lines that every arm has as the control has them.
    diffs : tuple of FormulaDiff    Control to arm, one an arm; the first is empty.
    totals : tuple of Decimal       Total of each arm. [% w/w]
    """

    lines: tuple[Changed, ...]
    identical: int
    diffs: tuple[FormulaDiff, ...]
    totals: tuple[Decimal, ...]


def changes_of(arms: Sequence[Arm]) -> Changes:
    """What the arms' formulas have otherwise than that of `arms[0]`."""
    control = arms[0].formula
    diffs = tuple(diff(control, arm.formula) for arm in arms)
    changed = [{(item.phase, item.material.key): item for item in found.lines} for found in diffs]
    places = dict.fromkeys(place for found in changed for place in found)
    before, after = resolved(control), [resolved(arm.formula) for arm in arms]
    lines = []
    for place in places:
        items = [found[place] for found in changed if place in found]
        pcts = tuple(pct.get(place) for pct in after)
        words = tuple(found[place].words() if place in found else _pct(before.get(place)) for found in changed)
        lines.append(
            Changed(
                items[0].material.name,
                place[0],
                any(item.absorbs for item in items),
                pcts,
                words,
                max(abs(item.delta) for item in items),
            )
        )
    lines.sort(key=lambda line: (line.absorbs, -line.largest, line.material, line.phase))
    totals = tuple(arm.formula.composition().total for arm in arms)
    return Changes(tuple(lines), sum(1 for place in before if place not in places), diffs, totals)


def _pct(value: Decimal | None) -> str:
    return ABSENT if value is None else show_pct(value)
