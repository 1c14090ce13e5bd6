"""What each row of a formula sheet is: a line, the heading of a phase, a total, or a row that is left out."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from kit.formula.intake_columns import AMOUNTS, NAMES
from kit.tabular import RawRow, RawTable, is_blank
from kit.tabular_map import fold

LINE, HEADING, TOTAL, LEFT_OUT, UNCLEAR = "line", "heading", "total", "left out", "unclear"

_TOTAL = re.compile(
    r"\b(?:sub ?totals?|totals?|grand total|sums?|summe|zwischensumme|teilsumme|gesamt\w*|insgesamt|endsumme|somme"
    r"|sous total|total général)\b|^[σ∑]"
)
_PART_OF = re.compile(r"\b(?:sub|zwischen\w*|teilsumme|sous|phase|part|teil|partie)\b")
_KIND_WORDS = {
    "water": r"water|aqueous|wasser\w*|wässrige?|aqueuse|eau",
    "oil": r"oil|oily|fat|fatty|lipid|öl\w*|oel\w*|fett\w*|huileuse|grasse|huile",
    "cool-down": r"cool(?: ?down)?|cooling|cold|post add\w*|k[üu]hl\w*|abk[üu]hl\w*|kalt\w*|refroidi\w*|froide?",
    "adjust": r"adjust\w*|ph|einstell\w*|ajust\w*",
}
_KINDS = {kind: re.compile(rf"\b(?:{words})\b") for kind, words in _KIND_WORDS.items()}
_PHASE_WORD = re.compile(r"\b\w*phase\b")
_PHASE_TEXT = re.compile(r"(?:\w+ )?\w*phase|phase(?: \w+){1,2}")
_LETTERED = re.compile(
    r"^(?:phase|part|teil|partie|section)\s*[:.\-–]?\s*(?P<name>[A-Z]\d?|\d{1,2}|I{1,3}|IV|V)"
    r"(?:\s*[.):,\-–—]\s*|\s+|$)(?P<rest>.*)$",
    re.IGNORECASE,
)
_LETTER_FIRST = re.compile(r"^(?P<name>[A-Z]\d?)(?:\s*[.):\-–—]\s*|\s+)(?P<rest>.+)$")
_LETTER = re.compile(r"^(?P<name>[A-Z]\d?)[.):]?$", re.IGNORECASE)


@dataclass(frozen=True)
class Entry:
    """A row with what it is.

    Attributes
    ----------
    row : int           As the user counts.
    kind : str          LINE, HEADING, TOTAL, LEFT_OUT or UNCLEAR.
    cells : dict        Field to its text, the empty ones left out.
    numbers : frozenset Fields whose cells came as numbers.
    text : str          The row's texts, for the preview.
    phase : str         Name of the phase that a line or a sub-total stands in; "" where the table says none.
    why : str           Why a row is left out, or what is unclear.
    is_part : bool      A total that its words make the total of a phase.
    """

    row: int
    kind: str
    cells: Mapping[str, str]
    numbers: frozenset[str]
    text: str
    phase: str = ""
    why: str = ""
    is_part: bool = False

    @property
    def names(self) -> dict[str, str]:
        """The cells that name the material."""
        return {name: self.cells[name] for name in NAMES if name in self.cells}

    @property
    def amounts(self) -> dict[str, str]:
        """The cells that hold amounts."""
        return {name: self.cells[name] for name in AMOUNTS if name in self.cells}


@dataclass
class RowReader:
    """Reads rows from the top, remembering the phase they stand in.

    Parameters
    ----------
    table : RawTable     Its columns named.
    places : dict        Place of a column to its field.
    is_known : callable  Whether a text names a material.
    skipped : tuple      First words of rows that are no lines, from the column map.
    phase : str          Phase that holds until another is named.
    kinds : dict         Phase to the kind its heading says; filled on the way.
    """

    table: RawTable
    places: Mapping[int, str]
    is_known: Callable[[str], bool]
    skipped: Sequence[str] = ()
    phase: str = ""
    kinds: dict[str, str] = field(default_factory=dict)

    def entries(self) -> list[Entry]:
        """Every row below the header. Texts below the last line or total are left out."""
        found = [self._entry(row) for row in self.table.rows]
        items = [at for at, entry in enumerate(found) if entry.kind in (LINE, TOTAL)]
        first, last = (items[0], items[-1]) if items else (0, -1)
        return [
            _left_out(entry)
            if (entry.kind == UNCLEAR and not first < at < last)
            or (entry.kind == HEADING and at > last and not _has_number(entry))
            else entry
            for at, entry in enumerate(found)
        ]

    def _entry(self, row: RawRow) -> Entry:
        cells = {
            name: row.cells[place]
            for place, name in self.places.items()
            if place < len(row.cells) and not is_blank(row.cells[place])
        }
        numbers = frozenset(name for place, name in self.places.items() if place in row.numbers)
        texts = [cell for cell in row.cells if cell]
        kind, why, is_part = self._kind(row, cells, texts)
        phase = self.phase if kind in (LINE, TOTAL, HEADING) else ""
        return Entry(row.number, kind, cells, numbers, " | ".join(texts), phase, why, is_part)

    def _kind(self, row: RawRow, cells: Mapping[str, str], texts: list[str]) -> tuple[str, str, bool]:
        names = [cells[name] for name in NAMES if name in cells]
        amounts = [cells[name] for name in AMOUNTS if name in cells]
        if self._is_header(row):
            return LEFT_OUT, "the header again", False
        if any(texts[0].casefold().startswith(word.casefold()) for word in self.skipped if word):
            return LEFT_OUT, "the column map leaves it out", False
        words = [text for text in texts if text not in amounts]
        if total := next((word for word in words if self._is_total(word)), None):
            self._enter_named(total, cells)
            return TOTAL, "", bool(_PART_OF.search(fold(total)))
        if self._is_heading(cells, names, words):
            return HEADING, "", False
        if names and (amounts or "qs" in cells):
            self._enter_cell(cells)
            return LINE, "", False
        return self._without_name_or_amount(cells, names, amounts, words)

    def _without_name_or_amount(
        self, cells: Mapping[str, str], names: list[str], amounts: list[str], words: list[str]
    ) -> tuple[str, str, bool]:
        if amounts:
            return (UNCLEAR, "an amount without a material", False) if words else (TOTAL, "", False)
        if any(self.is_known(name) for name in names) or len(names) > 1:
            self._enter_cell(cells)
            return LINE, "", False  # refused later: a material without an amount
        if names or "phase" in cells:
            return UNCLEAR, "a text without an amount", False
        return LEFT_OUT, "neither material nor amount", False

    def _is_header(self, row: RawRow) -> bool:
        here = [
            (row.cells[place], self.table.header[place])
            for place in self.places
            if place < len(row.cells) and row.cells[place]
        ]
        return len(here) > 1 and all(fold(cell) == fold(head) for cell, head in here)

    def _is_total(self, text: str) -> bool:
        folded = fold(text)
        return bool(_TOTAL.search(folded)) and len(folded.split()) <= 6 and not self.is_known(text)

    def _is_heading(self, cells: Mapping[str, str], names: list[str], words: list[str]) -> bool:
        """Whether the row names a phase and no material; if so, the phase is entered."""
        if len(words) > 2 or any(name in cells for name in ("lot", "note", "strength")):
            return False
        if names and any(name in cells for name in AMOUNTS) and not _PHASE_WORD.search(fold(" ".join(words))):
            return False  # a house code such as B1 with its amount
        phase = cells.get("phase", "")
        if phase and not names and heading_of(phase) is None and len(phase.split()) > 2:
            return False  # a sentence in the first column
        if phase and not (names and self._is_material(names)):
            self._enter(*_phase_of(" ".join(words), phase))
            return True
        text = " ".join(words)
        heading = heading_of(text)
        if phase or heading is None or self._is_material(names):
            return False
        self._enter(*heading)
        return True

    def _is_material(self, names: list[str]) -> bool:
        return any(self.is_known(name) or heading_of(name) is None for name in names)

    def _enter_named(self, text: str, cells: Mapping[str, str]) -> None:
        """A sub-total may name its phase; it is one that was there."""
        if "phase" in cells and not self._is_total(cells["phase"]):
            self._enter_cell(cells)

    def _enter_cell(self, cells: Mapping[str, str]) -> None:
        if "phase" in cells:
            self._enter(*_phase_of(cells["phase"], cells["phase"]))

    def _enter(self, name: str, kind: str) -> None:
        self.phase = name
        if kind:
            self.kinds.setdefault(name, kind)


def _has_number(entry: Entry) -> bool:
    """Whether a heading states an amount, which is then the total of its phase."""
    return any(any(letter.isdigit() for letter in amount) for amount in entry.amounts.values())


def _left_out(entry: Entry) -> Entry:
    why = "a heading with no line below it" if entry.kind == HEADING else entry.why
    return Entry(entry.row, LEFT_OUT, entry.cells, entry.numbers, entry.text, why=why)


def heading_of(text: str) -> tuple[str, str] | None:
    """Name and kind of the phase that a text heads; None where it is no heading. The kind is "" where it is not said.

    Examples
    --------
    >>> heading_of("Phase A"), heading_of("B. Oil phase"), heading_of("Wasserphase"), heading_of("Glycerin")
    (('A', ''), ('B', 'oil'), ('Wasserphase', 'water'), None)
    """
    text = text.strip().rstrip(":")
    if found := _LETTERED.match(text) or _LETTER.match(text):
        rest = found.groupdict().get("rest") or ""
        return found["name"].upper(), kind_of(rest)
    found = _LETTER_FIRST.match(text)
    if found and _is_phase_text(found["rest"]):
        return found["name"], kind_of(found["rest"])
    return (text, kind_of(text)) if _is_phase_text(text) else None


def kind_of(text: str) -> str:
    """The kind of phase that words say: water, oil, cool-down or adjust; "" where they say none."""
    folded = fold(text)
    hits = {kind: found.start() for kind, words in _KINDS.items() if (found := words.search(folded))}
    hits |= {kind: 0 for kind, word in (("water", "wasserphase"), ("oil", "ölphase")) if word in folded}
    return min(hits, key=lambda kind: hits[kind]) if hits else ""


def _is_phase_text(text: str) -> bool:
    folded = fold(text)
    if _LETTER.match(text.strip()) or _LETTERED.match(text.strip()):
        return True
    if _PHASE_TEXT.fullmatch(folded):
        return bool(kind_of(text))
    return any(words.fullmatch(folded) for words in _KINDS.values()) and folded not in ("water", "oil", "eau", "ph")


def _phase_of(text: str, cell: str) -> tuple[str, str]:
    heading = heading_of(text) or heading_of(cell)
    return heading if heading else (cell.strip(), kind_of(cell))
