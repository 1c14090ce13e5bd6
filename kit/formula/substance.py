"""Facts and substances: the chemistry of what is in a supply form, and where each number comes from."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from kit.show import Fielded
from kit.units import plain

# "2 Na+", "Cl-", "SO4^2-": how many in a formula unit (one when left out), the ion, its charge number, its sign
COUNTER_ION = re.compile(r"(?:(?P<count>\d+) )?(?P<ion>[A-Z]\w*)(?:\^(?P<charge>\d))?(?P<sign>[+-])")

KINDS = ("measured", "handbook", "supplier-typical", "estimated", "memory")


def kind_words(kind: str) -> str:
    """How the kind of a fact is said beside its number: "handbook", "from memory"."""
    return "from memory" if kind == "memory" else kind


@dataclass(frozen=True, slots=True, repr=False)
class Fact(Fielded):
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

    def words(self) -> str:
        """The number with its unit: "404.16 g/mol", "3 to 7", "at most 60 degC"."""
        unit = "" if self.unit == "1" else f" {self.unit}"
        if self.value is not None:
            return f"{plain(self.value)}{unit}"
        if self.low is None or self.high is None:
            return f"at most {plain(self.high)}{unit}" if self.low is None else f"at least {plain(self.low)}{unit}"
        return f"{plain(self.low)} to {plain(self.high)}{unit}"


_SUBSTANCE_FACTS = ("molar_mass", "charge_density", "log_kow", "norrish_k", "hlb", "required_hlb")
_SUBSTANCE_WORDS = ("formula", "cas", "ec", "charge_strength", "acid_base")
_SUBSTANCE_COUNTS = ("acid_groups", "protonated_charge", "crystal_water")


@dataclass(frozen=True, slots=True, repr=False)
class Substance(Fielded):
    """One INCI ingredient and its chemistry. Unknown facts are None, never zero.

    `surfactant_class` is esterquat, amidoamine, monoalkyl quat or dialkyl quat. `acid_groups` counts the equivalents of
    acid a formula unit brings to a neutralisation, None when not known. `hlb` is that of a nonionic emulsifier,
    `required_hlb` what an oil asks for. `origin` is "kit", or the file that stated or overruled the row.

    For the pH: `pka` are the constants of the acid, lowest first, and `protonated_charge` the charge of the form that
    carries every proton they speak of. `counter_ions` are the strong ions of a formula unit, such as "2 Na+" or "Cl-";
    without them sodium and potassium are counted in the formula. `acid_base` is "none" for what by its structure
    neither gives nor takes a proton between pH 2 and 12. `crystal_water` counts the waters of a hydrate.
    """

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
    surfactant_class: str = ""
    acid_groups: int | None = None
    log_kow: Fact | None = None
    norrish_k: Fact | None = None
    hlb: Fact | None = None
    required_hlb: Fact | None = None
    origin: str = "kit"
    origins: tuple[tuple[str, str], ...] = ()
    protonated_charge: int | None = None
    counter_ions: tuple[str, ...] = ()
    acid_base: str = ""
    crystal_water: int | None = None

    @classmethod
    def read(cls, row: Mapping) -> Substance:
        """A substance from its row in a fact file."""
        return cls(
            inci=row["inci"],
            category=row["category"],
            charge=int(row.get("charge", 0)),
            pka=tuple(Fact.read(fact) for fact in row.get("pka", ())),
            mixture_of=tuple((part["inci"], Decimal(part["pct"])) for part in row.get("mixture_of", ())),
            surfactant_class=row.get("class", ""),
            counter_ions=tuple(row.get("counter_ions", ())),
            origin=row.get("origin", "kit"),
            origins=tuple(sorted(row.get("origins", {}).items())),
            **{name: row.get(name, "") for name in _SUBSTANCE_WORDS},
            **{name: int(row[name]) if name in row else None for name in _SUBSTANCE_COUNTS},
            **{name: Fact.read(row.get(name)) for name in _SUBSTANCE_FACTS},
        )

    def row(self) -> dict:
        """The substance as the row it was read from; what is not known is left out."""
        words = {name: getattr(self, name) for name in (*_SUBSTANCE_WORDS, "charge") if getattr(self, name)}
        if self.surfactant_class:
            words["class"] = self.surfactant_class
        words |= {name: getattr(self, name) for name in _SUBSTANCE_COUNTS if getattr(self, name) is not None}
        lists = {"pka": [fact.row() for fact in self.pka]} if self.pka else {}
        if self.counter_ions:
            lists["counter_ions"] = list(self.counter_ions)
        if self.mixture_of:
            lists["mixture_of"] = [{"inci": inci, "pct": format(pct, "f")} for inci, pct in self.mixture_of]
        facts = {name: getattr(self, name).row() for name in _SUBSTANCE_FACTS if getattr(self, name)}
        return {"inci": self.inci, "category": self.category, **words, **facts, **lists, **_origin_row(self)}

    def facts(self) -> Iterator[tuple[str, Fact]]:
        """The facts that are known about this ingredient, by name; several pKa are pka 1, pka 2 and so on."""
        for name in _SUBSTANCE_FACTS:
            if getattr(self, name) is not None:
                yield name, getattr(self, name)
        for number, fact in enumerate(self.pka, start=1):
            yield f"pka {number}", fact

    def origin_of(self, fact: str) -> str:
        """Whose a fact is: "kit", or the name of the file that stated it."""
        return dict(self.origins).get(fact.partition(" ")[0], self.origin)


def _origin_row(substance: Substance) -> dict:
    """Whose the facts are, for a record; the kit's own need no word."""
    origin = {"origin": substance.origin} if substance.origin != "kit" else {}
    return {**origin, **({"origins": dict(substance.origins)} if substance.origins else {})}


@dataclass(frozen=True, slots=True, repr=False)
class Part(Fielded):
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
class Allergen:
    """A listed fragrance allergen inside a supply form: its share in % w/w of the form. It is no part of the 100."""

    inci: str
    pct: Decimal
    kind: str = "memory"
    source: str = ""

    @classmethod
    def read(cls, row: Mapping[str, str]) -> Allergen:
        """An allergen from its row in a fact file."""
        return cls(row["inci"], Decimal(row["pct"]), row.get("kind", "memory"), row.get("source", ""))

    def row(self) -> dict[str, str]:
        """The allergen as the row it was read from."""
        return {"inci": self.inci, "pct": format(self.pct, "f"), "kind": self.kind, "source": self.source}
