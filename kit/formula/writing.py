"""Writing a formula file."""

from __future__ import annotations

from pathlib import Path

from kit.errors import FormulaError
from kit.formula.composition import Step
from kit.formula.model import FormulaModel, Phase, SpecLine
from kit.units import plain


def save_formula(formula: FormulaModel, path: str | Path, *, overwrite: bool = False) -> Path:
    """Write a formula file and give its path. A file that holds anything else is never overwritten unasked.

    Raises
    ------
    FormulaError   `formula.file_exists`, `formula.file_write`.
    """
    path = Path(path)
    text = formula_text(formula)
    if path.exists() and not overwrite and not _holds(path, text):
        raise FormulaError(
            f"{path.name} exists and holds something else",
            where=str(path.parent),
            mend="save under a new name, or pass overwrite=True",
            code="formula.file_exists",
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as problem:
        raise FormulaError(
            f"the formula could not be written: {problem.strerror}",
            where=str(path),
            mend="check the folder and the disk",
            code="formula.file_write",
        ) from None
    return path


def _holds(path: Path, text: str) -> bool:
    try:
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n") == text
    except (OSError, UnicodeDecodeError):
        return False


def formula_text(formula: FormulaModel) -> str:
    """The formula as the text of its file."""
    import tomlkit  # writing only

    document = tomlkit.document()
    for name in ("name", "version", "product", "why", "parent", "note"):
        if getattr(formula, name):
            document[name] = getattr(formula, name)
    for key, rows in (
        ("spec", [_spec_table(line) for line in formula.spec]),
        ("phase", [_phase_table(phase) for phase in formula.phases]),
        ("step", [_step_table(step) for step in formula.steps]),
    ):
        if rows:
            tables = tomlkit.aot()
            for row in rows:
                tables.append(tomlkit.item(row))
            document[key] = tables
    return tomlkit.dumps(document)


def _phase_table(phase: Phase) -> dict:
    lines = [
        {
            "material": line.material.key,
            **({"qs": True} if line.qs else {"pct": plain(line.pct)}),
            **({"why": line.why} if line.why else {}),
        }
        for line in phase.lines
    ]
    return {"name": phase.name, "kind": phase.kind, "line": lines}


def _spec_table(line: SpecLine) -> dict:
    numbers = {name: plain(getattr(line, name)) for name in ("low", "high") if getattr(line, name) is not None}
    words = {name: getattr(line, name) for name in ("unit", "method", "age") if getattr(line, name)}
    return {"property": line.property, **numbers, **words, **({"allowed": list(line.allowed)} if line.allowed else {})}


def _step_table(step: Step) -> dict:
    row: dict = {"do": step.do, **({"phase": step.phase} if step.phase else {})}
    if step.temp_c is not None:
        row["temp"] = f"{plain(step.temp_c)} degC"
    if step.temps_c:
        row["temps"] = {name: f"{plain(temp)} degC" for name, temp in step.temps_c}
    for name in ("rpm", "minutes"):
        if getattr(step, name) is not None:
            row[name] = plain(getattr(step, name))
    return {**row, **({"text": step.text} if step.text else {})}
