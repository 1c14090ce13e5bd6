"""`kit import`: a file of readings into a lab book."""

# ruff: noqa: B008 - Typer reads the arguments of a command from its defaults

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from kit.cli.arguments import free, pairs
from kit.cli.output import say
from kit.errors import KitError


def add(app) -> None:
    """Put the command into an application."""
    import typer

    @app.command("import")
    def import_(
        labbook: Path = typer.Argument(..., metavar="LABBOOK", help="The lab book."),
        readings: Path = typer.Argument(
            ..., metavar="READINGS", help="A file of readings with a header: .csv or .xlsx."
        ),
        column_map: Path | None = typer.Option(
            None, "--map", metavar="MAP.toml", help="What the columns of an instrument's file mean."
        ),
        save_map: Path | None = typer.Option(
            None,
            metavar="MAP.toml",
            help="Write a first map of the file's columns, to look at and then to give with --map; records nothing.",
        ),
        sheet: str | None = typer.Option(None, metavar="NAME", help="Which sheet, where several hold something."),
        decimal_mark: str | None = typer.Option(
            None, metavar="MARK", help='"." or ","; found from the numbers where only one reading is possible.'
        ),
        delimiter: str | None = typer.Option(
            None, metavar="WORD", help="semicolon, comma, tab or bar; found from the header."
        ),
        method: list[str] = typer.Option(
            [], metavar="NAME", help="Method for rows that name none; may be given once a property."
        ),
        declare: list[str] = typer.Option(
            [], metavar="NAME=VALUE", help='A condition of the whole file, "temp=25 degC".'
        ),
        unit: list[str] = typer.Option([], metavar="COLUMN=UNIT", help="The unit of a whole column, temp=degC."),
        timezone: str | None = typer.Option(None, metavar="ZONE", help='Zone of times without an offset, "+02:00".'),
        yes: bool = typer.Option(False, "--yes", "-y", help="Record without asking."),
    ) -> None:
        """Take a file of readings into a lab book: first a preview, then all of it or nothing.

        Every refused row is told with its reason. What is recorded already is not doubled. Readings that rest on
        --method or --declare are shown, not tested.

        Example: kit import linden.labbook readings.csv --decimal-mark , --yes
        """
        _refuse_order(labbook)
        if save_map is not None:
            _propose(readings, save_map, column_map, {"delimiter": delimiter, "sheet": sheet})
            return
        options = {
            "column_map": column_map,
            "sheet": sheet,
            "decimal_mark": decimal_mark,
            "delimiter": delimiter,
            "method": method or None,
            "timezone": timezone,
            "declared": pairs(declare, "--declare"),
            "units": pairs(unit, "--unit"),
        }
        _import(
            labbook, readings, options, ask=None if yes else lambda: typer.confirm("Record the new rows?", err=True)
        )


def _refuse_order(labbook: Path) -> None:
    if labbook.suffix.lower() in (".csv", ".tsv", ".txt", ".xlsx"):
        raise KitError(
            f"{labbook.name} is a file of readings, not a lab book",
            where="kit import",
            allowed="kit import LABBOOK READINGS",
            mend="give the lab book first, then the readings",
            code="cli.order",
        )


def _propose(readings: Path, to: Path, given: Path | None, options: dict) -> None:
    from kit.labbook.readings_map import propose_map
    from kit.labbook.readings_text import COLUMNS

    if given is not None:
        raise KitError("--map and --save-map were both given", where="kit import", allowed="one of the two",
                       mend="leave --save-map out to import with the map", code="cli.two_maps")  # fmt: skip
    found = propose_map(readings, **options)
    say(f"{found.toml()}\nWritten: {found.save(free(to))}")
    if found.ignored:
        say(f"Left out: {', '.join(found.ignored)}. To take one in, move it from ignored to [columns] and call it:")
        say(f"{', '.join(COLUMNS)}.")
    say(f"Look it through and correct it, then import with --map {to}. Nothing was recorded.")


def _import(labbook: Path, readings: Path, options: dict, ask: Callable[[], bool] | None) -> None:
    from kit.labbook.book import open_labbook

    with open_labbook(labbook) as book:
        preview = book.import_readings(readings, **options)
        say(preview)
        if preview.ok and preview.new and ask is not None and not ask():
            say("Nothing was recorded.")
            return
        say(preview.commit())
