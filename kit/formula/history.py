"""The history of a formula: its versions in the order they were made, with reasons and changed lines."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from kit.errors import FormulaError
from kit.formula.diffs import FormulaDiff, diff, refuse_edited
from kit.formula.library import Library, load_library
from kit.formula.model import FormulaModel
from kit.formula.reading import formula_file_text, read_as
from kit.show import Table, Worded


@dataclass(frozen=True, repr=False)
class HistoryEntry(Worded):
    """One version, the version it came from where that one is at hand, and what changed between the two.

    `broken` says in words why the parent is not at hand; empty for a first version and for one whose parent is.
    """

    formula: FormulaModel
    parent: FormulaModel | None = None
    changed: FormulaDiff | None = None
    broken: str = ""

    def words(self) -> str:
        """What this version is: the first, a change of another, or one with a lost parent."""
        if self.broken:
            return self.broken
        return self.changed.words() if self.changed is not None else "first version"


@dataclass(frozen=True)
class History:
    """Versions, every one after the one it came from."""

    entries: tuple[HistoryEntry, ...]

    @property
    def is_whole(self) -> bool:
        """Whether every version but the first has its parent at hand."""
        return not any(entry.broken for entry in self.entries)

    def table(self) -> Table:
        """Version, the one it came from, why, and what changed."""
        rows = [
            (
                entry.formula.version,
                entry.parent.version if entry.parent else "–",
                entry.formula.why or "no reason recorded",
                entry.words(),
                entry.formula.file,
            )
            for entry in self.entries
        ]
        names = " and ".join(dict.fromkeys(entry.formula.name for entry in self.entries))
        return Table(("version", "from", "why", "what changed", "file"), rows, title=f"History of {names}")

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__


def history(
    items: str | Path | FormulaModel | Iterable[str | Path | FormulaModel], library: Library | None = None
) -> History:
    """The history of formulas by the fingerprint each keeps of the version it came from.

    Parameters
    ----------
    items : files, folders, formulas   One or several; a folder stands for the formula files in it.
    library : Library                  Materials for the files; the kit's starter materials when omitted.

    Raises
    ------
    FormulaError   `formula.version_edited` when one label has two contents (the difference is told),
                   `formula.history_empty` when there is nothing to look at; and those of `load_formula`.
    """
    formulas = _unique(_formulas([items] if isinstance(items, (str, Path, FormulaModel)) else list(items), library))
    if not formulas:
        raise FormulaError(
            "there is no formula to look at",
            where="history()",
            allowed="formula files, a folder of them, or formulas",
            mend="name the folder the versions were saved to",
            code="formula.history_empty",
        )
    by_fingerprint = {formula.fingerprint: formula for formula in formulas}
    return History(tuple(_entry(formula, by_fingerprint, formulas) for formula in _ordered(formulas, by_fingerprint)))


def _formulas(items: Sequence[str | Path | FormulaModel], library: Library | None) -> list[FormulaModel]:
    found: list[FormulaModel] = []
    for item in items:
        if isinstance(item, FormulaModel):
            found.append(item)
            continue
        path = Path(item)
        for file in sorted(filter(_may_be_formula, path.glob("*.toml"))) if path.is_dir() else [path]:
            library = library or load_library()
            made = read_as(FormulaModel, formula_file_text(file), library, where=file.name)
            found.append(replace(made, file=file.name))
    return found


def _may_be_formula(file: Path) -> bool:
    """Whether a file is not plainly something else, such as materials or a column map; a damaged one is told later."""
    try:
        return "phase" in tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError):
        return True


def _unique(formulas: Iterable[FormulaModel]) -> list[FormulaModel]:
    """Each version once; a label with two contents is refused."""
    kept: dict[tuple[str, str, str], FormulaModel] = {}
    by_label: dict[tuple[str, str], FormulaModel] = {}
    for formula in formulas:
        label = (formula.name, formula.version)
        if label in by_label:
            refuse_edited(by_label[label], formula, known_from=by_label[label].file or "another version at hand")
        by_label.setdefault(label, formula)
        kept.setdefault((*label, formula.fingerprint), formula)
    return list(kept.values())


def _ordered(formulas: list[FormulaModel], by_fingerprint: dict[str, FormulaModel]) -> list[FormulaModel]:
    """Parents before children; beside one another in the order of their labels, 2 before 10."""
    waiting = sorted(formulas, key=lambda formula: (formula.name, *_label_key(formula.version)))
    done: list[FormulaModel] = []
    while waiting:
        ready = [one for one in waiting if not _waits(one, waiting, by_fingerprint)] or waiting[:1]
        done.append(ready[0])
        waiting.remove(ready[0])
    return done


def _waits(formula: FormulaModel, waiting: list[FormulaModel], by_fingerprint: dict[str, FormulaModel]) -> bool:
    parent = by_fingerprint.get(formula.parent)
    return parent is not None and parent is not formula and parent in waiting


def _label_key(version: str) -> tuple:
    digits = "".join(char if char.isdigit() else " " for char in version).split()
    return ([int(number) for number in digits], version)


def _entry(formula: FormulaModel, by_fingerprint: dict[str, FormulaModel], all_: list[FormulaModel]) -> HistoryEntry:
    if not formula.parent:
        return HistoryEntry(formula)
    parent = by_fingerprint.get(formula.parent)
    if parent is not None and parent is not formula:
        return HistoryEntry(formula, parent, diff(parent, formula))
    others = ", ".join(other.version for other in all_ if other is not formula and other.name == formula.name)
    at_hand = f"at hand: {others}; one of them may have been edited under its label" if others else "none is at hand"
    return HistoryEntry(
        formula, broken=f"made from version {formula.parent[:12]}, which is not among these ({at_hand})"
    )
