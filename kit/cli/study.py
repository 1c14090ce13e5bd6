"""`kit demo`: the invented studies."""

# ruff: noqa: B008 - Typer reads the arguments of a command from its defaults

from __future__ import annotations

from pathlib import Path

from kit.cli.output import progress, say


def add(app) -> None:
    """Put the command into an application."""
    import typer

    @app.command()
    def demo(
        folder: Path = typer.Argument(Path("kit-demo"), metavar="[DIR]", help="A new folder for the files."),
        study: str = typer.Option(
            "linden",
            "--study",
            metavar="NAME",
            help="linden: a level series; calendula: one thickener for another; chamomile: an amidoamine and its acid; "
            "hibiscus: preservatives and pH; nettle: one formula made in several ways; green-tea: a mixture of three "
            "parts.",
        ),
    ) -> None:
        """Build an invented study in a new folder and run the main job on it.

        As made, next version, comparison, write-up: the tables are printed, the pages open offline.

        An existing folder that holds anything is left alone. All data are invented; not a recipe to use on people.

        Example: kit demo marigold --study calendula

        Example: kit demo swap --study calendula
        """
        from kit.demo.tour import tour

        tour(folder, say, progress(), study=study)
