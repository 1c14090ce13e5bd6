"""Finding templates: the kit's own by name, a lab's own by path."""

from __future__ import annotations

import difflib
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from kit.errors import RunError

SUFFIX = ".ipynb"


@dataclass(frozen=True)
class TemplateFile:
    """A template as read: its text, the notebook in it as plain JSON values, and the hash of the text.

    The hash is SHA-256 over the UTF-8 text with line ends as LF, so that a checkout on another system agrees.
    """

    path: Path
    text: str
    notebook: dict[str, Any]
    sha256: str


def list_templates() -> list[str]:
    """Names of the templates that come with the kit, in alphabetical order."""
    return sorted({path.stem for folder in _folders() for path in folder.glob(f"*{SUFFIX}")})


def find_template(name_or_path: str | Path) -> Path:
    """The file of a template.

    Parameters
    ----------
    name_or_path : str or Path   Name of one of the kit's templates ("trial_writeup"), else the path of a lab's own.

    Raises
    ------
    RunError   `template.unknown`, with the names there are.
    """
    name = str(name_or_path)
    is_name = isinstance(name_or_path, str) and "/" not in name and "\\" not in name and not name.endswith(SUFFIX)
    if is_name:
        for folder in _folders():
            if (folder / f"{name}{SUFFIX}").is_file():
                return folder / f"{name}{SUFFIX}"
    elif Path(name_or_path).is_file():
        return Path(name_or_path)
    near = difflib.get_close_matches(name, list_templates(), n=1, cutoff=0.5)
    raise RunError(
        f'There is no template "{name}"',
        allowed=", ".join([*list_templates(), f"or the path of your own {SUFFIX} file"]),
        mend=f'perhaps "{near[0]}"' if near else "",
        code="template.unknown",
    )


def read_template(path: Path) -> TemplateFile:
    """Read a template file without running or changing it.

    Raises
    ------
    RunError   `template.unreadable`: the file cannot be read or is no notebook of format 4.
    """
    try:
        text = path.read_text(encoding="utf-8")
        notebook = json.loads(text)
    except OSError as error:
        raise _unreadable(path, f"cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise _unreadable(path, "is not UTF-8 text") from None
    except ValueError as error:
        raise _unreadable(path, f"is no notebook: {error}") from None
    is_notebook = isinstance(notebook, dict) and isinstance(notebook.get("cells"), list)
    if not is_notebook or notebook.get("nbformat") != 4:
        raise _unreadable(path, "is no notebook of format 4")
    return TemplateFile(path, text, notebook, hashlib.sha256(text.encode("utf-8")).hexdigest())


def _unreadable(path: Path, what: str) -> RunError:
    mend = "open it in JupyterLab and save it once more, or take a fresh copy"
    return RunError(f"The template {path.name} {what}", where=str(path), mend=mend, code="template.unreadable")


def _folders() -> list[Path]:
    """Folders the kit's templates may lie in: inside the package, or beside it as in a checkout."""
    package = Path(__file__).parents[1]
    return [folder for folder in (package / "templates", package.parent / "templates") if folder.is_dir()]
