"""A change of supply form: the same INCI from another form, at equal grams, is another content of active."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from kit.formula.composition import Composition, show_pct
from kit.formula.material import Material
from kit.formula.rules import limits
from kit.formula.rules.findings import Finding, names


def form_changed(composition: Composition, parent: Composition) -> Iterable[Finding]:
    """Every supply form that took the place of another of the same INCI without its grams being worked out anew.

    Equal active is what is asked for: w_new = w_old x active_old / active_new. A change that keeps the active content
    passes in silence.

    Parameters
    ----------
    composition, parent : Composition   What is reviewed, and the version it came from.
    """
    gone, come = _forms(parent, composition), _forms(composition, parent)
    for inci in sorted(set(gone) & set(come)):
        old, new = gone[inci], come[inci]
        before, after = _pct(parent, old), _pct(composition, new)
        active_before, active_after = _active(parent, old, inci), _active(composition, new, inci)
        if abs(before - after) <= limits.SAME_PCT < abs(active_before - active_after):
            yield _finding(inci, old, new, (before, after), (active_before, active_after))


def _forms(composition: Composition, other: Composition) -> Mapping[str, list[Material]]:
    """By active INCI, the supply forms that stand here and not in the other."""
    there = {line.material.key for line in other.lines if line.pct > 0}
    found: dict[str, list[Material]] = {}
    for material in composition.materials():
        if material.key not in there and composition.pct(material.key) > 0:
            for part in material.parts:
                if part.role == "active":
                    found.setdefault(part.inci, []).append(material)
    return found


def _pct(composition: Composition, forms: list[Material]) -> Decimal:
    return sum((composition.pct(material.key) for material in forms), Decimal(0))


def _active(composition: Composition, forms: list[Material], inci: str) -> Decimal:
    return sum(
        (
            composition.pct(material.key) * part.pct / 100
            for material in forms
            for part in material.parts
            if part.inci == inci
        ),
        Decimal(0),
    )


def _finding(
    inci: str,
    old: list[Material],
    new: list[Material],
    grams: tuple[Decimal, Decimal],
    active: tuple[Decimal, Decimal],
) -> Finding:
    keeps = grams[1] * active[0] / active[1]
    words = (
        f"{names(material.name for material in new)} stands at {show_pct(grams[1])} % in place of "
        f"{names(material.name for material in old)} at {show_pct(grams[0])} %: equal grams, but the active {inci} "
        f"goes from {show_pct(active[0])} % to {show_pct(active[1])} %. For equal active take "
        f"{show_pct(keeps)} %, and mind "
        "what else the new form brings. If another content is meant, say why in the version."
    )
    about = tuple(material.key for material in new)
    return Finding("caution", "supply.form_changed", words, about, active[1], active[0], "arithmetic")
