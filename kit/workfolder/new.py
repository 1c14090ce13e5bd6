"""Laying out a working folder: a formula to edit, an empty lab book, notebooks, and a page on where things are."""

from __future__ import annotations

import json
import re
import shutil
import unicodedata
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from kit.errors import KitError
from kit.labbook.book import new_labbook
from kit.labbook.drive import cautions_for
from kit.labbook.readings_text import COLUMNS
from kit.workfolder.fresh import cannot_make, clear, make_empty

EMPTY_FOLDERS = ("readings", "writeups", "backups")
PAGE, STUDY, MATERIALS = "README.md", "study.ipynb", "materials/own.toml"
_LONGEST_NAME = 80
_RESERVED = re.compile(r"con|prn|aux|nul|(com|lpt)\d")  # names of devices, which Windows gives to no file


@dataclass(frozen=True, slots=True)
class WorkingFolder:
    """What was laid out.

    Attributes
    ----------
    folder, formula, labbook, materials, study, page : Path
    notebooks : tuple    The notebooks that come with the kit, on invented data.
    cautions : tuple     What is unsafe about where the folder lies, in words.
    """

    folder: Path
    formula: Path
    labbook: Path
    materials: Path
    study: Path
    page: Path
    notebooks: tuple[Path, ...]
    cautions: tuple[str, ...] = ()


def new_folder(folder: str | Path, *, name: str = "") -> WorkingFolder:
    """Lay out a working folder. Nothing that is there is ever overwritten.

    Parameters
    ----------
    folder : str or Path   Made when missing; must be empty otherwise.
    name : str             What the formula is called; after the folder when omitted.

    Raises
    ------
    KitError   `folder.not_empty`, `folder.cannot_make`, `folder.name`.
    """
    folder = Path(folder)
    words = _words(name.strip() or folder.absolute().name)
    was_there = make_empty(folder, taken="folder.not_empty", cannot="folder.cannot_make")
    try:
        return _lay_out(folder, words)
    except OSError as problem:
        clear(folder, was_there)
        raise cannot_make(folder, problem, "folder.cannot_make") from None
    except BaseException:
        clear(folder, was_there)
        raise


def file_stem(name: str) -> str:
    """A file name, without its ending, from what a formula is called: "Sage rinse" is sage-rinse."""
    stem = "-".join(re.findall(r"\w+", unicodedata.normalize("NFC", name).lower())) or "formula"
    return f"{stem}-formula" if _RESERVED.fullmatch(stem) else stem


def study_name(name: str) -> str:
    """Three capital letters to begin the names of trials with: "Sage rinse" gives SAG."""
    plain = unicodedata.normalize("NFKD", name)
    letters = "".join(letter for letter in plain if letter.isascii() and letter.isalpha())
    return (letters[:3] if len(letters) > 2 else "STU").upper()


def _words(name: str) -> dict[str, str]:
    """What stands in the files in place of @key@."""
    if not name or len(name) > _LONGEST_NAME or any(unicodedata.category(letter) in ("Cc", "Cs") for letter in name):
        raise KitError(
            f"{name[:_LONGEST_NAME]!r} cannot be the name of a formula",
            allowed=f"1 to {_LONGEST_NAME} letters on one line",
            mend='give one with --name "Sage rinse"',
            code="folder.name",
        )
    stem = file_stem(name)
    return {"name": name, "formula": f"{stem}.toml", "labbook": f"{stem}.labbook", "study": study_name(name)}


def _lay_out(folder: Path, words: dict[str, str]) -> WorkingFolder:
    for inside in (*EMPTY_FOLDERS, "materials", "notebooks"):
        (folder / inside).mkdir()
    _write(folder / words["formula"], _filled("formula.toml", {**words, "name": _quoted(words["name"])}))
    _write(folder / MATERIALS, _filled("materials.toml", words))
    _write(folder / STUDY, _study(words))
    _write(folder / PAGE, _filled("page.md", words))
    _write(folder / "readings" / "columns.csv", ",".join(COLUMNS) + "\n")
    for notebook in shipped_notebooks():
        shutil.copyfile(notebook, folder / "notebooks" / notebook.name)
    with new_labbook(folder / words["labbook"], title=words["name"]):
        pass
    return WorkingFolder(
        folder=folder,
        formula=folder / words["formula"],
        labbook=folder / words["labbook"],
        materials=folder / MATERIALS,
        study=folder / STUDY,
        page=folder / PAGE,
        notebooks=tuple(sorted((folder / "notebooks").glob("*.ipynb"))),
        cautions=cautions_for(folder, probe=True),
    )


def shipped_notebooks() -> list[Path]:
    """The notebooks that come with the kit: inside the package, or beside it as in a checkout."""
    package = Path(__file__).parents[1]
    places = (package / "notebooks", package.parent / "notebooks")
    return next((found for place in places if (found := sorted(place.glob("*.ipynb")))), [])


def _filled(name: str, words: dict[str, str]) -> str:
    text = files("kit.workfolder").joinpath(name).read_text(encoding="utf-8")
    return re.sub(r"@(name|formula|labbook|study)@", lambda found: words[found[1]], text)


def _study(words: dict[str, str]) -> str:
    """The notebook of the study; a quotation mark in a name must not end a text in it."""
    return _filled("study.ipynb", {key: _quoted(value) for key, value in words.items()})


def _quoted(text: str) -> str:
    """As it stands between quotation marks in TOML and in JSON alike."""
    return json.dumps(text, ensure_ascii=False)[1:-1]


def _write(path: Path, text: str) -> None:
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text)
