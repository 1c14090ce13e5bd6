"""Writing a formula file."""

from __future__ import annotations

from pathlib import Path

from kit.errors import FormulaError, KitError
from kit.formula.composition import Step
from kit.formula.diffs import refuse_edited
from kit.formula.library import load_library
from kit.formula.model import FormulaModel, Phase, SpecLine
from kit.formula.reading import read_as
from kit.units import plain

_WORDS = ("name", "version", "product", "why", "parent", "absorbed_by", "note")


def save_formula(formula: FormulaModel, path: str | Path, *, overwrite: bool = False) -> Path:
    """Write a formula file and give its path. A file that holds anything else is never overwritten unasked.

    Onto a file of the same formula the changes are made where they belong: comments, blank lines, spelling and order
    stay where the line still exists. A new file is written onto the text that the formula was read from.

    Raises
    ------
    FormulaError   `formula.version_edited` when the file holds another content under the same version label,
                   `formula.file_exists`, `formula.file_write`.
    """
    path = Path(path)
    before = _text_of(path)
    text = _onto(formula, formula.typed.replace("\r\n", "\n") if before is None else before)
    if path.exists() and not overwrite and before != text:
        _refuse_edit(formula, path, before)
        raise FormulaError(
            f"{path.name} exists and holds something else",
            where=str(path.parent),
            mend="save under a new name, or pass overwrite=True",
            code="formula.file_exists",
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if before != text:
            path.write_text(text, encoding="utf-8", newline=_line_end(path))
    except OSError as problem:
        raise FormulaError(
            f"the formula could not be written: {problem.strerror}",
            where=str(path),
            mend="check the folder and the disk",
            code="formula.file_write",
        ) from None
    return path


def _text_of(path: Path) -> str | None:
    """What a file holds; None when it is not there or no text."""
    try:
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except (OSError, UnicodeDecodeError):
        return None


def _line_end(path: Path) -> str:
    """The line end a file has; that of Unix for a new one."""
    return "\r\n" if path.exists() and b"\r\n" in path.read_bytes() else "\n"


def _known(formula: FormulaModel, text: str) -> FormulaModel | None:
    """The formula a file holds; None when it holds another one or none."""
    try:
        known = read_as(FormulaModel, text, formula.library or load_library())
    except KitError:
        return None
    return known if known.name == formula.name else None


def _refuse_edit(formula: FormulaModel, path: Path, before: str | None) -> None:
    known = _known(formula, before) if before is not None else None
    if known is not None and len(known.qs_lines) < 2:
        refuse_edited(known, formula, known_from=f"the file {path.name}")


def _onto(formula: FormulaModel, before: str) -> str:
    """The formula written onto what a file of it holds; written anew where that is not possible."""
    from kit.formula.keeping import commented_text, kept_text
    from kit.formula.statements import UnknownForm

    plain_text = formula_text(formula)
    known = _known(formula, before) if before else None
    if known is None or before == plain_text:
        return plain_text
    try:
        text = kept_text(before, _tables(known), _tables(formula))
        if formula_text(read_as(FormulaModel, text, formula.library or load_library())) == plain_text:
            return text
    except (UnknownForm, KitError):
        pass
    return commented_text(plain_text, before)


def _tables(formula: FormulaModel) -> dict[str, list[dict]]:
    """The rows of a formula file, by the table they stand in."""
    return {
        "": [{name: getattr(formula, name) for name in _WORDS if getattr(formula, name)}],
        "spec": [_spec_table(line) for line in formula.spec],
        "phase": [_phase_table(phase) for phase in formula.phases],
        "step": [_step_table(step) for step in formula.steps],
    }


def formula_text(formula: FormulaModel) -> str:
    """The formula as the text of its file."""
    import tomlkit  # writing only

    document = tomlkit.document()
    tables = _tables(formula)
    for name, value in tables.pop("")[0].items():
        document[name] = value
    for key, rows in tables.items():
        if rows:
            array = tomlkit.aot()
            for row in rows:
                array.append(tomlkit.item(row))
            document[key] = array
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
