"""What a challenge-test result holds for: the formula, batch, pH and age tested, and nothing that differs from them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.composition import Composition, show_pct
from kit.units import plain

# What makes another preservative system, common practice, no source: a change of one of these asks for a new test.
SYSTEM = ("preservative", "preservative booster", "chelator", "fragrance")
PH_WITHIN = Decimal("0.2")
SAME_WITHIN = Decimal("0.05")  # of the content itself: weighing, not a change


@dataclass(frozen=True, slots=True)
class Scope:
    """Whether a result holds for a composition at a pH: True, False for another formula, None where it is not known.

    `reasons` are what makes it another formula, or what is not known; `also` what else differs and is not judged here.
    """

    holds: bool | None
    reasons: tuple[str, ...] = ()
    also: tuple[str, ...] = ()

    def words(self) -> str:
        """One sentence: "other formula: Phenoxyethanol 0.80 to 0.60 %"."""
        start = {True: "same preservative system", False: "other formula", None: "not known whether it holds"}[
            self.holds
        ]
        told = f"{start}: {'; '.join(self.reasons)}" if self.reasons else start
        if self.also:
            told += f". Also changed, for the assessor to judge: {'; '.join(self.also)}"
        return told

    def __str__(self) -> str:
        return self.words()

    __repr__ = __str__

    def _repr_html_(self) -> str:
        from kit.show import paragraph

        return paragraph(self)


def scope_of(tested: Composition, tested_ph: Decimal | None, composition: Composition, ph: Decimal | None) -> Scope:
    """Whether what was tested is still the preservative system of a composition at a pH.

    Parameters
    ----------
    tested : Composition        What was tested, as made.
    tested_ph : Decimal         Its pH; None where the report does not say. [-]
    composition : Composition   What is asked about.
    ph : Decimal                Its pH; None where it is not known. [-]

    Notes
    -----
    Another preservative, booster, chelator or fragrance, or one whose content differs by more than 5 % of itself, or a
    pH more than 0.2 away, makes it another formula (common practice, no source). A fragrance is told by its supply
    form, for all are Parfum on a label.
    """
    changed = list(_changes(_system(tested), _system(composition)))
    unknown = [f"the pH {whose} is not known" for whose, value in (("tested", tested_ph), ("now", ph)) if value is None]
    if not unknown and abs(ph - tested_ph) > PH_WITHIN:
        changed.append(f"pH {plain(tested_ph)} tested, {plain(ph)} now, more than {PH_WITHIN} apart")
    also = tuple(_changes(_rest(tested), _rest(composition)))
    if changed:
        return Scope(False, tuple(changed), also)
    return Scope(None, tuple(unknown), also) if unknown else Scope(True, (), also)


def _system(composition: Composition) -> dict[str, Decimal]:
    """Content by ingredient of what makes the preservative system; a fragrance by its supply form. [% w/w]"""
    held: dict[str, Decimal] = {}
    for line in composition.lines:
        for part in line.material.parts:
            if part.substance.category in SYSTEM:
                scent = part.substance.category == "fragrance"
                name = f"{part.inci} ({line.material.name})" if scent else part.inci
                held[name] = held.get(name, Decimal(0)) + line.pct * part.pct / 100
    return held


def _rest(composition: Composition) -> dict[str, Decimal]:
    return {inci: share.pct for inci, share in composition.shares().items() if share.substance.category not in SYSTEM}


def _changes(before: dict[str, Decimal], after: dict[str, Decimal]) -> Iterator[str]:
    for name in dict.fromkeys([*before, *after]):
        old, new = before.get(name, Decimal(0)), after.get(name, Decimal(0))
        if not old and new:
            yield f"{name} {show_pct(new)} % added"
        elif old and not new:
            yield f"{name} taken out, was {show_pct(old)} %"
        elif abs(new - old) > SAME_WITHIN * old:
            yield f"{name} {show_pct(old)} to {show_pct(new)} %"
