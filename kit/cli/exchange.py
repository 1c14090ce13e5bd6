"""`kit export` and `kit labbook import`: the record out of a lab book, and back into a new one."""

# ruff: noqa: B008 - Typer reads the arguments of a command from its defaults

from __future__ import annotations

from pathlib import Path

from kit.cli.arguments import existing
from kit.cli.output import say
from kit.errors import KitError

FORMS = ("json", "csv", "xlsx")


def add(app) -> None:
    """Put the command into an application."""
    import typer

    @app.command()
    def export(
        labbook: Path = typer.Argument(..., metavar="LABBOOK", help="The lab book."),
        to: Path = typer.Option(
            ..., metavar="PATH", help="A new file or folder, or a folder that is there: then named after the lab book."
        ),
        form: str | None = typer.Option(
            None, "--as", metavar="FORM", help="json, csv or xlsx; told by the ending of the name when omitted."
        ),
        trial: list[str] = typer.Option(
            [], metavar="TRIAL", help="Tables of this trial only, as csv or xlsx; may be repeated."
        ),
    ) -> None:
        """Write a lab book in an open form: json and csv hold the whole record and can be taken back, xlsx is to read.

        csv is a folder, or one packed file where the name ends in .zip; no cell of it is run as a formula by a
        spreadsheet. With --trial it holds tables to read. Nothing is overwritten.

        Example: kit export linden.labbook --to linden.json
        """
        existing(labbook, "the lab book")
        chosen = _form(form, to)
        say(_export(labbook, _target(to, labbook, chosen), chosen, trial))


def add_import(commands) -> None:
    """Put the way back into the group of the lab book."""
    import typer

    @commands.command("import")
    def import_(
        exported: Path = typer.Argument(..., metavar="EXPORT", help="What kit export wrote as json or csv."),
        to: Path = typer.Option(..., metavar="LABBOOK", help="A new lab book, or an empty one."),
    ) -> None:
        """Make a lab book of an export: every chain is checked first, and it appears whole or not at all.

        Example: kit labbook import linden.json --to again.labbook
        """
        from kit.labbook.exchange import import_csv, import_json

        take = import_json if exported.suffix.lower() == ".json" else import_csv
        say(take(exported, to))


def _form(asked: str | None, to: Path) -> str:
    if asked is None:
        ending = to.suffix.lower().removeprefix(".")
        return ending if ending in FORMS and ending != "csv" else "csv"
    if asked.lower() not in FORMS:
        raise KitError(f"{asked!r} is not a form of export", where="--as", allowed=", ".join(FORMS),
                       mend="name one of these", code="cli.form")  # fmt: skip
    return asked.lower()


def _target(to: Path, labbook: Path, form: str) -> Path:
    """Into a folder that is there: under the name of the lab book."""
    if not to.is_dir():
        return to
    return to / (f"{labbook.stem}-{form}" if form == "csv" else f"{labbook.stem}.{form}")


def _export(labbook: Path, to: Path, form: str, trials: list[str]) -> object:
    from kit.labbook.exchange import export_csv, export_json, export_xlsx

    if form == "json":
        if trials:
            raise KitError(
                "a json export holds the whole record, not single trials",
                where="--trial",
                allowed="csv or xlsx for tables of chosen trials",
                mend="add --as xlsx, or leave --trial out",
                code="cli.form",
            )
        return export_json(labbook, to)
    return (export_csv if form == "csv" else export_xlsx)(labbook, to, trials)
