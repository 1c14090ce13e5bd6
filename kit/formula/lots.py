"""Lots: what the certificate of a delivery, or the label of a lab-made stock solution, says about its parts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from kit.errors import MaterialError
from kit.formula.substance import Fact, Part, Substance
from kit.show import Fielded
from kit.units import number, percent, plain, read

LOT_KINDS = ("certificate", "made in the lab")

# One gram of KOH in mg, by its molar mass of 56.11 g/mol (56.106 by the atomic weights of today; the trade rounds).
_KOH = Decimal(56110)

# Who takes what the certificate leaves open, the first that is there.
_TAKERS = ("water", "carrier", "solvent", "co-emulsifier")


@dataclass(frozen=True, slots=True, repr=False)
class Lot(Fielded):
    """One lot of a supply form with its certificate values.

    Parameters
    ----------
    material : str           Key of the supply form.
    lot : str                Lot number, as on the label.
    parts : dict             INCI to content, as certified. [% w/w of the form]
    strength_pct : Decimal   Content of the one active part, of a stock solution or a trade form. [% w/w]
    amine_value : Decimal    Total amine value of the form as supplied. [mg KOH/g]
    acid_value : Decimal     Acid value of the form as supplied, kept as certified. [mg KOH/g]
    chains : dict            INCI to share of a chain mixture such as cetearyl alcohol, 100 together. [% w/w]
    density : Decimal        [g/mL]
    expiry, made_on : str    Days, YYYY-MM-DD.
    kind : str               "certificate" or "made in the lab".

    Raises
    ------
    MaterialError   `material.lot` for a value that cannot be.
    """

    material: str
    lot: str
    parts: Mapping[str, Decimal] = field(default_factory=dict, hash=False)
    strength_pct: Decimal | None = None
    amine_value: Decimal | None = None
    acid_value: Decimal | None = None
    chains: Mapping[str, Decimal] = field(default_factory=dict, hash=False)
    density: Decimal | None = None
    expiry: str = ""
    made_on: str = ""
    supplier: str = ""
    note: str = ""
    kind: str = LOT_KINDS[0]

    def __post_init__(self) -> None:
        if not self.lot.strip():
            raise self.refused("the lot has no number", "the number on the label", "give the lot number")
        if self.kind not in LOT_KINDS:
            raise self.refused(f"the kind {self.kind!r} is not known", ", ".join(LOT_KINDS), "use one of these")
        for inci, pct in (*self.parts.items(), ("strength", self.strength_pct)):
            if pct is not None and not 0 <= pct <= 100:
                raise self.refused(f"{inci}: {pct} % cannot be", "0 to 100 %", "read the certificate again")
        for name in ("amine_value", "density"):
            if getattr(self, name) is not None and getattr(self, name) <= 0:
                raise self.refused(f"{name} is {getattr(self, name)}", "more than 0", "read the certificate again")
        if self.chains and sum(self.chains.values()) != 100:
            total = sum(self.chains.values())
            raise self.refused(f"the chains add up to {total} %", "100 %", "give every chain, the small ones too")
        days = [_day(self, name) for name in ("made_on", "expiry")]
        if all(days) and days[0] > days[1]:
            raise self.refused(f"it expires on {self.expiry}, before it was made", "", "exchange the two days")

    def is_expired(self, on: str | date) -> bool:
        """Whether the lot is past its expiry on a day; False when no expiry is known."""
        return bool(self.expiry) and date.fromisoformat(str(on)) > date.fromisoformat(self.expiry)

    def refused(self, what: str, allowed: str, mend: str) -> MaterialError:
        """The error that names this lot."""
        where = f"lot {self.lot} of {self.material}"
        return MaterialError(what, where=where, allowed=allowed, mend=mend, code="material.lot")

    @property
    def states_parts(self) -> bool:
        """Whether the lot says anything about the content of a part."""
        return bool(self.parts) or self.strength_pct is not None

    @property
    def source(self) -> str:
        """What the values rest on, as words."""
        paper = "certificate of" if self.kind == LOT_KINDS[0] else "label of the lab's own"
        return f"{paper} lot {self.lot}"

    def row(self) -> dict:
        """The lot as a row of text, for a record or a file; what is not known is left out."""
        numbers = {
            name: plain(getattr(self, name))
            for name in ("strength_pct", "amine_value", "acid_value", "density")
            if getattr(self, name) is not None
        }
        shares = {
            name: {inci: plain(pct) for inci, pct in getattr(self, name).items()}
            for name in ("parts", "chains")
            if getattr(self, name)
        }
        words = {name: getattr(self, name) for name in _WORDS if getattr(self, name)}
        return {"material": self.material, "lot": self.lot, "kind": self.kind, **shares, **numbers, **words}


_WORDS = ("expiry", "made_on", "supplier", "note")


def lot_from_row(row: Mapping, where: str = "lot") -> Lot:
    """A lot from a row of text as typed or as `Lot.row` wrote it; errors as in `Lot`, numbers read as everywhere.

    `density` may bear its unit, "0.98 g/mL"; shares may bear "%".
    """
    for name in ("material", "lot"):
        if not str(row.get(name, "")).strip():
            raise MaterialError(f"{name!r} is missing", where=where, mend="add it", code="material.lot")
    where = f"lot {row['lot']} of {row['material']}"
    unknown = set(row) - set(Lot.__dataclass_fields__)
    if unknown:
        raise MaterialError(
            f"{min(unknown)!r} is not known here",
            where=where,
            allowed=", ".join(Lot.__dataclass_fields__),
            mend="correct its spelling",
            code="material.lot",
        )
    shares = {
        name: {inci: percent(pct, where=f"{where}, {inci}") for inci, pct in row[name].items()}
        for name in ("parts", "chains")
        if name in row
    }
    values = {
        name: number(row[name], where=f"{where}, {name}") for name in ("amine_value", "acid_value") if name in row
    }
    if "strength_pct" in row:
        values["strength_pct"] = percent(row["strength_pct"], where=f"{where}, strength_pct")
    if "density" in row:
        values["density"] = _density(row["density"], f"{where}, density")
    words = {name: str(row[name]) for name in (*_WORDS, "kind") if name in row}
    return Lot(str(row["material"]), str(row["lot"]), **shares, **values, **words)


def equivalent_weight(amine_value: Decimal) -> Decimal:
    """Mass of an amine that holds one mole of titratable nitrogen: 56,110 / amine value. [g/mol]

    Definition of the amine value (mg KOH equivalent to the basicity of 1 g, as in ASTM D2074, from memory).

    Examples
    --------
    >>> equivalent_weight(Decimal("157.2"))
    Decimal('356.93')
    """
    return (_KOH / amine_value).quantize(Decimal("0.01"))


def lot_parts(parts: tuple[Part, ...], lot: Lot) -> tuple[Part, ...]:
    """The parts of a form as a lot certifies them; together 100 % exactly.

    What the certificate leaves open is taken by the water, else by a carrier, solvent or co-emulsifier.

    Raises
    ------
    MaterialError   `material.lot` when the lot names a part the form does not have, or the parts cannot add up to 100.
    """
    stated = _stated(parts, lot)
    made = [
        replace(part, pct=stated[part.inci], kind="measured", source=lot.source) if part.inci in stated else part
        for part in parts
    ]
    rest = 100 - sum((part.pct for part in made), Decimal(0))
    if rest:
        index = _taker(made, stated, lot, rest)
        made[index] = replace(made[index], pct=made[index].pct + rest)
    return tuple(_with_chemistry(part, lot, made) for part in made)


def lot_mixture(
    made_from: tuple[tuple[object, Decimal], ...], parts: tuple[Part, ...], lot: Lot
) -> tuple[tuple[object, Decimal], ...]:
    """What a stock solution of the strength certified is mixed from, to six decimals; water takes the rest.

    Parameters
    ----------
    made_from : (material, pct) pairs   The form's own recipe.
    parts : tuple of Part               The parts as the lot certifies them.
    """
    wanted = {part.inci: part.pct for part in parts if part.role == "active"}
    shares = []
    for material, _ in made_from:
        bringing = [part for part in material.parts if part.inci in wanted]
        share = wanted[bringing[0].inci] * 100 / bringing[0].pct if bringing else None
        shares.append(share if share is None else share.quantize(Decimal("0.000001")))
    open_places = [index for index, share in enumerate(shares) if share is None]
    rest = 100 - sum(share for share in shares if share is not None)
    if len(open_places) != 1 or rest < 0:
        raise lot.refused(
            "the strength cannot be reached from what the solution is mixed from",
            "one material that brings the active part, and water",
            "enter the solution as a material of its own",
        )
    shares[open_places[0]] = rest
    return tuple((material, share) for (material, _), share in zip(made_from, shares, strict=True))


def _stated(parts: tuple[Part, ...], lot: Lot) -> dict[str, Decimal]:
    stated = dict(lot.parts)
    known = [part.inci for part in parts]
    if lot.strength_pct is not None:
        active = [part.inci for part in parts if part.role == "active"]
        if len(active) != 1 or active[0] in stated:
            raise lot.refused(
                "the strength does not say which part it is of",
                f"parts = {{ {', '.join(active)} }}",
                "give the content of each part",
            )
        stated[active[0]] = lot.strength_pct
    strange = [inci for inci in stated if inci not in known]
    if strange:
        raise lot.refused(
            f"{strange[0]!r} is no part of this form",
            ", ".join(known),
            "name a part of it, or enter the lot as a material of its own",
        )
    return stated


def _taker(parts: list[Part], stated: Mapping[str, Decimal], lot: Lot, rest: Decimal) -> int:
    for role in _TAKERS:
        fitting = [index for index, part in enumerate(parts) if part.role == role and part.inci not in stated]
        if fitting:
            index = max(fitting, key=lambda index: parts[index].pct)
            if parts[index].pct + rest >= 0:
                return index
    total = 100 - rest
    raise lot.refused(
        f"the parts add up to {plain(total)} %, and no water or carrier is left to make it 100 %",
        "parts that add up to 100 %",
        "state every part of the certificate, or enter the lot as a material of its own",
    )


def _with_chemistry(part: Part, lot: Lot, parts: list[Part]) -> Part:
    substance = part.substance
    if lot.amine_value is not None and substance.category == "amine surfactant":
        substance = _weighed_by_amine(substance, part.pct, lot, parts)
    if lot.chains and substance.mixture_of:
        _refuse_strange_chains(substance, lot)
        substance = replace(substance, mixture_of=tuple(lot.chains.items()), molar_mass=None)
    return part if substance is part.substance else replace(part, substance=substance)


def _refuse_strange_chains(substance: Substance, lot: Lot) -> None:
    known = [inci for inci, _ in substance.mixture_of]
    strange = [inci for inci in lot.chains if inci not in known]
    if strange:
        raise lot.refused(
            f"{strange[0]!r} is no chain of {substance.inci}", ", ".join(known), "name the chains as the kit does"
        )


def _weighed_by_amine(substance: Substance, pct: Decimal, lot: Lot, parts: list[Part]) -> Substance:
    if sum(part.substance.category == "amine surfactant" for part in parts) > 1:
        raise lot.refused("two parts are amines, and one amine value is given", "", "give the parts instead")
    mass = Fact(
        unit="g/mol",
        kind="measured",
        source=lot.source,
        value=(pct / 100 * _KOH / lot.amine_value).quantize(Decimal("0.01")),
        conditions=f"equivalent weight, from an amine value of {plain(lot.amine_value)} mg KOH/g",
    )
    return replace(substance, molar_mass=mass)


def _density(value: object, where: str) -> Decimal:
    return read(value, "g/mL", where=where) if isinstance(value, str) and "/" in value else number(value, where=where)


def _day(lot: Lot, name: str) -> date | None:
    text = getattr(lot, name)
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise lot.refused(f"{name} is {text!r}", "YYYY-MM-DD", 'write for example "2027-03-31"') from None
