"""Column maps: which header of somebody else's table means what, kept as a TOML file. Used by `kit.tabular`."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from kit.errors import TableError

_BRACKETED = re.compile(r"^(.*?)\s*[\[(]([^\])]*)[\])]\s*$", re.DOTALL)
_APART = re.compile(r"^(.*\S)\s*(?:\s/|,)\s*(\S+)$")
_BARE = re.compile(r"^(.*\S)\s+(\S+)$")
# Units that stand behind a header without brackets; a single letter there is rather the name of a phase.
_BARE_UNITS = frozenset({"%", "°c", "degc", "°f", "degf", "rpm", "mv", "kg", "mg", "ml", "min", "sec", "g/ml", "g/cm3"})
_BARE_UNITS |= {"cp", "cps", "mpas", "mpa.s", "mpa·s", "mpa*s", "pas", "pa.s", "pa·s"}
_LETTERS = re.compile(r"[^\w%°]+|_+")
_COMMENT = "What the columns of a table mean. Headers are written as they stand in the file."


@dataclass(frozen=True)
class ColumnMap:
    """What each column of a table means.

    Parameters
    ----------
    name : str            What the map is for, such as "viscometer export".
    columns : dict        Header, as it stands in the file, to the field it fills.
    units : dict          Header to its unit, where the header does not say it or says it in a way of its own.
    decimal_mark : str    "." or ","; "" to find it from the numbers.
    delimiter, sheet, timezone : str   As `read_table` and the import take them; "" where not needed.
    header_row : int      Row that names the columns; 0 to find it.
    declared : dict       Field or condition to the value it has in the whole table.
    ignored : tuple       Headers that are left out on purpose.
    words : dict          Field to {word in the file: word of ours}, such as sample numbers to batches.
    skipped : tuple       First words of rows that are no items, such as "Mean" below the readings.
    units_row : bool      The row below the header holds units.
    date_order : str      "DMY" or "MDY" where days are written like 05.03.2026; "" for year-month-day.
    """

    name: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    decimal_mark: str = ""
    delimiter: str = ""
    sheet: str = ""
    header_row: int = 0
    timezone: str = ""
    declared: Mapping[str, str] = field(default_factory=dict)
    ignored: tuple[str, ...] = ()
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    skipped: tuple[str, ...] = ()
    units_row: bool = False
    date_order: str = ""

    def save(self, path: str | Path) -> Path:
        """Write the map as TOML; a file that is there is not replaced unless it holds a map.

        Raises
        ------
        TableError   `table.map_exists`, `table.map_unwritable`.
        """
        path = Path(path)
        if path.exists():
            _refuse_other_file(path)
        try:
            path.write_text(self.toml(), encoding="utf-8", newline="\n")
        except OSError as problem:
            raise TableError(
                f"the column map cannot be written: {problem.strerror}",
                where=str(path),
                mend="choose a folder that is there and that you may write to",
                code="table.map_unwritable",
            ) from None
        return path

    def row(self) -> dict[str, Any]:
        """The map as a plain table of what it says, in the form `from_row` takes."""
        return {part.name: _plain(value) for part in fields(self) if (value := getattr(self, part.name))}

    def toml(self) -> str:
        """The map as the text of its file."""
        import tomlkit

        document = tomlkit.document()
        document.add(tomlkit.comment(_COMMENT))
        said = {"name": "", "columns": {}} | self.row()
        for key in sorted(said, key=lambda key: isinstance(said[key], dict)):  # tables come last in TOML
            document[key] = said[key]
        return tomlkit.dumps(document)

    @classmethod
    def load(cls, path: str | Path) -> ColumnMap:
        """Read a map that `save` wrote, or a person.

        Raises
        ------
        TableError   `table.map_missing`, `table.map_unreadable`, `table.map_key`, `table.map_value`.
        """
        path = Path(path)
        try:
            found = tomllib.loads(path.read_text(encoding="utf-8"))
        except OSError as problem:
            raise TableError(
                f"the column map cannot be read: {problem.strerror}",
                where=str(path),
                mend="check the name and the folder",
                code="table.map_missing",
            ) from None
        except ValueError as problem:  # TOML, or bytes that are no UTF-8
            raise TableError(
                f"the column map is not TOML: {problem}",
                where=path.name,
                mend="correct that place",
                code="table.map_unreadable",
            ) from None
        return cls.from_row(found, where=path.name)

    @classmethod
    def from_row(cls, row: Mapping[str, Any], *, where: str = "column map") -> ColumnMap:
        """The map of a plain table, as TOML gives it.

        Raises
        ------
        TableError   `table.map_key`, `table.map_value`.
        """
        known = {part.name: getattr(cls(), part.name) for part in fields(cls)}
        for key, value in row.items():
            if key not in known:
                raise TableError(
                    f"{key!r} is not a part of a column map",
                    where=where,
                    allowed=", ".join(known),
                    mend="correct or delete it",
                    code="table.map_key",
                )
            _check_kind(key, value, known[key], where)
        return cls(**{key: tuple(value) if isinstance(value, list) else value for key, value in row.items()})

    def places(self, header: Sequence[str], *, where: str = "") -> dict[int, str]:
        """Place of each mapped column in a header, with the field it fills.

        Raises
        ------
        TableError   `table.map_fit`: a mapped header is missing or stands twice, or one is neither mapped nor ignored.
        """
        wanted = {_key(cell): target for cell, target in self.columns.items()}
        left_out = {_key(cell) for cell in self.ignored}
        found = {place: wanted[_key(cell)] for place, cell in enumerate(header) if _key(cell) in wanted}
        here = [_key(cell) for cell in header]
        missing = [cell for cell in self.columns if _key(cell) not in here]
        twice = [cell for cell in self.columns if here.count(_key(cell)) > 1]
        new = [cell for cell in header if cell and _key(cell) not in {*wanted, *left_out}]
        if missing or twice or new:
            raise self._does_not_fit(header, where, missing, twice, new)
        return found

    def unit_of(self, header: str) -> str:
        """The unit of a column: the map's word, else what the header itself says; "" where neither does."""
        said = {_key(cell): unit for cell, unit in self.units.items()}
        return said.get(_key(header), split_header(header)[1])

    def _does_not_fit(
        self, header: Sequence[str], where: str, missing: list[str], twice: list[str], new: list[str]
    ) -> TableError:
        parts = [
            f"{words} {', '.join(map(repr, cells))}"
            for words, cells in (
                ("the table has no column", missing),
                ("more than one column is headed", twice),
                ("the map does not say what to do with", new),
            )
            if cells
        ]
        return TableError(
            f"the column map{f' {self.name!r}' if self.name else ''} does not fit: {'; '.join(parts)}",
            where=where,
            allowed=f"columns there: {', '.join(cell for cell in header if cell)}",
            mend="map these columns, or list them under ignored; or name the header row",
            code="table.map_fit",
        )


def propose(header: Sequence[str], known: Mapping[str, Iterable[str]], *, name: str = "") -> ColumnMap:
    """A map for a header by the spelling of its cells; what fits nothing is listed as ignored, for a person to look at.

    Parameters
    ----------
    header : sequence of str   The cells as they stand.
    known : dict               Field to the words that people head such a column with; the field's own name counts too.
    name : str                 What to call the map.
    """
    fields_by_word = {fold(word): target for target, words in known.items() for word in (*words, target)}
    chosen: dict[int, str] = {}
    for reading in (fold, lambda cell: fold(split_header(cell)[0])):  # a header that fits whole goes before one cut
        for place, cell in enumerate(header):
            target = fields_by_word.get(reading(cell)) if cell else None
            if target and place not in chosen and target not in chosen.values():
                chosen[place] = target
    columns = {header[place]: chosen[place] for place in sorted(chosen)}
    units = {cell: unit for cell in columns if (unit := split_header(cell)[1])}
    ignored = dict.fromkeys(cell for place, cell in enumerate(header) if cell and place not in chosen)
    return ColumnMap(name=name, columns=columns, units=units, ignored=tuple(ignored))


def split_header(cell: str) -> tuple[str, str]:
    """A header's words and its unit, "" where it has none.

    Examples
    --------
    >>> split_header("Visc (cP)"), split_header("Temp. °C"), split_header("Phase C"), split_header("Mass / g")
    (('Visc', 'cP'), ('Temp.', '°C'), ('Phase C', ''), ('Mass', 'g'))
    """
    text = cell.strip()
    if found := _BRACKETED.match(text):
        return (found.group(1).strip(), found.group(2).strip()) if found.group(1).strip() else (text, "")
    if found := _APART.match(text):
        return found.group(1), found.group(2)
    found = _BARE.match(text)
    return (found.group(1), found.group(2)) if found and found.group(2).casefold() in _BARE_UNITS else (text, "")


def fold(cell: str) -> str:
    """A header without the differences of spelling: case, punctuation, spaces.

    Examples
    --------
    >>> fold("Sample-ID "), fold("RM no."), fold("% w/w")
    ('sample id', 'rm no', '% w w')
    """
    return " ".join(_LETTERS.sub(" ", cell.casefold()).split())


def _key(cell: str) -> str:
    return " ".join(cell.split()).casefold()


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    return list(value) if isinstance(value, tuple) else value


_KINDS = {
    str: "a text",
    int: "a whole number",
    bool: "true or false",
    tuple: "a list of texts",
    dict: "a table of texts",
}


def _check_kind(key: str, value: Any, default: Any, where: str) -> None:
    kind = type(default)
    if kind is tuple:
        fits = isinstance(value, list) and all(isinstance(item, str) for item in value)
    elif key == "words":
        fits = isinstance(value, dict) and all(_is_text_table(table) for table in value.values())
    else:
        fits = _is_text_table(value) if kind is dict else type(value) is kind
    if not fits:
        raise TableError(
            f"{key} = {value!r} cannot stand in a column map",
            where=where,
            allowed=_KINDS[kind],
            mend="correct it; numbers and dates stand in quotation marks",
            code="table.map_value",
        )


def _is_text_table(value: Any) -> bool:
    return isinstance(value, dict) and all(isinstance(item, str) for item in value.values())


def _refuse_other_file(path: Path) -> None:
    try:
        ColumnMap.load(path)
    except TableError:
        raise TableError(
            f"{path.name} is there already and is not a column map; it was not touched",
            where=str(path.parent),
            mend="choose another name",
            code="table.map_exists",
        ) from None
