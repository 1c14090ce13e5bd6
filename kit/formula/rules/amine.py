"""Amidoamines: a wax until acid makes them cationic; and what concentrated lactic acid does later."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from kit.formula.acid_left import BETWEEN_PH, acid_left_hot_meq_per_100g, acid_left_meq_per_100g
from kit.formula.charge import amine_meq_per_100g, shares_of
from kit.formula.composition import Composition
from kit.formula.rules import limits
from kit.formula.rules.findings import PRACTICE, Finding, brought, digits, keys, names
from kit.formula.rules.judged import Judged, Number, quotient

ACID_PER_AMINE = Number((acid_left_meq_per_100g, amine_meq_per_100g), quotient)
HOT_ACID_PER_AMINE = Number((acid_left_hot_meq_per_100g, amine_meq_per_100g), quotient)
_COUNTED = "The amine is counted by its molar mass: a lot's amine value overrules it."


def acidified(composition: Composition) -> Iterable[Finding]:
    """An amine needs one equivalent of acid to be a cationic; near one no pH is predicted, and the finding says so."""
    amines = shares_of(composition, "amine surfactant")
    if not amines:
        return
    found = ACID_PER_AMINE.of(composition)
    if found is None:
        words = "whether the acid neutralises the amine (molar mass or pKa)"
        yield Finding("note", "facts.unknown", words, brought(amines))
        return
    severity, code, limit, judged = _verdict(found)
    acid, amine = (part(composition) for part in ACID_PER_AMINE.parts)
    met = f"{digits(acid, amine)} meq/100 g of acid" if acid > 0 else "no acid that is left over"
    words = (
        f"{names(share.substance.inci for share in amines)} ({digits(amine)} meq/100 g) meets {met} "
        f"(protons given up by pH {BETWEEN_PH}, less what bases and alkaline salts take), "
        f"{digits(max(found, Decimal(0)), limit, 3)} equivalents: {judged} {_COUNTED}"
    )
    yield Finding(severity, code, words, brought(amines), found, limit, PRACTICE)


def acidified_hot(composition: Composition) -> Iterable[Finding]:
    """The acid must be there when the phases meet: what the cool-down brings finds the wax already set."""
    amines = shares_of(composition, "amine surfactant")
    hot = HOT_ACID_PER_AMINE.of(composition) if amines else None
    whole = ACID_PER_AMINE.of(composition) if amines else None
    if hot is None or whole is None or hot >= limits.AMINE_STOP or whole < limits.AMINE_STOP:
        return
    told_hot, told_whole = (digits(max(number, Decimal(0)), limits.AMINE_STOP) for number in (hot, whole))
    words = (
        f"{names(share.substance.inci for share in amines)} meets only {told_hot} equivalents of acid when the phases "
        f"meet; {told_whole} with the acid of the cool-down, which comes too late: the rest stays a wax, and the batch "
        "turns grainy or parts. Move acid to the water phase."
    )
    yield Finding("stop", "charge.amine_acid", words, brought(amines), hot, limits.AMINE_STOP, PRACTICE)


def acidified_hot_judged(composition: Composition) -> Iterable[Judged]:
    """Equivalents of acid per amine, hot and in all: the finding needs both."""
    if shares_of(composition, "amine surfactant") and ACID_PER_AMINE.of(composition) is not None:
        yield Judged(HOT_ACID_PER_AMINE, (limits.AMINE_STOP,))
        yield Judged(ACID_PER_AMINE, (limits.AMINE_STOP,))


def acidified_judged(composition: Composition) -> Iterable[Judged]:
    """Equivalents of acid per amine."""
    if shares_of(composition, "amine surfactant") and ACID_PER_AMINE.of(composition) is not None:
        yield Judged(ACID_PER_AMINE, (limits.AMINE_STOP, limits.AMINE_SHORT, limits.AMINE_ENOUGH))


def lactic_oligomers(composition: Composition) -> Iterable[Finding]:
    """Concentrated lactic acid lets go of more acid for days: the pH of the first hour is not the last."""
    strong = [
        material
        for material in composition.materials()
        if composition.pct(material.key) > 0
        and any(
            part.inci == "Lactic Acid" and part.pct > limits.LACTIC_OLIGOMERS_PCT and not material.made_from
            for part in material.parts
        )
    ]
    if strong:
        words = (
            f"{names(material.name for material in strong)} is above {limits.LACTIC_OLIGOMERS_PCT} % and holds "
            "oligomers that give up more acid for days: the pH falls after making. Read it again at 24 h and 7 "
            "d before "
            "correcting it, or use an aged 10 % stock."
        )
        yield Finding("note", "acid.lactic_oligomers", words, keys(strong), source="vu-2005; " + PRACTICE)


def _verdict(found: Decimal) -> tuple[str, str, Decimal, str]:
    """Severity, code, limit and what it means."""
    if found < limits.AMINE_SHORT:
        severity = "stop" if found < limits.AMINE_STOP else "caution"
        mean = "the rest stays a wax, and the batch turns grainy or parts. Add acid to the water phase."
        return severity, "charge.amine_acid", limits.AMINE_SHORT, mean
    if found <= limits.AMINE_ENOUGH:
        mean = (
            "within 3 % of equivalence it cannot be predicted what pH that gives: the spread of the amine's assay "
            "alone moves it by two units. Add acid to the water phase."
        )
        return "caution", "charge.amine_near", limits.AMINE_ENOUGH, mean
    return "note", "charge.amine_counted", limits.AMINE_ENOUGH, "more than one. It counts as fully neutralised."
