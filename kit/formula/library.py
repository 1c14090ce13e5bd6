"""The material library: the kit's starter materials, with a lab's own laid on top."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path

from kit.errors import MaterialError
from kit.formula.material import MATERIAL_FACTS, Fact, Material, Part, Substance
from kit.formula.prices import Price, latest_prices, read_price
from kit.formula.shelf import KIT, Overruling, Row, Shelf, guarded, read_allergens
from kit.show import Table
from kit.sources import read_data, sources


@dataclass(frozen=True)
class Library:
    """Materials by key, found also by name, alias or INCI where that is unique.

    `prices` are a lab's own, by material key; `overrulings` the facts of the kit that a lab's files overruled.
    """

    materials: Mapping[str, Material]
    substances: Mapping[str, Substance]
    _names: Mapping[str, tuple[str, ...]] = field(repr=False, default_factory=dict)
    prices: Mapping[str, Price] = field(repr=False, default_factory=dict)
    overrulings: tuple[Overruling, ...] = field(repr=False, default=())

    def __iter__(self) -> Iterator[Material]:
        return iter(self.materials.values())

    def __len__(self) -> int:
        return len(self.materials)

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and len(self._names.get(_fold(name), ())) == 1

    def find(self, name: str, *, where: str = "") -> Material:
        """The one material a key, name, alias or INCI name stands for.

        Raises
        ------
        MaterialError   `material.ambiguous` when an INCI name fits several supply forms (they are listed),
                        `material.unknown` when none fits (the nearest names are listed).
        """
        if name in self.materials:
            return self.materials[name]
        keys = self._names.get(_fold(name), ())
        if len(keys) == 1:
            return self.materials[keys[0]]
        if keys:
            forms = "; ".join(f"{key} ({self.materials[key].name})" for key in keys)
            raise MaterialError(
                f"{name!r} fits several supply forms",
                where=where,
                allowed=forms,
                mend="name one of them by its key",
                code="material.ambiguous",
            )
        near = self.nearest(name)
        raise MaterialError(
            f"there is no material {name!r}",
            where=where,
            allowed=f"nearest: {', '.join(near)}" if near else "",
            mend="use a key of the library, or add the material to your own materials file and load it with "
            'load_library("my_materials/")',
            code="material.unknown",
        )

    def nearest(self, name: str) -> list[str]:
        """Keys whose key, name or INCI is spelled most like `name`, best first, at most four."""
        close = difflib.get_close_matches(_fold(name), list(self._names), n=6, cutoff=0.55)
        inside = [text for text in self._names if len(_fold(name)) > 3 and _fold(name) in text]
        keys = dict.fromkeys(key for text in [*close, *inside] for key in self._names[text])
        return list(keys)[:4]

    def table(self) -> Table:
        """The shelf: key, name, function, active content."""
        rows = [
            (material.key, material.name, material.function, f"{format(material.active_pct, 'f')} %")
            for material in self
        ]
        return Table(("key", "material", "function", "active"), rows, title="Materials", numeric=frozenset({3}))

    def overruled(self) -> Table:
        """The facts of the kit that a lab's own files overruled: both values, and whose file it was."""
        known = sources()
        rows = [
            (
                item.name,
                item.fact,
                item.after,
                item.before,
                item.fact_kind,
                str(known.get(item.source, item.source)),
                item.origin,
            )
            for item in self.overrulings
        ]
        columns = ("material or substance", "fact", "now", "before", "kind", "source", "whose file")
        note = "" if rows else "No fact of the kit is overruled."
        return Table(columns, rows, title="Overruled facts", note=note)

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__


def load_library(own: str | Path | None = None) -> Library:
    """The starter materials; `own` is a TOML file or a folder of them, laid on top in the order of their names.

    A material of a key the kit knows stands in its place when it states its `parts` (or `made_from`), and overrules
    single facts when it leaves them out or says `overrules = true`; `Library.overruled()` lists what changed. Prices
    come from own files alone.

    Raises
    ------
    MaterialError   `material.file` for a file that cannot be read: which file, which row, what is wrong;
                    `material.parts_total`, `material.substance`, `material.practice`, `material.price`.
    """
    shelf = Shelf()
    for name in ("substances.toml", "materials.toml", "practice.toml"):
        shelf.lay(read_data(name), KIT)
    for path in _own_files(own):
        shelf.lay(_table(path), path.name)
    return _library(shelf)


def _library(shelf: Shelf) -> Library:
    substances = {inci: guarded(_substance_of(row), row.fields, row.where) for inci, row in shelf.substances.items()}
    materials: dict[str, Material] = {}
    for key, row in shelf.materials.items():
        practice = _practice(row, shelf)
        materials[key] = guarded(
            lambda fields, row=row, practice=practice: _material(row, fields, substances, materials, practice),
            row.fields,
            row.where,
        )
    library = build(materials, substances)
    return replace(library, prices=_prices(shelf, library), overrulings=tuple(shelf.overrulings))


def build(materials: Mapping[str, Material], substances: Mapping[str, Substance]) -> Library:
    """A library with its index of names."""
    names: dict[str, list[str]] = {}
    for key, material in materials.items():
        for text in {_fold(item) for item in (key, material.name, *material.aliases, material.label_inci or key)}:
            names.setdefault(text, []).append(key)
    # A whole name or alias beats the INCI name that several forms share; two forms of one alias stay ambiguous.
    owned: dict[str, list[str]] = {}
    for key, material in materials.items():
        for text in {_fold(item) for item in (material.name, *material.aliases)} - {_fold(material.label_inci)}:
            owned.setdefault(text, []).append(key)
    names |= owned
    return Library(dict(materials), dict(substances), {text: tuple(keys) for text, keys in names.items()})


def _own_files(own: str | Path | None) -> list[Path]:
    if own is None:
        return []
    path = Path(own)
    if not path.exists():
        raise MaterialError(
            f"there is no materials file or folder {str(own)!r}",
            mend="give a .toml file or a folder of .toml files",
            code="material.file",
        )
    return sorted(path.glob("*.toml")) if path.is_dir() else [path]


def _table(path: Path) -> Mapping:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"), parse_float=Decimal)
    except tomllib.TOMLDecodeError as problem:
        raise MaterialError(
            f"the file is not readable: {problem}", where=path.name, mend="correct the line named", code="material.file"
        ) from None
    except UnicodeDecodeError as problem:
        raise MaterialError(
            f"the file is not UTF-8 text (byte {problem.start})",
            where=path.name,
            mend="save it as UTF-8",
            code="material.file",
        ) from None
    except OSError as problem:
        raise MaterialError(
            f"the file could not be read: {problem.strerror}",
            where=str(path),
            mend="check that you may read it",
            code="material.file",
        ) from None


def _substance_of(row: Row):
    return lambda fields: Substance.read({**fields, "origin": row.origin, "origins": row.origins})


def _practice(row: Row, shelf: Shelf) -> Row | None:
    """The rule of the trade for the class a form belongs to."""
    use = row.fields.get("use", "")
    if not use:
        return None
    if use not in shelf.practice:
        near = difflib.get_close_matches(str(use), list(shelf.practice), n=3, cutoff=0.4)
        raise MaterialError(
            f"there is no practice {use!r}",
            where=row.where,
            allowed=f"nearest: {', '.join(near)}" if near else "",
            mend=f"add a [practice.{use}] table to the same file, or correct the spelling of use",
            code="material.practice",
        )
    return shelf.practice[use]


def _prices(shelf: Shelf, library: Library) -> dict[str, Price]:
    prices = []
    for row in shelf.prices:
        price = read_price(row.fields, row.where, origin=row.origin)
        prices.append(replace(price, material=library.find(price.material, where=row.where).key))
    return latest_prices(prices)


def _material(
    row: Row,
    fields: Mapping,
    substances: Mapping[str, Substance],
    known: Mapping[str, Material],
    practice: Row | None,
) -> Material:
    made_from = tuple(
        (_base(item["material"], known, row.where), Decimal(item["pct"])) for item in fields.get("made_from", ())
    )
    parts = (
        stock_parts(made_from) if made_from else tuple(_part(part, substances, row.where) for part in fields["parts"])
    )
    total = sum((part.pct for part in parts), Decimal(0))
    if total != 100:
        raise MaterialError(
            f"the parts add up to {total} %, not 100 %",
            where=row.where,
            mend="book the carrier or the water too",
            code="material.parts_total",
        )
    rules = {name: Fact.read(fact) for name, fact in (practice.fields if practice else {}).items()}
    borrowed = {name: practice.origin for name in rules if name not in fields and practice.origin != row.origin}
    return Material(
        key=fields["key"],
        name=fields["name"],
        parts=parts,
        made_from=made_from,
        label_inci=fields.get("label_inci", parts[0].inci),
        aliases=tuple(fields.get("aliases", ())),
        function=fields.get("function", ""),
        phases=tuple(fields.get("phases", ())),
        hazards=tuple(fields.get("hazards", ())),
        cautions=tuple(fields.get("cautions", ())),
        note=fields.get("note", ""),
        allergens=read_allergens(fields),
        use=fields.get("use", ""),
        practice=rules,
        origin=row.origin,
        origins=tuple(sorted({**borrowed, **row.origins}.items())),
        **{name: Fact.read(fields.get(name)) or rules.get(name) for name in MATERIAL_FACTS},
    )


def _base(key: str, known: Mapping[str, Material], where: str) -> Material:
    if key not in known:
        near = difflib.get_close_matches(key, list(known), n=3)
        raise MaterialError(
            f"it is made from {key!r}, which is not a material listed before it",
            where=where,
            allowed=f"nearest: {', '.join(near)}" if near else "",
            mend="name a key, and put that material first",
            code="material.unknown",
        )
    return known[key]


def _part(row: Mapping, substances: Mapping[str, Substance], where: str) -> Part:
    if row["inci"] not in substances:
        near = difflib.get_close_matches(row["inci"], list(substances), n=3)
        raise MaterialError(
            f"there is no substance {row['inci']!r}",
            where=where,
            allowed=f"nearest: {', '.join(near)}" if near else "",
            mend="add a [[substance]] row for it to the same file",
            code="material.substance",
        )
    return Part(
        substances[row["inci"]],
        Decimal(row["pct"]),
        row.get("role", "active"),
        row.get("kind", "memory"),
        row.get("source", ""),
    )


def stock_parts(made_from: tuple[tuple[Material, Decimal], ...]) -> tuple[Part, ...]:
    """The INCI parts of a stock solution mixed from these materials, % w/w of the solution."""
    shares: dict[str, Part] = {}
    for material, pct in made_from:
        for part in material.parts:
            before = shares[part.inci].pct if part.inci in shares else Decimal(0)
            shares[part.inci] = Part(part.substance, before + part.pct * pct / 100, part.role, part.kind, part.source)
    return tuple(shares.values())


def _fold(text: str) -> str:
    return " ".join(str(text).lower().replace("-", " ").replace("_", " ").split())
