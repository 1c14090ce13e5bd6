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
# Molar masses as printed are good to about this share of themselves: a converted content is no better known.
_MASSES_GOOD_TO = Fraction(1, 100_000)


@dataclass(frozen=True, slots=True)
class Member:
    """One INCI ingredient a limit counts.

    `counted_as` names what it is converted to, `ratio` is mol of that per mol of it; `molar_mass` is stated where it is
    not among the kit's substances. [g/mol]
    """

    inci: str
    counted_as: str = ""
    ratio: Fraction = Fraction(1)
    molar_mass: Decimal | None = None

    @classmethod
    def read(cls, row: Mapping) -> Member:
        """A member from its row in the file."""
        mass = Decimal(row["g_per_mol"]) if "g_per_mol" in row else None
        return cls(row["inci"], row.get("as", ""), Fraction(row.get("ratio", "1")), mass)


@dataclass(frozen=True, slots=True)
class Cap:
    """One limit of law, or of guidance where `force` says so. [% w/w of the product, on `basis`]

    `severity` is what exceeding it means; `reaches` says that the limit itself is already too much; `applies` when or
    for what it holds.
    """

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
    force: str = "law"
    severity: str = "stop"
    reaches: bool = False
    applies: str = ""

    @classmethod
    def read(cls, row: Mapping) -> Cap:
        """A limit from its row in the file."""
        words = {
            name: row.get(name, "")
            for name in ("basis", "authority", "entry", "kind", "source", "checked_on", "note", "applies")
        }
        return cls(
            code=row["code"],
            title=row["title"],
            limit=Decimal(row["limit"]),
            product_types=tuple(row["product_types"]),
            members=tuple(Member.read(item) for item in row["members"]),
            force=row.get("force", "law"),
            severity=row.get("severity", "stop"),
            reaches=row.get("reaches", False),
            **words,
        )

    @property
    def most(self) -> Fraction:
        """The content above which it is too much. [% w/w, on the basis]

        The limit; for a salt counted as its acid also what the masses leave open, so that 2.95 % of sodium benzoate is
        at 2.5 % and not above it.
        """
        limit = Fraction(self.limit)
        return limit * (1 + _MASSES_GOOD_TO) if any(member.counted_as for member in self.members) else limit

    def exceeded_by(self, content: Fraction) -> bool:
        """Whether a content is too much: above the limit, or at it where the law says "or more"."""
        return content >= self.most if self.reaches else content > self.most

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
    own = molar_mass(share.substance) or member.molar_mass
    other = known_molar_mass(member.counted_as) or _stated_masses().get(member.counted_as)
    return None if own is None or other is None else Fraction(other) / Fraction(own) * member.ratio


@lru_cache(maxsize=1)
def _stated_masses() -> dict[str, Decimal]:
    """Molar masses of acids that are counted and are not among the kit's substances. [g/mol]"""
    return {inci: Decimal(row["value"]) for inci, row in read_data("caps.toml")["g_per_mol"].items()}


@lru_cache(maxsize=1)
def caps() -> tuple[Cap, ...]:
    """All coded limits."""
    return tuple(Cap.read(row) for row in read_data("caps.toml")["cap"])


def caps_for(product: str) -> tuple[Cap, ...]:
    """The limits coded for a product type, guidance included."""
    return tuple(cap for cap in caps() if product in cap.product_types)


def met(composition: Composition) -> list[Cap]:
    """The limits that count something in this composition."""
    shares = composition.shares()
    return [cap for cap in caps_for(composition.product) if cap.present(shares)]


def legal_limits(composition: Composition) -> Iterable[Finding]:
    """Every coded limit of the product type: above it a stop or what the limit says, within 5 % below it a note."""
    shares = composition.shares()
    for cap in met(composition):
        content = cap.content(shares)
        if content is None:
            yield _unchecked(cap, shares)
        elif cap.exceeded_by(content):
            yield _finding(cap, shares, content, above=True)
        elif content >= Fraction(cap.limit) * _NEAR:
            yield _finding(cap, shares, content, above=False)


def closing(composition: Composition, findings: Iterable[Finding]) -> str:
    """How a review ends: whether a coded limit is exceeded, which list, read when, what rests on memory."""
    known = [cap for cap in caps_for(composition.product) if cap.force == "law"]
    if not known:
        return f"No limit of law is coded for the product type {composition.product!r}: none was checked."
    codes = {cap.code for cap in known}
    exceeded = [finding.code for finding in findings if finding.code in codes]
    start = f"Coded limits exceeded: {len(exceeded)}" if exceeded else "No coded limit exceeded"
    lists = " and ".join(f"{name} list" for name in dict.fromkeys(cap.authority for cap in known))
    read = names(sorted({cap.checked_on for cap in known if cap.checked_on}))
    meeting = [cap for cap in met(composition) if cap.force == "law"]
    memory = [cap.title for cap in meeting if cap.kind == "memory"]
    unchecked = [cap.title for cap in meeting if cap.content(composition.shares()) is None]
    rest = f"; from memory, not read in the law text: {names(memory)}" if memory else ""
    rest += f"; not checked: {names(unchecked)}" if unchecked else ""
    return (
        f"{start} ({lists}, {f'read {read}' if read else 'from memory'}{rest}). Only what the kit codes was "
        "checked: the law text, the label and the safety assessment belong to qualified persons."
    )


def _finding(cap: Cap, shares: Mapping[str, Share], content: Fraction, *, above: bool) -> Finding:
    value = Decimal(content.numerator) / Decimal(content.denominator)
    materials = brought(cap.present(shares))
    words = (
        f"{cap.title}: {_content_words(cap, value, above=above)} % {cap.basis}, {_place(cap, value, above=above)} "
        f"({cap.authority}, {cap.entry}{f'; {cap.applies}' if cap.applies else ''}). "
        f"Brought by {names(materials)}. {_mend(cap, above=above)}"
    )
    code = cap.code if above else f"{cap.code}.near"
    return Finding(cap.severity if above else "note", code, words, materials, value, cap.limit, cap.source)


def _content_words(cap: Cap, value: Decimal, *, above: bool) -> str:
    """A content for reading; only one that is too much must not read like the limit it passes."""
    return digits(value, cap.limit if above else None, _places(cap.limit))


def _places(limit: Decimal) -> int:
    """Decimals to read a content with: two, or as many as the limit has."""
    return max(2, -limit.as_tuple().exponent)


def _place(cap: Cap, value: Decimal, *, above: bool) -> str:
    if not cap.limit:
        return "which is not allowed"
    at_limit = Decimal(_content_words(cap, value, above=False)) == cap.limit
    near = "at" if at_limit else "within 5 % of"
    relation = near if not above else "not below" if cap.reaches else "above"
    if cap.force == "law":
        return f"{relation} the limit of {plain(cap.limit)} %"
    return f"{relation} the {plain(cap.limit)} % of a guidance that is not law"


def _mend(cap: Cap, *, above: bool) -> str:
    doubt = " The limit is from memory: read the law text." if cap.kind == "memory" else ""
    if not above:
        return "A strong lot or an over-weighing may pass it: use the lot's certificate." + doubt
    return ("Lower it." if cap.limit else "Take it out.") + doubt


def _unchecked(cap: Cap, shares: Mapping[str, Share]) -> Finding:
    present = cap.present(shares)
    words = (
        f"{cap.title}: the limit of {plain(cap.limit)} % {cap.basis} ({cap.authority}, {cap.entry}) was not "
        f"checked, because the molar mass of {names(share.substance.inci for share in present)} is not known. Add "
        "it to the substance."
    )
    return Finding("caution", "cap.unchecked", words, brought(present), None, cap.limit, cap.source)
