"""The kernel a template runs in: an ordinary IPython kernel, started light and with the usual imports done.

Run as a program, by its own path, with the arguments of any kernel (`-f CONNECTION_FILE`). While the calling process
still loads what it needs to talk to the kernel, this one already imports what the template will: the modules of the kit
that are named in the environment.
"""

from __future__ import annotations

import gc
import importlib
import json
import os
import sys
from pathlib import Path
from typing import Any

PRELOAD = "KIT_PRELOAD"  # modules, with commas between


def main(arguments: list[str]) -> None:
    """Start the kernel and serve until told to stop."""
    gc.disable()  # all that is loaded here stays: looking through it for garbage again and again finds none
    _find_the_callers_kit()
    from kit.writeup.slow_import import hide_slow_imports

    hide_slow_imports()
    from ipykernel.kernelapp import IPKernelApp

    application = IPKernelApp.instance()
    application.initialize([*arguments, "--HistoryManager.enabled=False"])
    for name in filter(None, ["IPython.display", *os.environ.pop(PRELOAD, "").split(",")]):
        _preload(name)
    gc.freeze()
    gc.enable()
    application.start()


def _find_the_callers_kit() -> None:
    """Make `import kit` find the package this file belongs to, as it did for the caller."""
    own_folder, root = Path(__file__).parent, Path(__file__).parents[2]
    sys.path[:] = [entry for entry in sys.path if not entry or Path(entry) != own_folder]
    if str(root) not in sys.path:
        sys.path.insert(0, str(root))


def _preload(name: str) -> None:
    try:
        importlib.import_module(name)
    except Exception:  # noqa: BLE001 - the template meets the same error in its own cell, where it is reported
        return


def report_error() -> str:
    """The last exception of a cell as JSON text: class, message, line in the cell and, for a KitError, its parts.

    Called inside the kernel by the runner after a cell has failed.
    """
    error = getattr(sys, "last_value", None)
    message = error.msg if isinstance(error, SyntaxError) else str(error)  # the whole text names a file of no use
    report: dict[str, Any] = {"kind": type(error).__name__, "message": message, "line": _line_of(error)}
    parts = ("what", "where", "allowed", "mend", "code")
    if hasattr(error, "paragraph") and all(isinstance(getattr(error, part, None), str) for part in parts):
        report["kit"] = {part: getattr(error, part) for part in parts}
    return json.dumps(report)


def report_values(names: list[str]) -> str:
    """The present values of top-level names as JSON text; a name that is gone or no JSON value maps to its repr."""
    from IPython import get_ipython

    namespace = get_ipython().user_ns
    return json.dumps({name: namespace.get(name, "(deleted)") for name in names}, default=repr)


def _line_of(error: BaseException | None) -> str:
    """The line of the failing cell, as written; empty where it is not known."""
    import linecache

    trace, line = getattr(error, "__traceback__", None), ""
    while trace is not None:
        filename = trace.tb_frame.f_code.co_filename
        if trace.tb_frame.f_globals.get("__name__") == "__main__":
            line = linecache.getline(filename, trace.tb_lineno).strip() or line
        trace = trace.tb_next
    return line


if __name__ == "__main__":
    main(sys.argv[1:])
