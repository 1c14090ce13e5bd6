"""A new folder to fill: made when missing, refused when it holds anything, emptied when the filling fails."""

from __future__ import annotations

import shutil
from pathlib import Path

from kit.errors import KitError


def make_empty(folder: Path, *, taken: str, cannot: str) -> bool:
    """Make a folder, or take an empty one; gives whether it was there before.

    Parameters
    ----------
    folder : Path         Made with the folders above it.
    taken, cannot : str   Codes of the errors: it holds something, it cannot be made.

    Raises
    ------
    KitError   With one of these codes; nothing in the folder was touched.
    """
    was_there = folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        held = next(folder.iterdir(), None)
    except OSError as problem:
        raise cannot_make(folder, problem, cannot) from None
    if held is not None:
        raise KitError(
            f"the folder {str(folder)!r} is not empty; nothing in it was touched",
            where=f"it holds {held.name}",
            mend="name a new folder",
            code=taken,
        )
    return was_there


def cannot_make(folder: Path, problem: OSError, code: str) -> KitError:
    """Why a folder could not be made or filled, in words."""
    return KitError(
        f"the folder {str(folder)!r} cannot be laid out: {problem.strerror or problem}",
        mend="name a folder you may write to, on a disk with room on it",
        code=code,
    )


def clear(folder: Path, was_there: bool) -> None:
    """Take away what was begun, and nothing else: the folder was empty before, or not there."""
    for item in folder.iterdir():
        shutil.rmtree(item, ignore_errors=True) if item.is_dir() else item.unlink(missing_ok=True)
    if not was_there:
        folder.rmdir()
