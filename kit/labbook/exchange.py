"""A lab book out of the kit and back: the whole record as JSON or CSV, and readable tables as XLSX or CSV.

JSON and CSV hold the record exactly: taken into a new lab book it gives the same chains, and exported again the same
bytes. Tables of chosen trials are for reading and for other programs; they are not taken back.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from kit.errors import RecordError
from kit.labbook import exchange_csv, exchange_json
from kit.labbook.exchange_record import (
    ExchangeReport,
    checked_store,
    outline_of,
    take_in,
    verified,
    written,
)
from kit.labbook.exchange_tables import Cell, PlainTable, tables_of
from kit.labbook.source import Source, open_source
from kit.units import plain


def export_json(source: object, path: str | Path) -> ExchangeReport:
    """Write the whole record of a lab book into one JSON file, every entry verbatim.

    Parameters
    ----------
    source : Labbook, Source or path   An open lab book or its file.
    path : str or Path                 The new file; one that is there is never overwritten.

    Raises
    ------
    RecordError   `exchange.exists`, `exchange.unsound`, `exchange.unwritable`; nothing is left behind.
    """
    path = Path(path)
    with checked_store(source) as store, _new(path) as draft:
        outline = outline_of(store)
        texts = ((entry.text, entry.hash) for entry in store.all_entries())
        with draft.open("wb") as file:
            exchange_json.write_record(file, outline, verified(outline, texts, store.path.name))
    return written(path, outline)


def export_csv(source: object, folder: str | Path, trials: Sequence[str] = ()) -> ExchangeReport:
    """Write the whole record of a lab book as CSV files, or readable tables of some trials.

    Parameters
    ----------
    source : Labbook, Source or path   An open lab book or its file; for tables a snapshot too.
    folder : str or Path               The new folder, or a name ending in .zip for one packed file.
    trials : sequence of str           Write tables of these trials in place of the record; they are not taken back.

    Raises
    ------
    RecordError   `exchange.exists`, `exchange.unsound`, `exchange.unwritable`, `exchange.zero_byte`, `labbook.trial`;
                  nothing is left behind.
    """
    path = Path(folder)
    if trials:
        with _reading(source) as found, _new(path, folder=True) as draft:
            tables = tables_of(found, _names(trials))
            count = sum(_write_table(draft, table) for table in tables)
        return ExchangeReport(path, 0, 0, f"{len(tables)} tables with {count} rows written")
    with checked_store(source) as store, _new(path, folder=True) as draft:
        outline = outline_of(store)
        texts = ((entry.text, entry.hash) for entry in store.all_entries())
        exchange_csv.write_record(draft, outline, verified(outline, texts, store.path.name))
    return written(path, outline)


def export_xlsx(source: object, path: str | Path, trials: Sequence[str] = ()) -> ExchangeReport:
    """Write readable tables as a workbook: trials, batches, weighings, readings, observations, compositions as made.

    Parameters
    ----------
    source : Labbook, Source or path   A lab book or a snapshot.
    path : str or Path                 The new .xlsx file.
    trials : sequence of str           Only these trials; all when empty.

    Raises
    ------
    RecordError   `exchange.exists`, `exchange.unwritable`, `exchange.too_long`, `labbook.trial`; nothing is left.
    """
    from kit.labbook.exchange_xlsx import write_workbook

    path = Path(path)
    with _reading(source) as found, _new(path) as draft:
        tables = tables_of(found, _names(trials))
        count = write_workbook(draft, tables)
    return ExchangeReport(path, 0, 0, f"{len(tables)} tables with {count} rows written")


def import_json(path: str | Path, new_labbook_path: str | Path) -> ExchangeReport:
    """Make a lab book of a JSON export; it appears whole and checked, or not at all.

    Parameters
    ----------
    path : str or Path               What `export_json` wrote.
    new_labbook_path : str or Path   The new lab book; an empty lab book of that name is replaced.

    Raises
    ------
    RecordError   `exchange.missing`, `exchange.not_an_export`, `exchange.newer`, `exchange.altered`,
                  `exchange.not_empty`, `exchange.unsound`, `labbook.not_found` for the folder.
    """
    path = _there(Path(path))
    outline = exchange_json.read_outline(path)
    return take_in(Path(new_labbook_path), outline, partial(exchange_json.read_texts, path), path.name)


def import_csv(folder: str | Path, new_labbook_path: str | Path) -> ExchangeReport:
    """Make a lab book of a CSV export, a folder or one packed file; otherwise as `import_json`.

    Parameters
    ----------
    folder : str or Path             What `export_csv` wrote.
    new_labbook_path : str or Path   The new lab book; an empty lab book of that name is replaced.

    Raises
    ------
    RecordError   As `import_json`.
    """
    path = _there(Path(folder))
    outline = exchange_csv.read_outline(path)
    return take_in(
        Path(new_labbook_path), outline, partial(exchange_csv.read_texts, path), path.name, exchange_csv.place_of
    )


def _names(trials: Sequence[str]) -> list[str]:
    return [trials] if isinstance(trials, str) else list(trials)


@contextmanager
def _reading(source: object) -> Iterator[Source]:
    """A source that is closed again where it was opened here."""
    found = open_source(source)
    try:
        yield found
    finally:
        if found is not source:
            found.close()


def _write_table(folder: Path, table: PlainTable) -> int:
    count = 0

    def rows() -> Iterator[list[str]]:
        nonlocal count
        for row in table.rows():
            count += 1
            yield [_text(cell) for cell in row]

    with (folder / f"{table.name}.csv").open("wb") as file:
        exchange_csv.write_table(file, table.columns, rows(), f"{table.name}.csv")
    return count


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell.replace("\0", "\\x00")  # for reading: CSV cannot keep it
    return str(cell) if isinstance(cell, int) else plain(cell)


def _there(path: Path) -> Path:
    if not path.exists():
        raise RecordError(
            f"there is no {path.name}",
            where=str(path.parent),
            mend="check the name and the folder",
            code="exchange.missing",
        )
    return path


@contextmanager
def _new(path: Path, *, folder: bool = False) -> Iterator[Path]:
    """A hidden file or folder beside `path`, which takes its name once it is whole; removed when anything fails."""
    packed = folder and path.suffix.lower() == ".zip"
    if path.exists():
        raise RecordError(
            f"{path.name} is there already; it was not touched",
            where=str(path.parent),
            mend="choose another name",
            code="exchange.exists",
        )
    scratch = None
    try:
        scratch = Path(tempfile.mkdtemp(prefix=f".{path.name}.", dir=path.parent))
        draft = scratch / "record" if folder else scratch / path.name
        if folder:
            draft.mkdir()
        yield draft
        if packed:
            exchange_csv.pack(draft, scratch / path.name)
            draft = scratch / path.name
        _give_name(draft, path)
    except OSError as problem:
        raise RecordError(
            f"{path.name} cannot be written: {problem.strerror or problem}",
            where=str(path.parent),
            mend="check that the folder is there, that you may write to it and that the disk is not full",
            code="exchange.unwritable",
        ) from problem
    finally:
        if scratch is not None:
            shutil.rmtree(scratch, ignore_errors=True)


def _give_name(draft: Path, path: Path) -> None:
    """Name what is finished without overwriting what somebody else put there meanwhile."""
    if draft.is_dir():
        os.rename(draft, path)  # refused where a folder of that name is not empty
        return
    from kit.labbook.migrate import place

    place(draft, path)
