"""The papers of a panel as two files to print: the serving sheets, a page an assessor, and the key, kept apart."""

from __future__ import annotations

from pathlib import Path

from kit.bench.panel import PanelKept
from kit.errors import RecordError
from kit.labbook.source import open_source
from kit.show import Block, escape

_STYLE = (
    "body{margin:2em auto;max-width:48em;padding:0 1em}section{break-after:page}"
    "td:last-child{min-width:12em;height:2.2em}"
)


def write_panel_papers(source: object, name: str, *, to: str | Path) -> tuple[Path, Path]:
    """Write the serving sheets and the key of a panel as HTML files without any script.

    Parameters
    ----------
    source : object   What `open_source` takes: a lab book, its file, a snapshot.
    name : str        Of the panel.
    to : str or Path  A folder; made where it is not there.

    Returns
    -------
    (Path, Path)   The sheets, which tell nothing of what is what, and the key, for whoever neither serves nor judges.

    Raises
    ------
    RecordError   `panel.unknown`; `panel.papers` where a file of that name is there already.
    """
    panel = open_source(source).panel(name)
    folder = Path(to)
    folder.mkdir(parents=True, exist_ok=True)
    parts = panel.sheets().parts
    pages = [Block(parts[place : place + 2]) for place in range(0, len(parts), 2)]
    written = (folder / f"{name}-sheets.html", folder / f"{name}-key.html")
    for path in written:
        _refuse_overwriting(path)
    written[0].write_text(_document(panel, "serving sheets", pages), encoding="utf-8")
    written[1].write_text(_document(panel, "key, not for assessors", [panel.key()]), encoding="utf-8")
    return written


def _document(panel: PanelKept, what: str, pages: list[Block]) -> str:
    body = "".join(f"<section>{page._repr_html_()}</section>" for page in pages)
    title = escape(f"Panel {panel.name}: {what}")
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}</title><style>{_STYLE}</style>'
        f"</head><body>{body}</body></html>"
    )


def _refuse_overwriting(path: Path) -> None:
    if path.exists():
        raise RecordError(
            f"{path.name} is there already; it was not touched",
            where=str(path.parent),
            mend="choose another folder",
            code="panel.papers",
        )
