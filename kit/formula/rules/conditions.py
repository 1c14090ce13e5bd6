"""What the law or a certificate asks beyond a content: purity, warnings, a pH, the limit of a fragrance."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from kit.formula.composition import Composition, Share
from kit.formula.material import Material
from kit.formula.model import SpecLine
from kit.formula.rules.caps import Cap, caps
from kit.formula.rules.findings import Finding, brought, digits, names
from kit.formula.rules.judged import Judged, Number
from kit.show import Worded
from kit.sources import read_data
from kit.units import plain

_NEAR = Decimal("0.95")
_AHA = "cap.alpha_hydroxy_acids"
_AHA_PH = Decimal("3.5")
_ALKALI = ("Sodium Hydroxide", "Potassium Hydroxide", "Calcium Hydroxide")
_ALKALI_PH = Decimal(11)


@dataclass(frozen=True, slots=True, repr=False)
class Condition(Worded):
    """One condition of law on an ingredient that arithmetic on contents cannot check: it is told.

    `unless` is a category whose presence makes it pointless; `on_label` says that it concerns the label.
    """

    code: str
    title: str
    words: str
    product_types: tuple[str, ...]
    authority: str
    entry: str
    members: tuple[str, ...]
    source: str
    unless: str = ""
    on_label: bool = False

    @classmethod
    def read(cls, row: Mapping) -> Condition:
        """A condition from its row in the file of limits."""
        words = {name: row[name] for name in ("code", "title", "words", "authority", "entry", "source")}
        return cls(
            product_types=tuple(row["product_types"]),
            members=tuple(member["inci"] for member in row["members"]),
            unless=row.get("unless", ""),
            on_label=row.get("label", False),
            **words,
        )

    def present(self, shares: Mapping[str, Share]) -> list[Share]:
        """The ingredients it is about that are there."""
        return [shares[inci] for inci in self.members if inci in shares and shares[inci].pct > 0]


@lru_cache(maxsize=1)
def conditions() -> tuple[Condition, ...]:
    """All coded conditions."""
    return tuple(Condition.read(row) for row in read_data("caps.toml")["condition"])


def conditions_met(composition: Composition) -> list[Condition]:
    """The conditions that concern something in this composition."""
    shares = composition.shares()
    categories = {share.substance.category for share in shares.values() if share.pct > 0}
    return [
        condition
        for condition in conditions()
        if composition.product in condition.product_types
        and condition.unless not in categories
        and condition.present(shares)
    ]


def law_conditions(composition: Composition) -> Iterable[Finding]:
    """Conditions that contents alone cannot check, each told once."""
    shares = composition.shares()
    for condition in conditions_met(composition):
        present = condition.present(shares)
        about = names(share.substance.inci for share in present)
        title = about if about.casefold() == condition.title.casefold() else f"{condition.title} ({about})"
        words = f"{title}: {condition.words} ({condition.authority}, {condition.entry})."
        yield Finding("note", condition.code, words, brought(present), source=condition.source)


def fragrance_certificate(composition: Composition) -> Iterable[Finding]:
    """Each fragrance against the largest share its certificate allows in the product: above it is a stop."""
    for material, limit in _certified(composition):
        pct = Weighed(material.key)(composition)
        if pct >= limit * _NEAR:
            yield _certificate_finding(material, pct, limit)


def fragrance_certificate_judged(composition: Composition) -> Iterable[Judged]:
    """The content of each fragrance with a certificate, near its limit and at it."""
    for material, limit in _certified(composition):
        yield Judged(Number((Weighed(material.key),)), (limit * _NEAR, limit))


@dataclass(frozen=True, slots=True)
class Weighed:
    """Content of one material, that inside lab-made stock solutions included. [% w/w]"""

    key: str

    def __call__(self, composition: Composition) -> Decimal:
        """The content in this composition. [% w/w]"""
        content = weighed(composition)
        return content[self.key][1] if self.key in content else Decimal(0)


def _certified(composition: Composition) -> list[tuple[Material, Decimal]]:
    facts = [(material, material.fragrance_limit) for material, _ in weighed(composition).values()]
    return [(material, fact.high) for material, fact in facts if fact is not None and fact.high is not None]


def weighed(composition: Composition) -> dict[str, tuple[Material, Decimal]]:
    """Each material with its content, that inside lab-made stock solutions included. [% w/w]"""
    sums: dict[str, tuple[Material, Decimal]] = {}
    for line in composition.lines:
        for material, share in line.material.weighed_as():
            _, before = sums.get(material.key, (material, Decimal(0)))
            sums[material.key] = (material, before + line.pct * share / 100)
    return sums


def ph_conditions(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """The pH asked for against the pH that guidance or law ties to an ingredient."""
    shares = composition.shares()
    acids, alkali = _guided_acids().present(shares), [shares[inci] for inci in _ALKALI if inci in shares]
    for line in spec:
        if line.property.lower() != "ph":
            continue
        if acids and line.low is not None and line.low < _AHA_PH:
            yield _low_ph(acids, line)
        if alkali and line.high is not None and line.high >= _ALKALI_PH:
            yield _high_ph(alkali, line)


def _guided_acids() -> Cap:
    return next(cap for cap in caps() if cap.code == _AHA)


def _certificate_finding(material: Material, pct: Decimal, limit: Decimal) -> Finding:
    above = pct > limit
    place, mend = ("above", "Lower it.") if above else ("within 5 % of", "An over-weighing may pass it.")
    fact = material.fragrance_limit
    words = (
        f"{material.name}: {digits(pct, limit)} %, {place} the {plain(limit)} % that its certificate allows in the "
        f"product{f' ({fact.conditions})' if fact.conditions else ''}. {mend} A limit of the supplier, not of law."
    )
    code = "cap.fragrance_certificate" if above else "cap.fragrance_certificate.near"
    return Finding("stop" if above else "note", code, words, (material.key,), pct, limit, fact.source)


def _low_ph(acids: list[Share], line: SpecLine) -> Finding:
    cap = _guided_acids()
    words = (
        f"The spec allows pH {line.words()} with {names(share.substance.inci for share in acids)}: the guidance on "
        f"alpha hydroxy acids asks for pH {_AHA_PH} or more ({cap.authority}, {cap.entry}; not law). Raise the lower "
        "limit."
    )
    return Finding("caution", "cap.alpha_hydroxy_acids_ph", words, brought(acids), line.low, _AHA_PH, cap.source)


def _high_ph(alkali: list[Share], line: SpecLine) -> Finding:
    words = (
        f"The spec allows pH {line.words()} with {names(share.substance.inci for share in alkali)}: as a pH "
        f"adjuster it is allowed below pH {_ALKALI_PH} only (EU, Regulation (EC) No 1223/2009 Annex III entries 15a to "
        "15c). Lower the upper limit."
    )
    source = "cpr-annex-iii-2024"
    return Finding("stop", "cap.alkali_ph", words, brought(alkali), line.high, _ALKALI_PH, source)
