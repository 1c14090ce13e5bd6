"""Limits of law: read from kit/data/caps.toml, held against INCI parts on the basis the entry names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from kit.formula.composition import Composition, Share
from kit.formula.molar import known_molar_mass, molar_mass
from kit.formula.rules.findings import Finding, brought, digits, names
from kit.sources import read_data
from kit.units import plain

_NEAR = Fraction(95, 100)


@dataclass(frozen=True, slots=True)
class Member:
    """One INCI ingredient a limit counts.

    `counted_as` names what it is converted to, `ratio` is mol of that per mol of it.
    """

    inci: str
    counted_as: str = ""
    ratio: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True)
class Cap:
    """One limit of law. [% w/w of the product, on `basis`]"""

    code: str
    title: str
    limit: Decimal
    basis: str
    product_types: tuple[str, ...]
    authority: str
    entry: str
    members: tuple[Member, ...]
    kind: str
    source: str
    checked_on: str = ""
    note: str = ""

    @classmethod
    def read(cls, row: Mapping) -> Cap:
        """A limit from its row in the file."""
        members = tuple(
            Member(item["inci"], item.get("as", ""), Fraction(item.get("ratio", "1"))) for item in row["members"]
        )
        words = {
            name: row.get(name, "") for name in ("basis", "authority", "entry", "kind", "source", "checked_on", "note")
        }
        return cls(
            code=row["code"],
            title=row["title"],
            limit=Decimal(row["limit"]),
            product_types=tuple(row["product_types"]),
            members=members,
            **words,
        )

    def content(self, shares: Mapping[str, Share]) -> Fraction | None:
        """What the limit counts in these INCI parts, exactly; None when a molar mass it needs is not known. [% w/w]"""
        total = Fraction(0)
        for member in self.members:
            if member.inci in shares:
                factor = conversion(member, shares[member.inci])
                if factor is None:
                    return None
                total += Fraction(shares[member.inci].pct) * factor
        return total

    def present(self, shares: Mapping[str, Share]) -> list[Share]:
        """The parts it counts that are there."""
        return [shares[member.inci] for member in self.members if member.inci in shares and shares[member.inci].pct > 0]


def conversion(member: Member, share: Share) -> Fraction | None:
    """Mass counted per mass present: 1 as such, else the ratio of molar masses, w(acid) = w(salt) M(acid) / M(salt)."""
    if not member.counted_as:
        return Fraction(1)
    own, other = molar_mass(share.substance), known_molar_mass(member.counted_as)
    return None if own is None or other is None else Fraction(other) / Fraction(own) * member.ratio


@lru_cache(maxsize=1)
def caps() -> tuple[Cap, ...]:
    """All coded limits."""
    return tuple(Cap.read(row) for row in read_data("caps.toml")["cap"])


def caps_for(product: str) -> tuple[Cap, ...]:
    """The limits coded for a product type."""
    return tuple(cap for cap in caps() if product in cap.product_types)


def met(composition: Composition) -> list[Cap]:
    """The limits that count something in this composition."""
    shares = composition.shares()
    return [cap for cap in caps_for(composition.product) if cap.present(shares)]


def legal_limits(composition: Composition) -> Iterable[Finding]:
    """Every coded limit of the product type: above it is a stop, within 5 % below it a note."""
    shares = composition.shares()
    for cap in met(composition):
        content = cap.content(shares)
        if content is None:
            yield _unchecked(cap, shares)
        elif content > Fraction(cap.limit):
            yield _finding(cap, shares, content, above=True)
        elif content >= Fraction(cap.limit) * _NEAR:
            yield _finding(cap, shares, content, above=False)


def closing(composition: Composition, findings: Iterable[Finding]) -> str:
    """How a review ends: whether a coded limit is exceeded, which list, read when, what rests on memory."""
    known = caps_for(composition.product)
    if not known:
        return f"No limit of law is coded for the product type {composition.product!r}: none was checked."
    codes = {cap.code for cap in known}
    exceeded = [finding.code for finding in findings if finding.severity == "stop" and finding.code in codes]
    start = f"Coded limits exceeded: {len(exceeded)}" if exceeded else "No coded limit exceeded"
    lists = " and ".join(f"{name} list" for name in dict.fromkeys(cap.authority for cap in known))
    read = max(cap.checked_on for cap in known)
    meeting = met(composition)
    memory = [cap.title for cap in meeting if cap.kind == "memory"]
    unchecked = [cap.title for cap in meeting if cap.content(composition.shares()) is None]
    rest = f"; from memory, not read in the law text: {names(memory)}" if memory else ""
    rest += f"; not checked: {names(unchecked)}" if unchecked else ""
    return (
        f"{start} ({lists}, {f'read {read}' if read else 'from memory'}{rest}). Only what the kit codes was "
        "checked: the law text, the label and the safety assessment belong to qualified persons."
    )


def _finding(cap: Cap, shares: Mapping[str, Share], content: Fraction, *, above: bool) -> Finding:
    severity, code, place, mend = (
        ("stop", cap.code, "above", "Lower it.")
        if above
        else (
            "note",
            f"{cap.code}.near",
            "within 5 % of",
            "A strong lot or an over-weighing may pass it: use the lot's certificate.",
        )
    )
    value = Decimal(content.numerator) / Decimal(content.denominator)
    materials = brought(cap.present(shares))
    doubt = " The limit is from memory: read the law text." if cap.kind == "memory" else ""
    words = (
        f"{cap.title}: {digits(value, cap.limit)} % {cap.basis}, {place} the limit of {plain(cap.limit)} % "
        f"({cap.authority}, {cap.entry}). Brought by {names(materials)}. {mend}{doubt}"
    )
    return Finding(severity, code, words, materials, value, cap.limit, cap.source)


def _unchecked(cap: Cap, shares: Mapping[str, Share]) -> Finding:
    present = cap.present(shares)
    words = (
        f"{cap.title}: the limit of {plain(cap.limit)} % {cap.basis} ({cap.authority}, {cap.entry}) was not "
        f"checked, because the molar mass of {names(share.substance.inci for share in present)} is not known. Add "
        "it to the substance."
    )
    return Finding("caution", "cap.unchecked", words, brought(present), None, cap.limit, cap.source)
