"""Keeping one slow, unneeded import out of the way of every run.

`jsonschema`, which `nbformat` needs, tries to import `rfc3987_syntax` and does without where it is absent. JupyterLab
brings that package in, and it compiles a grammar while it is imported: about a second, in the calling process and again
in the kernel, for a check of addresses no notebook here contains. The finder below hides the package from `jsonschema`
alone and only while `jsonschema` is being imported: whoever imports it on purpose, then or later, gets it.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.abc import MetaPathFinder

HIDDEN = "rfc3987_syntax"


class _HideWhileImporting(MetaPathFinder):
    """Answers "not installed" for `HIDDEN` while `jsonschema` has not finished its own import of formats."""

    def find_spec(self, fullname, path=None, target=None):
        if fullname == HIDDEN and _jsonschema_is_loading():
            raise ModuleNotFoundError(f"{HIDDEN} is not needed here", name=HIDDEN)


def _jsonschema_is_loading() -> bool:
    package = sys.modules.get("jsonschema")
    return package is not None and "FormatChecker" not in vars(package)


def hide_slow_import() -> MetaPathFinder:
    """Hide the package from `jsonschema` until the process ends; returns the finder that does it."""
    finder = _HideWhileImporting()
    sys.meta_path.insert(0, finder)
    return finder


@contextmanager
def without_slow_import() -> Iterator[None]:
    """Hide the package from `jsonschema` inside the `with` block."""
    finder = hide_slow_import()
    try:
        yield
    finally:
        sys.meta_path.remove(finder)
