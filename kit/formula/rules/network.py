"""The gel network: alcohol to cationic by moles, total alcohol, total cationic, alcohol hidden in a blend.

Limits are common practice, no source; the anchor is the complex of a single-chain quaternary, complete near 3 mol of
fatty alcohol (Fukushima et al. 1986, J. Soc. Cosmet. Chem. Japan 20:103).
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from kit.formula.charge import CATIONIC_SURFACTANTS, shares_of
from kit.formula.composition import Composition, CompositionLine
from kit.formula.network import (
    alcohol_cationic_ratio,
    amount_mmol_per_100g,
    content_pct,
)
from kit.formula.rules.findings import (
    PRACTICE,
    Finding,
    brought,
    digits,
    line_keys,
    names,
)

_RATIO_LOW, _RATIO_HIGH = Decimal(2), Decimal(8)
_ALCOHOL_HIGH, _CATIONIC_HIGH = Decimal(10), Decimal(5)


def ratio(composition: Composition) -> Iterable[Finding]:
    """Below 2 the network is thin; above 8 it may grow grains, which a blend low in quaternary is made for."""
    found = alcohol_cationic_ratio(composition)
    if found is None:
        yield from _ratio_unknown(composition)
    elif found < _RATIO_LOW:
        yield _ratio_low(composition, found)
    elif found > _RATIO_HIGH:
        yield _ratio_high(composition, found)


def blend_alcohol(composition: Composition) -> Iterable[Finding]:
    """Fatty alcohol that comes in with a cationic blend and stands on no line of its own."""
    lines = [line for line in composition.lines if _alcohol_in_blend(line)]
    hidden = sum((_alcohol_in_blend(line) for line in lines), Decimal(0))
    if lines:
        words = (
            f"{digits(hidden)} % of fatty alcohol comes in with {names(line.material.name for line in lines)}; with "
            f"it the formula holds {digits(content_pct(composition, 'fatty alcohol'))} %, and that total counts in "
            "the ratio and on the label."
        )
        yield Finding("note", "network.blend_alcohol", words, line_keys(lines), hidden, source="arithmetic")


def loads(composition: Composition) -> Iterable[Finding]:
    """Total fatty alcohol and total active cationic."""
    alcohol, cationic = content_pct(composition, "fatty alcohol"), content_pct(composition, *CATIONIC_SURFACTANTS)
    if alcohol > _ALCOHOL_HIGH:
        words = (
            f"Fatty alcohol of all sources: {digits(alcohol, _ALCOHOL_HIGH)} %, above the usual {_ALCOHOL_HIGH} %: "
            "stiff, waxy, slow to rinse. Lower it, blends included."
        )
        yield Finding(
            "caution",
            "network.alcohol_high",
            words,
            _bringing(composition, "fatty alcohol"),
            alcohol,
            _ALCOHOL_HIGH,
            PRACTICE,
        )
    if cationic > _CATIONIC_HIGH:
        words = (
            f"Active cationic surfactant: {digits(cationic, _CATIONIC_HIGH)} %, above the usual {_CATIONIC_HIGH} %: "
            "harsher to eyes and skin, heavy on hair. Lower it."
        )
        yield Finding(
            "caution",
            "network.cationic_high",
            words,
            _bringing(composition, *CATIONIC_SURFACTANTS),
            cationic,
            _CATIONIC_HIGH,
            PRACTICE,
        )


def _ratio_unknown(composition: Composition) -> Iterable[Finding]:
    if amount_mmol_per_100g(composition, *CATIONIC_SURFACTANTS) != 0:
        lacking = [
            share.substance.inci
            for share in shares_of(composition, "fatty alcohol", *CATIONIC_SURFACTANTS)
            if amount_mmol_per_100g(composition, share.substance.category) is None
        ]
        yield Finding(
            "note",
            "facts.unknown",
            f"fatty alcohol:cationic (molar mass among {names(lacking)})",
            _bringing(composition, *CATIONIC_SURFACTANTS),
        )


def _ratio_low(composition: Composition, found: Decimal) -> Finding:
    cationics = shares_of(composition, *CATIONIC_SURFACTANTS)
    two_tailed = all(_two_tailed(share.substance.inci) for share in cationics)
    judged = (
        "two-chain cationics build bilayers with little alcohol, so this may be meant"
        if two_tailed
        else "thin, with free cationic that bites eyes and skin. Raise the alcohol or lower the cationic; usual: 3 to 5"
    )
    words = (
        f"Fatty alcohol:cationic is {digits(found, _RATIO_LOW)} mol/mol "
        f"({digits(content_pct(composition, 'fatty alcohol'))} % alcohol of all sources), below "
        f"{_RATIO_LOW}{_amine(composition)}: {judged}."
    )
    return Finding(
        "note" if two_tailed else "caution",
        "network.ratio_low",
        words,
        _bringing(composition, *CATIONIC_SURFACTANTS),
        found,
        _RATIO_LOW,
        PRACTICE,
    )


def _ratio_high(composition: Composition, found: Decimal) -> Finding:
    low_quat = _mostly_from_blends(composition)
    judged = (
        "usual for a blend low in quaternary; watch for grain on storage"
        if low_quat
        else "alcohol may crystallise into grains; slip is poor. Lower the alcohol or raise the cationic; usual: 3 to 5"
    )
    words = (
        f"Fatty alcohol:cationic is {digits(found, _RATIO_HIGH)} mol/mol "
        f"({digits(content_pct(composition, 'fatty alcohol'))} % alcohol of all sources), above "
        f"{_RATIO_HIGH}{_amine(composition)}: {judged}."
    )
    return Finding(
        "note" if low_quat else "caution",
        "network.ratio_high",
        words,
        _bringing(composition, "fatty alcohol"),
        found,
        _RATIO_HIGH,
        PRACTICE,
    )


def _two_tailed(inci: str) -> bool:
    """Dialkyl quaternaries and diesterquats carry it in their INCI name: Distearyldimonium, Dipalmitoylethyl ..."""
    return inci.lower().startswith("di")


def _mostly_from_blends(composition: Composition) -> bool:
    """Whether half or more of the active cationic comes in with fatty alcohol around it."""
    blended = sum(
        (_part_pct(line, *CATIONIC_SURFACTANTS) for line in composition.lines if _alcohol_in_blend(line)), Decimal(0)
    )
    return 2 * blended >= content_pct(composition, *CATIONIC_SURFACTANTS)


def _alcohol_in_blend(line: CompositionLine) -> Decimal:
    return _part_pct(line, "fatty alcohol") if _part_pct(line, *CATIONIC_SURFACTANTS) > 0 else Decimal(0)


def _part_pct(line: CompositionLine, *categories: str) -> Decimal:
    return sum(
        (line.pct * part.pct / 100 for part in line.material.parts if part.substance.category in categories), Decimal(0)
    )


def _amine(composition: Composition) -> str:
    return " (the amine counted as if fully neutralised)" if shares_of(composition, "amine surfactant") else ""


def _bringing(composition: Composition, *categories: str) -> tuple[str, ...]:
    return brought(shares_of(composition, *categories))
