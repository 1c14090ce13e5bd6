"""The gel network: alcohol to cationic by moles, judged by type of cationic, and what the network carries.

Limits are common practice, no source; the anchor is the complex of a single-chain quaternary, complete near 3 mol of
fatty alcohol (Fukushima et al. 1986, J. Soc. Cosmet. Chem. Japan 20:103).
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from kit.formula.charge import CATIONIC_SURFACTANTS, shares_of
from kit.formula.composition import Composition, CompositionLine
from kit.formula.network import (
    OILS,
    amount_mmol_per_100g,
    content_pct,
    lipid_share,
    network_lipid_content,
    two_chained,
)
from kit.formula.rules import limits
from kit.formula.rules.findings import (
    PRACTICE,
    Finding,
    brought,
    digits,
    line_keys,
    names,
)
from kit.formula.rules.judged import Amount, Content, Judged, Number, quotient

ALCOHOL = Number((Content(("fatty alcohol",)),))
CATIONIC = Number((Content(CATIONIC_SURFACTANTS),))
RATIO = Number((Amount(("fatty alcohol",)), Amount(CATIONIC_SURFACTANTS)), quotient)
LIPID = Number((network_lipid_content, Content(("water",))), lipid_share)
OIL_LOAD = Number((Content(OILS), network_lipid_content), quotient)


def ratio(composition: Composition) -> Iterable[Finding]:
    """Below 2 the network is thin; above 8 it may grow grains, which a blend low in quaternary is made for."""
    if not shares_of(composition, *CATIONIC_SURFACTANTS):
        return
    found = RATIO.of(composition)
    if found is None:
        yield _ratio_unknown(composition)
    elif found < limits.RATIO_THIN:
        yield from _ratio_low(composition, found)
    elif found > limits.RATIO_GRAIN:
        yield from _ratio_high(composition, found)


def without_cationic(composition: Composition) -> Iterable[Finding]:
    """A rinse-off conditioner without a cationic surfactant: nothing is drawn to the hair, and no network forms."""
    if composition.product != "rinse-off hair" or shares_of(composition, *CATIONIC_SURFACTANTS):
        return
    polymers = shares_of(composition, "cationic polymer")
    if shares_of(composition, "water"):
        only = f", only a polymer ({names(share.substance.inci for share in polymers)})" if polymers else ""
        words = (
            f"No cationic surfactant{only}: little is drawn to the hair, and fatty alcohol alone builds no gel network "
            "that lasts. Check for a line left out, or for a cationic entered under another name."
        )
        yield Finding("caution", "network.no_cationic", words, brought(polymers), source=PRACTICE)


def ratio_judged(composition: Composition) -> Iterable[Judged]:
    """The ratio, and which share of the cationic comes in with alcohol around it."""
    if shares_of(composition, *CATIONIC_SURFACTANTS) and RATIO.of(composition) is not None:
        yield Judged(RATIO, (limits.RATIO_LOW, limits.RATIO_THIN, limits.RATIO_GRAIN, limits.RATIO_HIGH))
        yield Judged(Number((_blended_excess,)), (Decimal(0),))


def blend_alcohol(composition: Composition) -> Iterable[Finding]:
    """Fatty alcohol that comes in with a cationic blend and stands on no line of its own."""
    lines = [line for line in composition.lines if _alcohol_in_blend(line) > 0]
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
    alcohol, cationic = ALCOHOL.of(composition), CATIONIC.of(composition)
    if alcohol > limits.ALCOHOL_PCT:
        words = (
            f"Fatty alcohol of all sources: {digits(alcohol, limits.ALCOHOL_PCT)} %, above the usual "
            f"{limits.ALCOHOL_PCT} %: stiff, waxy, slow to rinse. Lower it, blends included."
        )
        yield _load("network.alcohol_high", words, composition, ("fatty alcohol",), alcohol, limits.ALCOHOL_PCT)
    if cationic > limits.CATIONIC_PCT:
        words = (
            f"Active cationic surfactant: {digits(cationic, limits.CATIONIC_PCT)} %, above the usual "
            f"{limits.CATIONIC_PCT} %: harsher to eyes and skin, heavy on hair. Lower it."
        )
        yield _load("network.cationic_high", words, composition, CATIONIC_SURFACTANTS, cationic, limits.CATIONIC_PCT)


def loads_judged(composition: Composition) -> Iterable[Judged]:
    """Alcohol and cationic."""
    del composition
    yield Judged(ALCOHOL, (limits.ALCOHOL_PCT,))
    yield Judged(CATIONIC, (limits.CATIONIC_PCT,))


def lipid(composition: Composition) -> Iterable[Finding]:
    """Network lipid in water plus network: what there is to hold the water."""
    if not _network_and_water(composition):
        return
    found, (low, high) = LIPID.of(composition), limits.NETWORK_LIPID_PCT
    if found is not None and not low <= found <= high:
        code, side, bound, judged = (
            ("network.lipid_low", "below", low, "little network to hold the water: expect a thin product")
            if found < low
            else ("network.lipid_high", "above", high, "a stiff network: hard to pump, slow to rinse")
        )
        words = (
            f"Network lipid (fatty alcohol, active cationic, half of wax esters and nonionic emulsifiers) is "
            f"{digits(found, bound)} % of water plus network, {side} the usual {bound} %: {judged}."
        )
        about = _bringing(composition, "fatty alcohol", *CATIONIC_SURFACTANTS)
        yield Finding("note", code, words, about, found, bound, PRACTICE)


def lipid_judged(composition: Composition) -> Iterable[Judged]:
    """The network lipid."""
    if _network_and_water(composition):
        yield Judged(LIPID, limits.NETWORK_LIPID_PCT)


def oil_load(composition: Composition) -> Iterable[Finding]:
    """Oil against the network that has to carry it: oil dissolves alcohol and cationic out of the network."""
    if not _network_and_oil(composition):
        return
    found = OIL_LOAD.of(composition)
    if found > limits.OIL_PER_LIPID:
        severity, bound = (
            ("caution", limits.OIL_PER_LIPID_HIGH)
            if found > limits.OIL_PER_LIPID_HIGH
            else ("note", limits.OIL_PER_LIPID)
        )
        words = (
            f"{digits(content_pct(composition, *OILS))} % of oils, esters and silicones stands against "
            f"{digits(network_lipid_content(composition))} % of network lipid, {digits(found, bound)} g/g, "
            f"above {bound}: "
            "oil draws alcohol and cationic out of the network, so more of it makes the product thinner and may part "
            "from it. Lower the oil or raise the alcohol."
        )
        yield Finding(severity, "network.oil_load", words, _bringing(composition, *OILS), found, bound, PRACTICE)


def oil_load_judged(composition: Composition) -> Iterable[Judged]:
    """Oil per network lipid."""
    if _network_and_oil(composition):
        yield Judged(OIL_LOAD, (limits.OIL_PER_LIPID, limits.OIL_PER_LIPID_HIGH))


def _network_and_water(composition: Composition) -> bool:
    return bool(shares_of(composition, *CATIONIC_SURFACTANTS) and shares_of(composition, "water"))


def _network_and_oil(composition: Composition) -> bool:
    return bool(shares_of(composition, *CATIONIC_SURFACTANTS) and shares_of(composition, *OILS))


def _ratio_unknown(composition: Composition) -> Finding:
    lacking = [
        share.substance.inci
        for share in shares_of(composition, "fatty alcohol", *CATIONIC_SURFACTANTS)
        if amount_mmol_per_100g(composition, share.substance.category) is None
    ]
    return Finding(
        "note",
        "facts.unknown",
        f"fatty alcohol:cationic (molar mass among {names(lacking)})",
        _bringing(composition, *CATIONIC_SURFACTANTS),
    )


def _ratio_low(composition: Composition, found: Decimal) -> Iterable[Finding]:
    about = _bringing(composition, *CATIONIC_SURFACTANTS)
    two_tailed = all(two_chained(share.substance) for share in shares_of(composition, *CATIONIC_SURFACTANTS))
    if found >= limits.RATIO_LOW:
        if not two_tailed:
            words = f"{_ratio_words(composition, found, limits.RATIO_THIN, 'below')}: on the thin side. Usual: 3 to 5."
            yield Finding("note", "network.ratio_thin", words, about, found, limits.RATIO_THIN, PRACTICE)
        return
    judged = (
        "two-chain cationics build bilayers with little alcohol, so this may be meant"
        if two_tailed
        else "thin, with free cationic that bites eyes and skin. Raise the alcohol or lower the cationic; usual: 3 to 5"
    )
    words = f"{_ratio_words(composition, found, limits.RATIO_LOW, 'below')}: {judged}."
    severity = "note" if two_tailed else "caution"
    yield Finding(severity, "network.ratio_low", words, about, found, limits.RATIO_LOW, PRACTICE)


def _ratio_high(composition: Composition, found: Decimal) -> Iterable[Finding]:
    about, low_quat = _bringing(composition, "fatty alcohol"), _blended_excess(composition) >= 0
    if found <= limits.RATIO_HIGH:
        if not low_quat:
            words = (
                f"{_ratio_words(composition, found, limits.RATIO_GRAIN, 'above')}: some risk of grain on storage. "
                "Usual: 3 to 5."
            )
            yield Finding("note", "network.ratio_grain", words, about, found, limits.RATIO_GRAIN, PRACTICE)
        return
    judged = (
        "usual for a blend low in quaternary; watch for grain on storage"
        if low_quat
        else "alcohol may crystallise into grains; slip is poor. Lower the alcohol or raise the cationic; usual: 3 to 5"
    )
    words = f"{_ratio_words(composition, found, limits.RATIO_HIGH, 'above')}: {judged}."
    severity = "note" if low_quat else "caution"
    yield Finding(severity, "network.ratio_high", words, about, found, limits.RATIO_HIGH, PRACTICE)


def _ratio_words(composition: Composition, found: Decimal, bound: Decimal, side: str) -> str:
    amine = " (the amine counted as if fully neutralised)" if shares_of(composition, "amine surfactant") else ""
    return (
        f"Fatty alcohol:cationic is {digits(found, bound)} mol/mol "
        f"({digits(content_pct(composition, 'fatty alcohol'))} % alcohol of all sources), {side} {bound}{amine}"
    )


def _load(
    code: str, words: str, composition: Composition, categories: tuple[str, ...], found: Decimal, bound: Decimal
) -> Finding:
    return Finding("caution", code, words, _bringing(composition, *categories), found, bound, PRACTICE)


def _blended_excess(composition: Composition) -> Decimal:
    """Zero or more where at least half of the active cationic comes in with fatty alcohol around it. [% w/w]"""
    blended = sum(
        (_part_pct(line, *CATIONIC_SURFACTANTS) for line in composition.lines if _alcohol_in_blend(line)), Decimal(0)
    )
    return 2 * blended - content_pct(composition, *CATIONIC_SURFACTANTS)


def _alcohol_in_blend(line: CompositionLine) -> Decimal:
    return _part_pct(line, "fatty alcohol") if _part_pct(line, *CATIONIC_SURFACTANTS) > 0 else Decimal(0)


def _part_pct(line: CompositionLine, *categories: str) -> Decimal:
    return sum(
        (line.pct * part.pct / 100 for part in line.material.parts if part.substance.category in categories), Decimal(0)
    )


def _bringing(composition: Composition, *categories: str) -> tuple[str, ...]:
    return brought(shares_of(composition, *categories))
