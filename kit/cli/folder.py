"""`kit new` and `kit lab`: a working folder of one's own, and JupyterLab in it."""

# ruff: noqa: B008 - Typer reads the arguments of a command from its defaults

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from kit.cli.output import note, say

if TYPE_CHECKING:
    from kit.workfolder.new import WorkingFolder


def add(app) -> None:
    """Put the commands into an application."""
    _add_new(app)
    _add_lab(app)


def _add_new(app) -> None:
    import typer

    @app.command()
    def new(
        folder: Path = typer.Argument(..., metavar="DIR", help="A new folder, or an empty one."),
        name: str = typer.Option("", metavar="NAME", help="What the formula is called; after the folder when omitted."),
    ) -> None:
        """Lay out a working folder: a formula to edit, an empty lab book, notebooks, a page on where things are.

        Nothing that is there is overwritten. The formula is invented, to start from; not a recipe to use on people.

        Example: kit new sage --name "Sage rinse"
        """
        from kit.workfolder.new import new_folder

        made = new_folder(folder, name=name)
        say(_told(made))
        _caution(made.cautions)


def _add_lab(app) -> None:
    import typer

    @app.command()
    def lab(
        folder: Path = typer.Argument(Path(), metavar="[DIR]", help="The working folder; this one when omitted."),
        port: int | None = typer.Option(None, metavar="PORT", help="1024 to 65535; a free one when omitted."),
        browser: bool = typer.Option(
            True, "--browser/--no-browser", help="Whether to open the browser; the address is printed in any case."
        ),
    ) -> None:
        """Open JupyterLab in a working folder, for this computer only, with a token. Ctrl-C ends it.

        It asks nothing of the network: news, checks for newer versions and the list of extensions are switched off
        for this run. Your own Jupyter settings are not changed.

        Example: kit lab sage --no-browser
        """
        from kit.workfolder.lab import open_lab

        open_lab(folder, port=port, browser=browser, say=say, caution=lambda words: _caution([words]))


def _told(made: WorkingFolder) -> str:
    call = "kit" if shutil.which("kit") else f'"{sys.executable}" -m kit'
    return f"""Laid out in {made.folder}:
  {made.formula.name}   the formula, invented: change it to yours
  {made.labbook.name}   the lab book, empty
  {made.study.name}   your study, step by step
  {made.page.name}   where everything is, and cautions

Next:
  cd "{made.folder}"
  {call} review {made.formula.name}
  {call} lab"""


def _caution(cautions) -> None:
    for words in cautions:
        note(f"Caution: {words}")
