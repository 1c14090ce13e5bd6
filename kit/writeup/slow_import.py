"""Keeping slow, unneeded imports out of the way of every run.

`jsonschema`, which `nbformat` needs, tries to import packages that check the format of addresses and durations, and
does without where they are absent. JupyterLab brings them in: `rfc3987_syntax` compiles a grammar while it is imported,
about a second; `isoduration` loads a whole library of dates. No notebook here contains what they check. In the kernel,
`ipykernel` tries to import a debugger, for which no run asks. The finder below hides each from the one package that
would do without, and only while that one is being imported: whoever imports it on purpose, then or later, gets it.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.abc import MetaPathFinder

# Hidden package: the module that would do without it, and a name it has once it has been imported.
HIDDEN = {
    "rfc3987_syntax": ("jsonschema", "FormatChecker"),
    "rfc3986_validator": ("jsonschema", "FormatChecker"),
    "isoduration": ("jsonschema", "FormatChecker"),
    "debugpy": ("ipykernel.debugger", "Debugger"),
}


class _HideWhileImporting(MetaPathFinder):
    """Answers "not installed" for what is hidden while the module that would do without has not been imported whole."""

    def find_spec(self, fullname, path=None, target=None):
        if fullname in HIDDEN and _is_loading(*HIDDEN[fullname]):
            raise ModuleNotFoundError(f"{fullname} is not needed here", name=fullname)


def _is_loading(module: str, defined_last: str) -> bool:
    loading = sys.modules.get(module)
    return loading is not None and defined_last not in vars(loading)


def hide_slow_imports() -> MetaPathFinder:
    """Hide the packages until the process ends; returns the finder that does it."""
    finder = _HideWhileImporting()
    sys.meta_path.insert(0, finder)
    return finder


@contextmanager
def without_slow_imports() -> Iterator[None]:
    """Hide the packages inside the `with` block."""
    finder = hide_slow_imports()
    try:
        yield
    finally:
        sys.meta_path.remove(finder)
