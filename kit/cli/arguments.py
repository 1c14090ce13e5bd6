"""What several commands share: groups, names with values, files that must be there, files that must not."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kit.errors import KitError

MATERIALS = (
    "Your own materials, a .toml file or a folder of them; the folder materials beside the formula when omitted."
)


def group(words: str):
    """An empty group of commands.

    Parameters
    ----------
    words : str   What its help says first.
    """
    import typer

    return typer.Typer(
        add_completion=False,
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        help=words,
        context_settings={"help_option_names": ["-h", "--help"]},
    )


def existing(path: Path, what: str) -> Path:
    """The path itself, when there is a file of that name.

    Raises
    ------
    KitError   `cli.file_missing`, with the lab books found there.
    """
    if not path.is_file():
        near = ", ".join(sorted(item.name for item in path.parent.glob("*.labbook"))) if path.parent.is_dir() else ""
        raise KitError(
            f"{what} {str(path)!r} is not there",
            allowed=f"found there: {near}" if near else "",
            mend="check the name and the folder",
            code="cli.file_missing",
        )
    return path


def own_materials(given: Path | None, formula: Path) -> Path | None:
    """The materials that were given; otherwise those of the folder `materials` beside a formula, where there is one."""
    beside = formula.parent / "materials"
    return given if given is not None or not any(beside.glob("*.toml")) else beside


def free(path: Path) -> Path:
    """The path itself, when nothing has that name yet and its folder is there.

    Raises
    ------
    KitError   `cli.exists`, `cli.folder_missing`.
    """
    if path.exists():
        raise KitError(
            f"there is a file {path.name} already; it was not touched",
            where=str(path.parent),
            mend="choose another name, or move that file away first",
            code="cli.exists",
        )
    if not path.parent.is_dir():
        raise KitError(
            f"the folder {str(path.parent)!r} is not there",
            where=str(path),
            mend="make the folder first",
            code="cli.folder_missing",
        )
    return path


def pairs(texts: Sequence[str], option: str) -> dict[str, str]:
    """Name to value of an option that is given as NAME=VALUE, once or several times.

    Raises
    ------
    KitError   `cli.name_value`.
    """
    found: dict[str, str] = {}
    for text in texts:
        name, mark, value = text.partition("=")
        if not mark or not name.strip():
            raise KitError(
                f"{text!r} is not a name with a value",
                where=option,
                allowed="NAME=VALUE",
                mend=f'write for example {option} "trial=LIN-03"',
                code="cli.name_value",
            )
        if name.strip() in found:
            raise KitError(
                f"{name.strip()!r} was given twice",
                where=option,
                mend="give it once; a list is written with commas",
                code="cli.name_value",
            )
        found[name.strip()] = value.strip()
    return found
