"""What a command prints, what it says when it fails, and its exit codes."""

# ruff: noqa: T201 - a command prints

from __future__ import annotations

import os
import sys
from collections.abc import Callable

from kit.errors import KitError

OK, FOUND, ERROR, INTERRUPTED = 0, 1, 2, 130
"""Exit codes: done; something to mend was found; an error; stopped from the keyboard."""


def say(text: object) -> None:
    """Print; when the reader has gone away (`kit review ... | head`), go on in silence."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def note(text: str) -> None:
    """Print beside the results, on the error stream, so that what is piped on holds results only."""
    print(text, file=sys.stderr, flush=True)


def progress() -> Callable[[int, int], None] | None:
    """Counts the cells of a run on one line of the error stream, where somebody watches it."""
    if not sys.stderr.isatty():
        return None
    return lambda done, total: print(
        f"\r  cell {done} of {total} ", end="\n" if done == total else "", file=sys.stderr, flush=True
    )


def fail(paragraph: str) -> int:
    """Say an error in its one paragraph; gives the exit code."""
    note(f"kit: {paragraph}")
    return ERROR


def interrupted() -> int:
    """Say that the command was stopped; gives the exit code."""
    note("\nkit: stopped. What was acknowledged is recorded; nothing else was.")
    return INTERRUPTED


def usage(error: Exception) -> int:
    """Say which part of a command line cannot be read; gives the exit code."""
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "kit"
    said = error.format_message()  # type: ignore[attr-defined]
    return fail(KitError(said, mend=f"{command} --help shows what it takes", code="cli.usage").paragraph())


def unexpected(error: Exception) -> str:
    """The paragraph for an error nobody foresaw; its traceback goes to a file for whoever mends the kit."""
    import tempfile
    import traceback

    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="kit-error-", suffix=".log", delete=False, encoding="utf-8"
        ) as log:
            traceback.print_exception(error, file=log)
        kept = f"keep {log.name}, which says where it happened, for whoever mends it"
    except OSError:
        kept = "the details could not be kept: no temporary file can be written"
    return KitError(
        f"the kit has a fault of its own: {type(error).__name__}: {' '.join(str(error).split())[:300]}",
        where="kit",
        mend=f"{kept}; what was acknowledged before is recorded",
        code="kit.unexpected",
    ).paragraph()


def forgiving_streams() -> None:
    """Letters that a terminal cannot show are replaced, not fatal."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
