"""The material library: the kit's starter materials, with a lab's own laid on top."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from pathlib import Path

from kit.errors import MaterialError
from kit.formula.factcheck import check_material, check_substance, known_keys, rows
from kit.formula.material import Fact, Material, Part, Substance
from kit.show import Table
from kit.sources import read_data

_FACTS = ("active_range", "use_range", "heat_max", "melt_min", "ph_window", "density")


@dataclass(frozen=True)
class Library:
    """Materials by key, found also by name, alias or INCI where that is unique."""

    materials: Mapping[str, Material]
    substances: Mapping[str, Substance]
    _names: Mapping[str, tuple[str, ...]] = field(repr=False, default_factory=dict)

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

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table())


def load_library(own: str | Path | None = None) -> Library:
    """The starter materials; `own` is a TOML file or a folder of them, laid on top.

    A material of the same key overrules the kit's, and its `origin` says so.

    Raises
    ------
    MaterialError   `material.file` for a file that cannot be read: which file, which row, what is wrong.
    """
    substances = _substances(read_data("substances.toml")["substance"], "kit")
    library = build(_materials(read_data("materials.toml")["material"], substances, {}, "kit"), substances)
    for path in _own_files(own):
        library = _lay_on_top(library, path)
    return library


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


def _lay_on_top(library: Library, path: Path) -> Library:
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8-sig"), parse_float=Decimal)
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
    known_keys(table, ("substance", "material"), path.name)
    own = _substances(rows(table, "substance", path.name), path.name)
    substances = {**library.substances, **own}
    known = {key: _with_substances(material, own) for key, material in library.materials.items()}
    materials = _materials(rows(table, "material", path.name), substances, known, path.name)
    return build({**known, **materials}, substances)


def _substances(rows: Iterable[Mapping], origin: str) -> dict[str, Substance]:
    made: dict[str, Substance] = {}
    for number, row in enumerate(rows, start=1):
        where = f"{origin}, substance {number} ({row.get('inci', 'no inci')})"
        _guarded(lambda row, where=where: check_substance(row, where), row, where)
        substance = _guarded(Substance.read, row, where)
        _only_once(substance.inci, made, where)
        made[substance.inci] = substance
    return made


def _with_substances(material: Material, own: Mapping[str, Substance]) -> Material:
    """The form with a lab's own facts about its parts."""
    if not any(part.inci in own for part in material.parts):
        return material
    parts = tuple(replace(part, substance=own.get(part.inci, part.substance)) for part in material.parts)
    made_from = tuple((_with_substances(base, own), pct) for base, pct in material.made_from)
    return replace(material, parts=parts, made_from=made_from)


def _materials(
    rows: Iterable[Mapping], substances: Mapping[str, Substance], known: Mapping[str, Material], origin: str
) -> dict[str, Material]:
    made: dict[str, Material] = {}
    for number, row in enumerate(rows, start=1):
        where = f"{origin}, material {number} ({row.get('key', 'no key')})"
        _guarded(lambda row, where=where: check_material(row, where), row, where)
        material = _guarded(
            lambda row, where=where: _material(row, substances, {**known, **made}, origin, where), row, where
        )
        _only_once(material.key, made, where)
        made[material.key] = material
    return made


def _only_once(name: str, made: Mapping, where: str) -> None:
    if name in made:
        raise MaterialError(
            f"{name!r} stands twice in the file", where=where, mend="keep one of the two", code="material.file"
        )


def _guarded(read, row: Mapping, where: str):
    try:
        return read(row)
    except KeyError as missing:
        raise MaterialError(
            f"{missing.args[0]!r} is missing", where=where, mend="add it", code="material.file"
        ) from None
    except (InvalidOperation, ValueError, TypeError, AttributeError) as problem:
        raise MaterialError(
            f"a value cannot be read: {problem}",
            where=where,
            mend='numbers are text in quotes, such as "80"',
            code="material.file",
        ) from None


def _material(
    row: Mapping, substances: Mapping[str, Substance], known: Mapping[str, Material], origin: str, where: str
) -> Material:
    made_from = tuple(
        (_base(item["material"], known, where), Decimal(item["pct"])) for item in row.get("made_from", ())
    )
    parts = _stock_parts(made_from) if made_from else tuple(_part(part, substances, where) for part in row["parts"])
    total = sum((part.pct for part in parts), Decimal(0))
    if total != 100:
        raise MaterialError(
            f"the parts add up to {total} %, not 100 %",
            where=where,
            mend="book the carrier or the water too",
            code="material.parts_total",
        )
    return Material(
        key=row["key"],
        name=row["name"],
        parts=parts,
        made_from=made_from,
        label_inci=row.get("label_inci", parts[0].inci),
        aliases=tuple(row.get("aliases", ())),
        function=row.get("function", ""),
        phases=tuple(row.get("phases", ())),
        hazards=tuple(row.get("hazards", ())),
        cautions=tuple(row.get("cautions", ())),
        note=row.get("note", ""),
        origin=origin,
        **{name: Fact.read(row.get(name)) for name in _FACTS},
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


def _stock_parts(made_from: tuple[tuple[Material, Decimal], ...]) -> tuple[Part, ...]:
    shares: dict[str, Part] = {}
    for material, pct in made_from:
        for part in material.parts:
            before = shares[part.inci].pct if part.inci in shares else Decimal(0)
            shares[part.inci] = Part(part.substance, before + part.pct * pct / 100, part.role, part.kind, part.source)
    return tuple(shares.values())


def _fold(text: str) -> str:
    return " ".join(str(text).lower().replace("-", " ").replace("_", " ").split())
