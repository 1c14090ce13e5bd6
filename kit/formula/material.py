"""Facts, substances and supply forms: what stands on the shelf, and where each number about it comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

KINDS = ("measured", "handbook", "supplier-typical", "estimated", "memory")


@dataclass(frozen=True, slots=True)
class Fact:
    """One number about a material with its passport.

    Either `value`, or `low` and/or `high`. `kind` is one of measured, handbook, supplier-typical, estimated, memory;
    `checked_on` is the day the source was read, empty for a value from memory.
    """

    unit: str
    kind: str
    source: str
    value: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    conditions: str = ""
    checked_on: str = ""

    @classmethod
    def read(cls, row: Mapping[str, str] | None) -> Fact | None:
        """A fact from its row in a fact file, exactly as printed there; None when the fact is not known."""
        if row is None:
            return None
        numbers = {name: Decimal(row[name]) for name in ("value", "low", "high") if name in row}
        return cls(
            unit=row["unit"],
            kind=row["kind"],
            source=row["source"],
            conditions=row.get("conditions", ""),
            checked_on=row.get("checked_on", ""),
            **numbers,
        )

    def row(self) -> dict[str, str]:
        """The fact as the row it was read from."""
        numbers = {
            name: format(getattr(self, name), "f")
            for name in ("value", "low", "high")
            if getattr(self, name) is not None
        }
        words = {name: getattr(self, name) for name in ("conditions", "checked_on") if getattr(self, name)}
        return {**numbers, "unit": self.unit, "kind": self.kind, "source": self.source, **words}


@dataclass(frozen=True, slots=True)
class Substance:
    """One INCI ingredient and its chemistry. Unknown facts are None, never zero."""

    inci: str
    category: str
    formula: str = ""
    cas: str = ""
    ec: str = ""
    charge: int = 0
    charge_strength: str = ""
    molar_mass: Fact | None = None
    charge_density: Fact | None = None
    pka: tuple[Fact, ...] = ()
    mixture_of: tuple[tuple[str, Decimal], ...] = ()

    @classmethod
    def read(cls, row: Mapping) -> Substance:
        """A substance from its row in a fact file."""
        return cls(
            inci=row["inci"],
            category=row["category"],
            formula=row.get("formula", ""),
            cas=row.get("cas", ""),
            ec=row.get("ec", ""),
            charge=int(row.get("charge", 0)),
            charge_strength=row.get("charge_strength", ""),
            molar_mass=Fact.read(row.get("molar_mass")),
            charge_density=Fact.read(row.get("charge_density")),
            pka=tuple(Fact.read(fact) for fact in row.get("pka", ())),
            mixture_of=tuple((part["inci"], Decimal(part["pct"])) for part in row.get("mixture_of", ())),
        )

    def row(self) -> dict:
        """The substance as the row it was read from."""
        words = {
            name: getattr(self, name)
            for name in ("formula", "cas", "ec", "charge", "charge_strength")
            if getattr(self, name)
        }
        facts = {name: getattr(self, name).row() for name in ("molar_mass", "charge_density") if getattr(self, name)}
        lists = {"pka": [fact.row() for fact in self.pka]} if self.pka else {}
        if self.mixture_of:
            lists["mixture_of"] = [{"inci": inci, "pct": format(pct, "f")} for inci, pct in self.mixture_of]
        return {"inci": self.inci, "category": self.category, **words, **facts, **lists}


@dataclass(frozen=True, slots=True)
class Part:
    """One INCI part of a supply form: its share in % w/w of the form, and its role there."""

    substance: Substance
    pct: Decimal
    role: str = "active"
    kind: str = "memory"
    source: str = ""

    @property
    def inci(self) -> str:
        """INCI name of the part."""
        return self.substance.inci


@dataclass(frozen=True, slots=True)
class Material:
    """A supply form: what is weighed. Its parts add up to 100 %.

    `made_from` is set for a lab-made stock solution: the materials it is mixed from, in % w/w. `origin` names the
    library file whose facts are used.
    """

    key: str
    name: str
    parts: tuple[Part, ...]
    label_inci: str = ""
    aliases: tuple[str, ...] = ()
    function: str = ""
    phases: tuple[str, ...] = ()
    made_from: tuple[tuple[Material, Decimal], ...] = ()
    hazards: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    note: str = ""
    active_range: Fact | None = None
    use_range: Fact | None = None
    heat_max: Fact | None = None
    melt_min: Fact | None = None
    ph_window: Fact | None = None
    density: Fact | None = None
    origin: str = "kit"

    _FACTS = ("active_range", "use_range", "heat_max", "melt_min", "ph_window", "density")
    _WORDS = ("label_inci", "function", "note", "origin")
    _LISTS = ("aliases", "phases", "hazards", "cautions")

    def __str__(self) -> str:
        return self.name

    @property
    def is_water(self) -> bool:
        """Whether the form is water and nothing else."""
        return all(part.substance.category == "water" for part in self.parts)

    @property
    def active_pct(self) -> Decimal:
        """Share of the parts whose role is active, % w/w of the form."""
        return sum((part.pct for part in self.parts if part.role == "active"), Decimal(0))

    def facts(self) -> Iterator[tuple[str, Fact]]:
        """The facts that are known about this form, by name."""
        for name in self._FACTS:
            if getattr(self, name) is not None:
                yield name, getattr(self, name)

    def weighed_as(self) -> tuple[tuple[Material, Decimal], ...]:
        """The materials that a gram of this form books to: a stock solution books to what it was mixed from."""
        if not self.made_from:
            return ((self, Decimal(100)),)
        return tuple(
            (base, share * pct / 100) for material, pct in self.made_from for base, share in material.weighed_as()
        )

    def row(self) -> dict:
        """The form as a self-contained row, substances included, for a lab book or a snapshot."""
        parts = [
            {
                "substance": part.substance.row(),
                "pct": format(part.pct, "f"),
                "role": part.role,
                "kind": part.kind,
                "source": part.source,
            }
            for part in self.parts
        ]
        words = {name: getattr(self, name) for name in self._WORDS if getattr(self, name)}
        lists = {name: list(getattr(self, name)) for name in self._LISTS if getattr(self, name)}
        made = {
            "made_from": [{"material": material.row(), "pct": format(pct, "f")} for material, pct in self.made_from]
        }
        return {
            "key": self.key,
            "name": self.name,
            "parts": parts,
            **words,
            **lists,
            **{name: fact.row() for name, fact in self.facts()},
            **(made if self.made_from else {}),
        }

    @classmethod
    def from_row(cls, row: Mapping) -> Material:
        """A form from the self-contained row that `row()` made."""
        parts = tuple(
            Part(Substance.read(part["substance"]), Decimal(part["pct"]), part["role"], part["kind"], part["source"])
            for part in row["parts"]
        )
        made = tuple((cls.from_row(item["material"]), Decimal(item["pct"])) for item in row.get("made_from", ()))
        return cls(
            key=row["key"],
            name=row["name"],
            parts=parts,
            made_from=made,
            **{name: row.get(name, "") for name in cls._WORDS},
            **{name: tuple(row.get(name, ())) for name in cls._LISTS},
            **{name: Fact.read(row.get(name)) for name in cls._FACTS},
        )
