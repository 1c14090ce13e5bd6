"""A material that the library does not know, into a lab's own materials file: the form to fill in, and the writing."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from kit.errors import MaterialError
from kit.formula.factcheck import CATEGORIES, PHASES, ROLES, STRENGTHS
from kit.formula.library import Library, load_library
from kit.formula.material import KINDS
from kit.show import Worded

_STRENGTH = re.compile(r"(\d+(?:[.,]\d+)?)\s*%")
_FILE = "materials.toml"


@dataclass(frozen=True, repr=False)
class MaterialForm(Worded):
    """What must be known of a material before it can be used.

    Attributes
    ----------
    name : str          The name that was not known.
    key : str           The key proposed for it.
    nearest : tuple     Keys of materials spelled like it: perhaps it is one of these.
    material : dict     The [[material]] row, its unknown fields empty.
    substances : tuple  [[substance]] rows for INCI names that are not known either.
    to_fill : tuple     What to fill in, and where it is found, in words.
    """

    name: str
    key: str
    nearest: tuple[str, ...]
    material: Mapping[str, object]
    substances: tuple[Mapping[str, object], ...]
    to_fill: tuple[str, ...]

    @property
    def toml(self) -> str:
        """The rows as text for a materials file, what to fill in as comments above them."""
        comments = "".join(f"# {line}\n" for line in (f"{self.name}: fill in", *(f"- {line}" for line in self.to_fill)))
        return comments + _text(self.material, self.substances)

    def __str__(self) -> str:
        near = f"Perhaps it is one of these: {', '.join(self.nearest)}\n\n" if self.nearest else ""
        return near + self.toml


def add_form(name: str, library: Library, *, inci: str = "", aliases: Iterable[str] = ()) -> MaterialForm:
    """The form for a material that a library does not know.

    Parameters
    ----------
    name : str         As it is called in the lab.
    library : Library  What is known already.
    inci : str         Its INCI name, where that is known; else the first part is left empty.
    aliases : str      Other names it is called by: house codes, trade names.
    """
    known = {item.casefold(): item for item in library.substances}
    inci = known.get(inci.casefold(), inci)
    strength = _STRENGTH.search(name)
    pct = strength[1].replace(",", ".") if strength else ""
    part = {"inci": inci, "pct": pct, "role": "active", "kind": "supplier-typical", "source": "trade-form"}
    new_inci = not inci or inci not in library.substances
    material = {
        "key": _free_key(name, library),
        "name": name,
        "aliases": [alias for alias in dict.fromkeys(aliases) if alias and alias != name],
        "function": "",
        "phases": [],
        "parts": [part],
    }
    substances = ({"inci": inci, "category": ""},) if new_inci else ()
    return MaterialForm(
        name, material["key"], tuple(library.nearest(name)), material, substances, tuple(_to_fill(new_inci))
    )


def add_material(
    path: str | Path,
    material: Mapping[str, object],
    substances: Iterable[Mapping[str, object]] = (),
    *,
    library: Library | None = None,
) -> Path:
    """Write a material at the end of a lab's own materials file; what stands in the file stays byte for byte.

    The file is read as `load_library` reads it before it takes the old one's place: a row that cannot be loaded is
    never written. Empty fields are left out.

    Parameters
    ----------
    path : str or Path        A .toml file, made where it is not there, or a folder of them.
    material : dict           A [[material]] row, such as that of `MaterialForm`, filled in.
    substances : dict         [[substance]] rows for INCI names the library does not know.
    library : Library         What is in use now: a key it has is refused. Loaded from `path` when omitted.

    Returns
    -------
    Path   The file that was written.

    Raises
    ------
    MaterialError   `material.form` for a field that is still empty; `material.key_taken`; `material.file_write`; and
                    what `load_library` says of the row: `material.file`, `material.parts_total`, `material.substance`.
    """
    target = _target(Path(path))
    before = _bytes(target)
    _check_filled(material, substances)
    known = library or load_library(path if Path(path).exists() else None)
    key = str(material["key"])
    if key in known.materials:
        raise MaterialError(
            f"there is a material {key!r} already",
            where=target.name,
            allowed=f"it is {known.materials[key].name}",
            mend="choose another key, or overrule single facts by hand with overrules = true",
            code="material.key_taken",
        )
    after = _appended(before, _text(_filled(material), [_filled(row) for row in substances]))
    _try(target, after, folder=Path(path).is_dir())
    _write(target, after)
    return target


def _to_fill(new_inci: bool) -> Iterable[str]:
    if new_inci:
        yield f"substance: inci as on the label; category, one of {', '.join(CATEGORIES)}"
        yield f"substance, where it has a charge: charge, and charge_strength, one of {', '.join(STRENGTHS)}"
    yield "parts: every INCI part with its share of the form, carrier, solvent, water and preservative too; they add "
    yield f"  up to exactly 100. role: {', '.join(ROLES)}. From the supplier's data sheet or the lot's certificate"
    yield f"parts: kind, one of {', '.join(KINDS)}; source, a key of the list of sources"
    yield f"function, in a word or two; phases, any of {', '.join(PHASES)}; hazards, from the safety data sheet"
    yield "a stock solution or a premix made in the lab has made_from = [ { material = key, pct = ... } ] and no parts"


def _free_key(name: str, library: Library) -> str:
    base = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-") or "material"
    return next(key for key in (base, *(f"{base}-{count}" for count in range(2, 1000))) if key not in library.materials)


def _check_filled(material: Mapping[str, object], substances: Iterable[Mapping[str, object]]) -> None:
    empty = [name for name in ("key", "name") if not str(material.get(name, "")).strip()]
    made_of = material.get("parts") or material.get("made_from") or []
    if not made_of:
        empty.append("parts")
    for item in made_of:
        empty += [f"parts, {name}" for name in ("inci", "pct") if name in item and not str(item[name]).strip()]
    empty += [
        f"substance, {name}"
        for row in substances
        for name in ("inci", "category")
        if not str(row.get(name, "")).strip()
    ]
    if empty:
        raise MaterialError(
            f"not filled in: {', '.join(dict.fromkeys(empty))}",
            where=str(material.get("name") or "the new material"),
            allowed="what is not known of other fields may stay empty; these may not",
            mend="fill them in from the supplier's data sheet or the certificate",
            code="material.form",
        )


def _filled(row: Mapping[str, object]) -> dict[str, object]:
    return {name: value for name, value in row.items() if value not in ("", [], (), None)}


def _text(material: Mapping[str, object], substances: Iterable[Mapping[str, object]]) -> str:
    import tomlkit

    document = tomlkit.document()
    for kind, rows in (("substance", list(substances)), ("material", [material])):
        if rows:
            tables = tomlkit.aot()
            for row in rows:
                tables.append(_table(row))
            document[kind] = tables
    return tomlkit.dumps(document)


def _table(row: Mapping[str, object]):
    """A row as TOML, its parts one a line."""
    import tomlkit

    table = tomlkit.table()
    for name, value in row.items():
        if isinstance(value, list | tuple) and value and isinstance(value[0], Mapping):
            rows = tomlkit.array().multiline(True)
            for item in value:
                inline = tomlkit.inline_table()
                inline.update({key: str(part) for key, part in item.items()})
                rows.append(inline)
            table[name] = rows
        elif isinstance(value, Mapping):
            inline = tomlkit.inline_table()
            inline.update(value)
            table[name] = inline
        else:
            table[name] = list(value) if isinstance(value, tuple) else value
    return table


def _target(path: Path) -> Path:
    if path.is_dir():
        return path / _FILE
    if path.suffix != ".toml":
        raise MaterialError(
            f"{path.name!r} is not a materials file", where=str(path.parent), allowed="a .toml file, or a folder",
            mend="choose another name", code="material.file_write",
        )  # fmt: skip
    return path


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes() if path.exists() else b""
    except OSError as problem:
        raise _unwritable(path, problem) from None


def _appended(before: bytes, text: str) -> bytes:
    end = "\r\n" if b"\r\n" in before else "\n"
    gap = "" if not before.strip() else end if before.endswith(b"\n") else end * 2
    return before + (gap + text.replace("\n", end)).encode()


def _try(target: Path, after: bytes, *, folder: bool) -> None:
    """Load the new file, and the others of its folder where the folder is what is loaded, from a scratch place."""
    with tempfile.TemporaryDirectory() as scratch:
        for other in sorted(target.parent.glob("*.toml")) if folder else ():
            if other != target:
                (Path(scratch) / other.name).write_bytes(_bytes(other))
        (Path(scratch) / target.name).write_bytes(after)
        load_library(scratch)


def _write(target: Path, after: bytes) -> None:
    """Put the new file in the old one's place in one move, so that a stop half way loses nothing."""
    scratch = target.with_name(f".{target.name}.new")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        scratch.write_bytes(after)
        os.replace(scratch, target)
    except OSError as problem:
        scratch.unlink(missing_ok=True)
        raise _unwritable(target, problem) from None


def _unwritable(path: Path, problem: OSError) -> MaterialError:
    return MaterialError(
        f"the materials file could not be written: {problem.strerror}",
        where=str(path),
        mend="check the folder and the disk",
        code="material.file_write",
    )
