"""HLB: a hint, and only where nonionic emulsifiers stand in the formula. It never passes or fails anything.

Griffin 1949, J. Soc. Cosmet. Chem. 1:311 (from memory): ethoxylates and their like; meaningless for cationics and for
gel networks. Published figures of one oil differ by 1 to 3.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from kit.formula.charge import CATIONIC_SURFACTANTS, shares_of
from kit.formula.composition import Composition, Share
from kit.formula.material import Fact
from kit.formula.network import OILS
from kit.formula.rules.findings import PRACTICE, Finding, brought, digits, names


def hint(composition: Composition) -> Iterable[Finding]:
    """HLB of the nonionic emulsifiers beside what the oils are said to ask for."""
    emulsifiers, oils = shares_of(composition, "nonionic emulsifier"), shares_of(composition, *OILS)
    if not emulsifiers or not oils:
        return
    blend, blind = _mean([(share, share.substance.hlb) for share in emulsifiers])
    asked, blind_oils = _mean([(share, share.substance.required_hlb) for share in oils])
    if blend is None or asked is None:
        lacking = [share.substance.inci for share in (*blind, *blind_oils)]
        yield Finding("note", "facts.unknown", f"HLB hint (HLB of {names(lacking)})", brought((*blind, *blind_oils)))
        return
    part = f" ({names(share.substance.inci for share in (*blind, *blind_oils))} left out: not known)" if blind else ""
    part = part or (
        f" ({names(share.substance.inci for share in blind_oils)} left out: not known)" if blind_oils else ""
    )
    network = " The cationic and its alcohol carry the emulsion here, and HLB says nothing of them." * bool(
        shares_of(composition, *CATIONIC_SURFACTANTS)
    )
    words = (
        f"Hint: the nonionic emulsifiers ({names(share.substance.inci for share in emulsifiers)}) have an HLB of "
        f"{_span(blend)}, the oils are said to ask for {_span(asked)}{part}. Published figures of one oil "
        "differ by 1 to "
        f"3.{network}"
    )
    yield Finding("note", "network.hlb_hint", words, brought(emulsifiers), source=PRACTICE)


def _mean(items: list[tuple[Share, Fact | None]]) -> tuple[tuple[Decimal, Decimal] | None, list[Share]]:
    """Mean by mass of the low and of the high ends, over the parts that are known; and the parts that are not."""
    known = [(share.pct, fact) for share, fact in items if fact is not None]
    blind = [share for share, fact in items if fact is None]
    total = sum((pct for pct, _ in known), Decimal(0))
    if not total:
        return None, blind
    low = sum(pct * _end(fact, "low") for pct, fact in known) / total
    return (low, sum(pct * _end(fact, "high") for pct, fact in known) / total), blind


def _end(fact: Fact, end: str) -> Decimal:
    """One end of a range; of a single value, the value."""
    found = (getattr(fact, end), fact.value, fact.low, fact.high)
    return next(number for number in found if number is not None)


def _span(ends: tuple[Decimal, Decimal]) -> str:
    low, high = (digits(end, places=1) for end in ends)
    return low if low == high else f"{low} to {high}"
