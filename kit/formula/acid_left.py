"""Acid that an amine finds once everything else in the product has had its own."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from kit.formula.aqueous_chemistry import Chemistry, chemistry_of
from kit.formula.charge import acid_groups
from kit.formula.composition import Composition, Share
from kit.formula.molar import mmol_per_100g
from kit.science.neutralisation import EQUIVALENCE_PH, charge_at_equivalence

BETWEEN_PH = EQUIVALENCE_PH
COLD_KINDS = ("cool-down", "adjust")


def acid_left_meq_per_100g(composition: Composition) -> Decimal | None:
    """Acid left for an amine once bases and alkaline salts have had theirs; may be negative. [meq/100 g]

    Parameters
    ----------
    composition : Composition   Meant, made or proposed.

    Returns
    -------
    Decimal   The negative charge at its equivalence of all that is not an amine; None when a fact is not known.

    Notes
    -----
    By whole protons, see `kit.science.neutralisation`, so that the number is linear in what the product holds. Without
    constants an acid counts by the groups stated, and a base by one proton a molecule.
    """
    parts = [
        _acid_left(share)
        for share in composition.shares().values()
        if share.pct > 0 and share.substance.category != "amine surfactant"
    ]
    return None if None in parts else sum(parts, Decimal(0))


def acid_left_hot_meq_per_100g(composition: Composition) -> Decimal | None:
    """The same of what stands in the hot phases alone: acid of the cool-down comes too late for a wax. [meq/100 g]"""
    hot = tuple(line for line in composition.lines if line.kind not in COLD_KINDS)
    return acid_left_meq_per_100g(replace(composition, lines=hot))


def _acid_left(share: Share) -> Decimal | None:
    substance, chemistry = share.substance, chemistry_of(share.substance).chemistry
    if chemistry is not None:
        return mmol_per_100g(substance, share.pct) * _protons_given(chemistry)
    if substance.category == "acid" or substance.acid_groups:
        groups = acid_groups(substance)
    else:
        groups = -1 if substance.category == "base" else 0
    if groups == 0:
        return Decimal(0)
    amount = mmol_per_100g(substance, share.pct)
    return None if amount is None or groups is None else amount * groups


def _protons_given(chemistry: Chemistry) -> int:
    """Protons that a formula unit has given up at an amine's equivalence, negative for one that has taken some."""
    return -chemistry.strong_charge - charge_at_equivalence(chemistry.pka, chemistry.protonated_charge)
