"""The page of a run on frozen data: written with the write-up, and made again when a bundle is verified."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from kit import __version__
from kit.labbook.source import open_source
from kit.writeup.page import load_parts, make_page


def page_of_run(notebook: Mapping[str, Any], snapshot: Path, *, title: str) -> str:
    """The page of an executed notebook and the snapshot it ran on, with the heads of every chain the snapshot holds.

    Parameters
    ----------
    notebook : mapping   In canonical form; its `kit` metadata names the template and its hash.
    snapshot : Path      The frozen data.
    title : str          Title of the page.

    Raises
    ------
    RecordError   When a chain of the snapshot is not whole.
    RunError      As in `make_page`.
    """
    return page_maker(snapshot, title=title)(notebook)


def page_maker(snapshot: Path, *, title: str) -> Callable[[Mapping[str, Any]], str]:
    """`page_of_run` in two steps: all that does not need the executed notebook is done here, before there is one.

    Parameters
    ----------
    snapshot : Path   The frozen data; not read again by what is returned.
    title : str       Title of the page.

    Returns
    -------
    callable   From an executed notebook to its page.

    Raises
    ------
    RecordError   When a chain of the snapshot is not whole.
    """
    provenance = {"kit_version": __version__, "snapshot_sha256": hashlib.sha256(snapshot.read_bytes()).hexdigest()}
    heads = open_source(snapshot).all_heads()
    load_parts()
    return partial(make_page, title=title, provenance=provenance, cautions=[], heads=heads)
