"""Formula files: TOML a formulator writes by hand, percentages kept exactly."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from kit.formula.formula import Formula
from kit.formula.library import Library, load_library
from kit.formula.reading import formula_file_text, read_as


def load_formula(path: str | Path, library: Library | None = None) -> Formula:
    """Read a formula file.

    Parameters
    ----------
    path : str or Path     A .toml file; see the README for its form.
    library : Library      Materials; the kit's starter materials when omitted.

    Raises
    ------
    FormulaError    `formula.file_missing`, `formula.file_broken` (line and column), `formula.key`, `formula.value`,
                    `formula.empty`, `formula.phase_kind`, `formula.step_kind`, `formula.product`.
    MaterialError   `material.unknown`, `material.ambiguous`.
    UnitError       For a number that cannot be read.
    """
    path = Path(path)
    return replace(read_formula(formula_file_text(path), library or load_library(), where=path.name), file=path.name)


def read_formula(text: str, library: Library, *, where: str = "formula") -> Formula:
    """Read a formula from TOML text; errors as in `load_formula`."""
    return read_as(Formula, text, library, where=where)
