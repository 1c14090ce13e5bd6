"""`kit labbook`: checking a lab book, backing it up, taking it back from a backup or an export."""

# ruff: noqa: B008 - Typer reads the arguments of a command from its defaults

from __future__ import annotations

from pathlib import Path

from kit.cli.arguments import group
from kit.cli.exchange import add_import
from kit.cli.output import FOUND, OK, note, say


def add(app) -> None:
    """Put the commands into an application."""
    commands = group("The lab book file: check it, back it up, take it back.")
    for command in (_add_check, _add_backup, _add_restore, add_import):
        command(commands)
    app.add_typer(commands, name="labbook")


def _add_check(app) -> None:
    import typer

    @app.command()
    def check(
        labbook: Path = typer.Argument(..., metavar="LABBOOK", help="The lab book; it may be open elsewhere."),
        page: Path | None = typer.Option(
            None,
            "--against",
            metavar="PAGE.html",
            help="A write-up page: the record must hold what it was printed from.",
        ),
    ) -> None:
        """Check a lab book whole: the file, every chain of entries, every row derived from them. Nothing is changed.

        It shows what was edited outside the kit; a forger who rebuilds the whole chain shows only against a page
        printed before.

        Exit code 0: nothing amiss; 1: problems, each in words; 2: it could not be read as a lab book at all.

        Example: kit labbook check linden.labbook --against writeups/LIN-03.html
        """
        from kit.labbook.book import Labbook
        from kit.labbook.drive import cautions_for
        from kit.labbook.store import Store

        with Labbook(Store.open(labbook, read_only=True)) as book:
            report = book.check(page)
        say(f"{labbook.name}: {report}")
        for caution in cautions_for(labbook.absolute().parent):
            note(f"Caution: {caution}")
        raise typer.Exit(OK if report.ok else FOUND)


def _add_backup(app) -> None:
    import typer

    @app.command()
    def backup(
        labbook: Path = typer.Argument(..., metavar="LABBOOK", help="The lab book; it may be open elsewhere."),
        to: Path | None = typer.Option(
            None,
            metavar="PATH",
            help="A folder, in which the backup is named after the time, or a new name that ends in .labbook. "
            "The folder backups beside the lab book when omitted.",
        ),
    ) -> None:
        """Back a lab book up, while a notebook has it open as well, and check the copy before success is said.

        Nothing is overwritten. Keep a backup on another disk than the lab book.

        Example: kit labbook backup linden.labbook --to backups
        """
        from kit.labbook.backup import back_up

        done = back_up(labbook, to)
        say(f"Backup: {done.path}\nChecked: {done.report}")
        for caution in done.cautions:
            note(f"Caution: {caution}")


def _add_restore(app) -> None:
    import typer

    @app.command()
    def restore(
        backup: Path = typer.Argument(..., metavar="BACKUP", help="The backup; it stays as it is."),
        to: Path = typer.Option(..., metavar="LABBOOK", help="The lab book to make."),
        set_aside: bool = typer.Option(
            False, "--set-aside", help="Keep a lab book that is there already, under a dated name beside it."
        ),
    ) -> None:
        """Take a lab book back from a backup: the backup is checked whole first, and nothing is overwritten.

        A lab book that a notebook or another program has open is left alone.

        Example: kit labbook restore backups/linden.2026-05-04_170000.labbook --to linden.labbook --set-aside
        """
        from kit.labbook.restore import restore as restored

        say(restored(backup, to, set_aside=set_aside))
