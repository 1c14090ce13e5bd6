"""Supply forms: what stands on the shelf and is weighed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from kit.errors import MaterialError
from kit.formula.lots import Lot, lot_mixture, lot_parts
from kit.formula.substance import KINDS, Allergen, Fact, Part, Substance

__all__ = ["KINDS", "MATERIAL_FACTS", "Allergen", "Fact", "Material", "Part", "Substance"]

MATERIAL_FACTS = ("active_range", "use_range", "heat_max", "melt_min", "ph_window", "density", "fragrance_limit")


@dataclass(frozen=True, slots=True, repr=False)
class Material:
    """A supply form: what is weighed. Its parts add up to 100 %.

    `made_from` is set for a lab-made stock solution: the materials it is mixed from, in % w/w. `origin` is "kit", or
    the materials file whose row it is; `origins` names the file of each single fact that was overruled. `use` is the
    class of the trade it belongs to and `practice` the facts stated once for that class: `use_range`, `heat_max`,
    `melt_min` and `ph_window` are the form's own where it has them, else those. `fragrance_limit` is the largest share
    in the product that the certificate of a fragrance allows. `lot` is set where the parts are those of a lot's
    certificate.
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
    fragrance_limit: Fact | None = None
    allergens: tuple[Allergen, ...] = ()
    use: str = ""
    practice: Mapping[str, Fact] = field(default_factory=dict, hash=False)
    origins: tuple[tuple[str, str], ...] = ()
    lot: str = ""

    _FACTS = MATERIAL_FACTS
    _WORDS = ("label_inci", "function", "note", "use", "lot")
    _LISTS = ("aliases", "phases", "hazards", "cautions")

    def __repr__(self) -> str:
        return f"Material({self.key!r})"  # all its facts would be pages

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

    def origin_of(self, fact: str) -> str:
        """Whose a fact is: "kit", or the name of the materials file that stated it."""
        return dict(self.origins).get(fact, self.origin)

    def is_practice(self, fact: str) -> bool:
        """Whether a fact is the rule of the form's class in the trade, and not its own."""
        return fact in self.practice and getattr(self, fact) == self.practice[fact]

    def with_lot(self, lot: Lot) -> Material:
        """This form with what a lot's certificate says in place of the typical values; the key stays.

        Parts not certified are as before, but for the water or carrier, which takes the rest to 100 % exactly.

        Raises
        ------
        MaterialError   `material.lot` for a lot of another form, a part this form does not have, or parts that cannot
                        add up to 100.
        """
        if lot.material != self.key:
            raise MaterialError(
                f"lot {lot.lot} is a lot of {lot.material}, not of {self.key}",
                where=self.name,
                mend="name the material the lot was delivered as",
                code="material.lot",
            )
        parts = lot_parts(self.parts, lot)
        changed = {"made_from": lot_mixture(self.made_from, parts, lot)} if self.made_from and lot.states_parts else {}
        if lot.density is not None:
            changed["density"] = Fact(unit="g/mL", kind="measured", source=lot.source, value=lot.density)
        return replace(self, parts=parts, lot=lot.lot, **changed)

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
            **({"allergens": [allergen.row() for allergen in self.allergens]} if self.allergens else {}),
            **({"practice": {name: fact.row() for name, fact in self.practice.items()}} if self.practice else {}),
            "origin": self.origin,
            **({"origins": dict(self.origins)} if self.origins else {}),
        }

    @classmethod
    def from_row(cls, row: Mapping) -> Material:
        """A form from the self-contained row that `row()` made, now or by an older kit that knew fewer facts."""
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
            allergens=tuple(Allergen.read(item) for item in row.get("allergens", ())),
            practice={name: Fact.read(fact) for name, fact in row.get("practice", {}).items()},
            origin=row.get("origin", "kit"),
            origins=tuple(sorted(row.get("origins", {}).items())),
            **{name: row.get(name, "") for name in cls._WORDS},
            **{name: tuple(row.get(name, ())) for name in cls._LISTS},
            **{name: Fact.read(row.get(name)) for name in cls._FACTS},
        )
