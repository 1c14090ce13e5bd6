"""What the columns of somebody's formula sheet mean, told by their headers in English, German or French."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from kit.errors import FormulaError
from kit.tabular import ColumnMap, RawRow, RawTable, is_blank, propose, split_header
from kit.tabular_map import fold

NAMES = ("code", "trade_name", "name", "inci")  # the order in which they are believed
AMOUNTS = ("pct", "grams", "amount")
MASS_UNITS = ("g", "kg", "mg")

FIELDS: Mapping[str, tuple[str, ...]] = {
    "phase": ("phases", "part", "section", "phase no", "teil", "partie"),
    "code": (
        *("house code", "rm no", "rm code", "rm", "rm number", "raw material no", "raw material code", "item no"),
        *("raw material number", "item code", "item", "material no", "material code", "material number", "article no"),
        *("ingredient code", "stock code", "internal code", "own code", "key", "rohstoff nr", "rohstoffnummer"),
        *("rohstoffnr", "rohstoffcode", "artikel nr", "artikelnummer", "art nr", "material nr", "materialnummer"),
        *("interne nr", "code mp", "code matière", "code matière première", "code article", "code interne"),
        *("n° mp", "no mp", "référence", "réf", "ref"),
    ),
    "trade_name": (
        *("tradename", "commercial name", "supplier name", "handelsname", "handelsbezeichnung"),
        *("nom commercial", "appellation commerciale", "dénomination commerciale"),
    ),
    "name": (
        *("material", "raw material", "ingredient", "ingredients", "component", "description", "raw materials"),
        *("rohstoff", "rohstoffe", "bezeichnung", "rohstoffbezeichnung", "bestandteil", "komponente", "inhaltsstoff"),
        *("zutat", "substanz", "matière première", "matières premières", "matière", "désignation", "ingrédient"),
        *("ingrédients", "composant", "nom"),
    ),
    "inci": (
        *("inci name", "inci names", "inci designation", "inci bezeichnung", "inci namen", "inci eu", "inci us"),
        *("nom inci", "dénomination inci", "désignation inci", "label name"),
    ),
    "strength": (
        *("assay", "active content", "active matter", "wirkstoffgehalt", "aktivgehalt", "waschaktive substanz"),
        *("titre", "teneur en actif", "matière active"),
    ),
    "qs": ("q s", "q s p", "qsp", "ad 100", "to 100", "make up"),
    "function": ("purpose", "role", "funktion", "zweck", "fonction", "rôle"),
    "lot": (
        *("lot no", "lot number", "batch no", "charge", "chargen nr", "chargennummer", "los nr"),
        *("n° lot", "n° de lot", "no lot", "numéro de lot"),
    ),
    "note": (
        *("notes", "remark", "remarks", "comment", "comments", "bemerkung", "bemerkungen", "anmerkung", "hinweis"),
        *("kommentar", "remarque", "remarques", "commentaire", "commentaires", "observation", "observations"),
    ),
}
_PERCENT = (
    *("%", "% w w", "w w %", "% ww", "wt %", "% wt", "weight %", "% weight", "percent", "percentage", "pct", "mass %"),
    *("% by weight", "percent by weight", "% m m", "% as supplied", "% in formula", "% formula", "gew %", "gewichts %"),
    *("massen %", "masse %", "ma %", "anteil %", "prozent", "% p p", "% en poids", "% massique", "pourcentage"),
)
_PERCENT_UNITS = ("%", "% w w", "w w", "w w %", "% m m", "m m", "wt %", "% wt", "gew %", "% p p", "in %", "prozent")
_AMOUNT = (
    *("amount", "quantity", "qty", "mass", "weight", "level", "dose", "dosage", "use level", "concentration", "share"),
    *("batch", "batch size", "batch weight", "target", "target weight", "per batch", "formula", "content"),
    *(
        "menge",
        "einwaage",
        "gewicht",
        "masse",
        "anteil",
        "soll",
        "formel",
        "rezeptur",
        "formule",
        "ansatz",
        "charge",
        "gehalt",
        "konzentration",
        "sollmenge",
    ),
    *("quantité", "qté", "poids", "pesée", "teneur", "fabrication"),
)
_NEEDS_UNIT = (
    "formel",
    "rezeptur",
    "formule",
    "batch",
    "charge",
    "formula",
    "content",
    "target",
    "fabrication",
)  # alone they head lots, or anything
_BATCH_OF = r"(?:batch|ansatz|charge|lot|fabrication)"
_FOR = r"(?:per|pro|par|je|für|pour|for|in|of|von|de|on|à)"
_MASS_WORD = r"(?P<unit>kg|g|mg|grams?|gramm|grammes?|kilograms?)"
_MASS_HEADER = re.compile(
    rf"(?:(?:menge|masse|gewicht|amount|quantity|quantité|poids|mass|weight) (?:in|en) )?"
    rf"{_MASS_WORD}(?: (?:{_FOR} )?(?:(?P<total>\d[\d ]*) ?(?P<of>kg|g))?(?: ?{_BATCH_OF})?)?"
)
_TOTAL_HEADER = re.compile(
    rf"(?:(?:{_BATCH_OF}|menge|masse|amount|quantity|quantité|{_FOR}) )*"
    rf"(?P<total>\d[\d ]*) ?(?P<of>kg|g)(?: {_BATCH_OF})?"
)
_TOTAL = re.compile(r"(\d[\d.,'’ ]*?)\s*(kg|g)\b", re.IGNORECASE)
_VOLUME = re.compile(r"\b(?:v v|vol|volume|volumen|ml|l|litre|liter|fl oz)\b")
_PHASE_CELL = re.compile(r"(?:phase\s*)?[A-Z]\d?[.):]?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Role:
    """What a column of amounts holds: the field it fills, its unit, and the mass of the batch its header states."""

    field: str
    unit: str = ""
    total: str = ""


def all_words() -> list[str]:
    """Every header that is known, for finding the header row."""
    words = [word for field, synonyms in FIELDS.items() for word in (*synonyms, field)]
    return [*words, *map(_unaccented, words), *_PERCENT, *_AMOUNT, *MASS_UNITS, "grams", "gramm", "g per batch"]


def name_columns(table: RawTable) -> RawTable:
    """The table with every filled column named: one without a header is called "column N"."""
    width = max((len(row.cells) for row in table.rows), default=0)
    header = [*table.header, *[""] * (width - len(table.header))]
    for place, cell in enumerate(header):
        if not cell and any(place < len(row.cells) and row.cells[place] for row in table.rows):
            header[place] = f"column {place + 1}"
    while header and not header[-1]:
        header.pop()
    return replace(table, header=tuple(header))


def amount_role(header: str) -> Role | None:
    """What a header says about amounts; None where it names no amount.

    Examples
    --------
    >>> amount_role("% (w/w)").field, amount_role("Batch (500 g)"), amount_role("% active")
    ('pct', Role(field='grams', unit='g', total='500 g'), None)
    """
    text, (words, unit) = fold(header), split_header(header)
    if text in _PERCENT:
        return Role("pct", "%")
    if found := _MASS_HEADER.fullmatch(text):
        return Role("grams", _mass_unit(found["unit"]), _stated_total(header) if found["total"] else "")
    if found := _TOTAL_HEADER.fullmatch(text):
        return Role("grams", found["of"], _stated_total(header))
    if fold(words) not in (*_AMOUNT, *map(_unaccented, _AMOUNT)) or (not unit and fold(words) in _NEEDS_UNIT):
        return None
    if fold(unit) in _PERCENT_UNITS:
        return Role("pct", "%")
    if unit.lower() in (*MASS_UNITS, "grams", "gramm", "grammes"):
        return Role("grams", _mass_unit(unit.lower()))
    if _TOTAL.fullmatch(unit):
        return Role("grams", _TOTAL.fullmatch(unit)[2].lower(), unit)
    return Role("amount") if not unit else None


def with_unit_row(table: RawTable) -> tuple[RawTable, tuple[str, ...]]:
    """The table with the units of a second header row put into the headers: "Amount" above "% w/w" is "Amount (% w/w)".

    Returns
    -------
    tuple   The table, and what was done in words; both as they were where the first row is no row of units.
    """
    first = table.rows[0].cells if table.rows else ()
    units = {place: cell for place, cell in enumerate(first) if not is_blank(cell)}
    heads = {place: table.header[place] for place in units if place < len(table.header)}
    if not units or len(heads) < len(units) or not all(_is_unit_of(heads[place], units[place]) for place in units):
        return table, ()
    header = tuple(f"{cell} ({units[place]})" if place in units else cell for place, cell in enumerate(table.header))
    return replace(table, header=header, rows=table.rows[1:]), ("the row below the header holds units",)


def _is_unit_of(header: str, cell: str) -> bool:
    """Whether a cell is the unit of a column that without it is one of amounts."""
    role = amount_role(f"{header} ({cell})")
    bare = amount_role(header)
    return role is not None and role.field != "amount" and (bare is None or bare.field == "amount")


def propose_columns(table: RawTable) -> tuple[ColumnMap, tuple[str, ...]]:
    """A column map for a formula sheet, with a reason for every column.

    Raises
    ------
    FormulaError   `intake.columns`: two columns could be the amounts. Missing ones are found by `check_columns`.
    """
    roles = {cell: role for cell in table.header if cell and (role := amount_role(cell))}
    chosen = _amounts(roles, table.name)
    known = {field: [*words, *map(_unaccented, words)] for field, words in FIELDS.items()}
    found = propose(["" if cell in roles else cell for cell in table.header], known)
    fields = {**found.columns, **{cell: role.field for cell, role in chosen.items()}}
    _add_phase(fields, table)
    columns = {cell: fields[cell] for cell in table.header if cell in fields}
    ignored = tuple(dict.fromkeys(cell for cell in table.header if cell and cell not in columns))
    units = {cell: role.unit for cell, role in chosen.items() if role.unit}
    totals = [role.total for role in chosen.values() if role.total]
    declared = {"total": totals[0]} if totals else {}
    proposed = ColumnMap(name=f"formula sheet {table.name}", columns=columns, units=units, ignored=ignored)
    return replace(proposed, declared=declared), (*_reasons(proposed), *_total_reason(declared))


def check_columns(columns: ColumnMap, table: RawTable) -> dict[int, str]:
    """Place of each mapped column, with the field it fills.

    Raises
    ------
    TableError     `table.map_fit` when the map does not fit the header.
    FormulaError   `intake.map_field` for a field there is not; `intake.columns` when no column names the materials or
                   none holds amounts; `intake.volume` when amounts stand by volume only.
    """
    allowed = (*FIELDS, *AMOUNTS)
    for cell, field in columns.columns.items():
        if field not in allowed:
            raise FormulaError(
                f"the column map gives {cell!r} the field {field!r}",
                where=table.name,
                allowed=", ".join(allowed),
                mend="use one of these fields",
                code="intake.map_field",
            )
    for key in columns.declared:
        if key not in ("total", "phase"):
            raise FormulaError(
                f"the column map declares {key!r}",
                where=table.name,
                allowed="total, phase",
                mend="a formula sheet takes these two for the whole table",
                code="intake.map_field",
            )
    places = columns.places(table.header, where=table.name)
    fields = list(places.values())
    if not set(fields) & set(AMOUNTS):
        _refuse_without_amounts(table)
    if not set(fields) & set(NAMES):
        raise _columns(table, "no column names the materials", "RM no., trade name, material, INCI", "name")
    twice = next((field for field in fields if fields.count(field) > 1), "")
    if twice:
        raise _columns(table, f"two columns fill the field {twice!r}", "one column a field")
    return places


def without_header(table: RawTable) -> RawTable:
    """A table whose first row turned out to be data: the row is put back, the columns are called "column N"."""
    first = RawRow(table.header_row, table.header)
    rows = (*table.above, first, *table.rows)
    width = max(len(row.cells) for row in rows)
    names = tuple(f"column {place}" for place in range(1, width + 1))
    return replace(table, header=names, rows=rows, above=(), width=width)


def propose_by_content(table: RawTable, is_amount, is_known) -> ColumnMap | None:
    """A map for a table without a header, by what its cells hold; None where that cannot be told.

    Parameters
    ----------
    table : RawTable        From `without_header`.
    is_amount : callable    Whether a text is an amount.
    is_known : callable     Whether a text names a material.
    """
    cells = {name: _column(table, place) for place, name in enumerate(table.header)}
    filled = {name: texts for name, texts in cells.items() if texts}
    amounts = [name for name, texts in filled.items() if _share(texts, is_amount) > 0.8]
    named = [name for name, texts in filled.items() if name not in amounts and _share(texts, is_known) > 0.4]
    if len(amounts) != 1 or not named:
        return None
    phases = [name for name, texts in filled.items() if name not in (*amounts, *named) and _are_phases(texts)]
    fields = {**dict(zip(named, ("name", "inci", "trade_name", "code"), strict=False)), amounts[0]: "amount"}
    if phases:
        fields[phases[0]] = "phase"
    columns = {name: fields[name] for name in table.header if name in fields}
    return ColumnMap(columns=columns, ignored=tuple(name for name in table.header if name not in columns))


def _amounts(roles: Mapping[str, Role], where: str) -> dict[str, Role]:
    """The columns of amounts that are read: the percentage, and the mass beside it."""
    by_field = {field: [cell for cell, role in roles.items() if role.field == field] for field in AMOUNTS}
    chosen: dict[str, Role] = {}
    for field in AMOUNTS:
        cells = by_field[field]
        if len(cells) > 1 and not chosen:
            raise FormulaError(
                f"{len(cells)} columns could be the amounts: {', '.join(map(repr, cells))}",
                where=where,
                mend=f'say which with a column map: columns = {{"{cells[0]}" = "{field}", ...}}, the others ignored',
                code="intake.columns",
            )
        if cells and (field != "amount" or not chosen):
            chosen[cells[0]] = roles[cells[0]]
    return chosen


def _add_phase(fields: dict[str, str], table: RawTable) -> None:
    if "phase" in fields.values():
        return
    for place, cell in enumerate(table.header):
        if cell == f"column {place + 1}" and _are_phases(_column(table, place)):
            fields[cell] = "phase"
            return


def _are_phases(texts: Iterable[str]) -> bool:
    texts = list(texts)
    return bool(texts) and all(_PHASE_CELL.fullmatch(text) for text in texts)


def _column(table: RawTable, place: int) -> list[str]:
    return [row.cells[place] for row in table.rows if place < len(row.cells) and not is_blank(row.cells[place])]


def _share(texts: list[str], test) -> float:
    return sum(1 for text in texts if test(text)) / len(texts)


def _reasons(proposed: ColumnMap) -> Iterable[str]:
    words = {"pct": "% w/w", "grams": "mass", "amount": "amount, its unit in the cells", "name": "material"}
    for cell, field in proposed.columns.items():
        unit = f" in {proposed.units[cell]}" if field == "grams" else ""
        by = "by its cells" if cell.startswith("column ") else "by its header"
        yield f"column {cell!r} read as {words.get(field, field.replace('_', ' '))}{unit}, {by}"
    if proposed.ignored:
        yield f"columns left out: {', '.join(map(repr, proposed.ignored))}"


def _total_reason(declared: Mapping[str, str]) -> Iterable[str]:
    if declared:
        yield f"batch of {declared['total']}, as the header says"


def _refuse_without_amounts(table: RawTable) -> None:
    volumes = [cell for cell in table.header if _VOLUME.search(fold(cell))]
    if volumes:
        raise FormulaError(
            f"the amounts stand by volume ({', '.join(map(repr, volumes))})",
            where=table.name,
            allowed="% w/w, or mass in g, kg or mg",
            mend="turn each volume into a mass with the density of the material; % v/v is never % w/w",
            code="intake.volume",
        )
    raise _columns(table, "no column holds amounts", "%, % w/w, g, g per batch, amount (g)", "pct")


def _columns(table: RawTable, what: str, allowed: str, field: str = "pct") -> FormulaError:
    named = [cell for cell in table.header if cell]
    example = next((cell for cell in reversed(named) if cell.isprintable() and '"' not in cell), "LIN-02")
    return FormulaError(
        f"{what}; the columns are {', '.join(map(repr, filter(None, table.header)))}",
        where=table.name,
        allowed=f"headers such as {allowed}",
        mend="head the columns so, or say what they mean with a column map: "
        f'columns = {{"{example}" = "{field}", ...}}',
        code="intake.columns",
    )


def _mass_unit(word: str) -> str:
    return "kg" if word.startswith("k") else "mg" if word == "mg" else "g"


def _stated_total(header: str) -> str:
    found = _TOTAL.search(header)
    return f"{found[1].strip()} {found[2].lower()}" if found else ""


def _unaccented(word: str) -> str:
    """A word without its accents, as many people type headers; ä, ö, ü also as ae, oe, ue are left to the map."""
    return "".join(letter for letter in unicodedata.normalize("NFD", word) if not unicodedata.combining(letter))
