"""Files a template is given beside its source, copied to where it runs: no path of a machine is written down."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from kit.errors import ParameterError
from kit.writeup.parameters import read_declaration
from kit.writeup.templates import find_template, read_template


def take_along(template: str | Path, given: Mapping[str, Any], folder: Path) -> dict[str, Any]:
    """Copy what the path parameters name, the source excepted, into `folder`; the values with their bare names.

    Raises
    ------
    ParameterError   `template.file_missing` for a file or folder that is not there.
    RunError         `template.unknown`, `.unreadable`.
    """
    declaration = read_declaration(read_template(find_template(template)).notebook)
    taken = dict(given)
    for parameter in declaration.parameters:
        value = given.get(parameter.name)
        if parameter.type == "path" and parameter.name != "source" and isinstance(value, str | Path) and str(value):
            taken[parameter.name] = _copied(Path(value), parameter.name, folder, declaration.template)
    return taken


def _copied(path: Path, name: str, folder: Path, template: str) -> str:
    if not path.exists():
        raise ParameterError(
            f'The parameter "{name}" names {str(path)!r}, which is not there',
            where=f'template "{template}"',
            mend="check the name and the folder",
            code="template.file_missing",
        )
    target = folder / path.name
    if target.exists():  # another parameter's file of the same name
        target = folder / name / path.name
        target.parent.mkdir()
    if path.is_dir():
        shutil.copytree(path, target)
    else:
        shutil.copyfile(path, target)
    return target.relative_to(folder).as_posix()
