"""`kit review`, `kit formula label`, `cost` and `history`: what is asked of formula files."""

# ruff: noqa: B008 - Typer reads the arguments of a command from its defaults

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from kit.cli.arguments import MATERIALS, group, own_materials, pairs
from kit.cli.formula_sheets import add_import
from kit.cli.output import FOUND, OK, say
from kit.errors import KitError

if TYPE_CHECKING:
    from kit.formula.formula import Formula


def add(app) -> None:
    """Put the commands into an application."""
    _add_review(app)
    commands = group("A formula: from a spreadsheet, its list of ingredients, its cost, its versions.")
    for command in (add_import, _add_label, _add_cost, _add_history):
        command(commands)
    app.add_typer(commands, name="formula")


def _add_review(app) -> None:
    import typer

    @app.command()
    def review(
        formula: Path = typer.Argument(..., metavar="FORMULA", help="A formula file (.toml)."),
        materials: Path | None = typer.Option(None, metavar="PATH", help=MATERIALS),
    ) -> None:
        """Hold a formula against every coded rule.

        Exit code 0: no stop; 1: a stop was found, mend it before the batch is made; 2: the file could not be read.

        Example: kit review linden.toml --materials my_materials
        """
        found = load(formula, materials, "kit review").review()
        say(found)
        raise typer.Exit(OK if found.ok else FOUND)


def _add_label(commands) -> None:
    import typer

    @commands.command()
    def label(
        formula: Path = typer.Argument(..., metavar="FORMULA", help="A formula file (.toml)."),
        market: str = typer.Option("EU", metavar="MARKET", help="Whose rules: EU or US."),
        materials: Path | None = typer.Option(None, metavar="PATH", help=MATERIALS),
    ) -> None:
        """The list of ingredients of a formula as meant: a draft for a qualified person, with what is unknown.

        Example: kit formula label linden.toml --market EU
        """
        say(load(formula, materials, "kit formula label").label(market))


def _add_cost(commands) -> None:
    import typer

    @commands.command()
    def cost(
        formula: Path = typer.Argument(..., metavar="FORMULA", help="A formula file (.toml)."),
        materials: Path | None = typer.Option(None, metavar="PATH", help=f"{MATERIALS} Prices stand there."),
        batch: str = typer.Option("", metavar="MASS", help='Mass weighed for a batch, "5 kg".'),
        fill: str = typer.Option("", metavar="AMOUNT", help='Fill of one pack, "200 g", or "250 mL" with --density.'),
        density: str = typer.Option("", metavar="DENSITY", help='Of the product, "0.98 g/mL".'),
        loss: str = typer.Option("", metavar="PCT", help='Lost between weighing and filling, "4 %".'),
        per_pack: list[str] = typer.Option([], metavar="NAME=COST", help='Added to every pack, "bottle=0.40 EUR".'),
        per_batch: list[str] = typer.Option([], metavar="NAME=COST", help='Added to every batch, "labour=60 EUR".'),
    ) -> None:
        """What a formula costs by your own prices. A line without a price makes the total a lower limit, never zero.

        The kit brings no prices: [[price]] rows stand in your materials file.

        Example: kit formula cost linden.toml --materials materials --batch "5 kg" --fill "200 g"
        """
        meant = load(formula, materials, "kit formula cost")
        say(
            meant.cost(
                batch=batch,
                fill=fill,
                density=density,
                loss=loss,
                per_pack=pairs(per_pack, "--per-pack"),
                per_batch=pairs(per_batch, "--per-batch"),
            )
        )


def _add_history(commands) -> None:
    import typer

    @commands.command("history")
    def history_(
        formulas: list[Path] = typer.Argument(..., metavar="FILES...", help="Formula files, or folders of them."),
        materials: Path | None = typer.Option(None, metavar="PATH", help=MATERIALS),
    ) -> None:
        """The versions of a formula, each after the one it came from, with what changed and why.

        Example: kit formula history linden.toml linden-2.toml
        """
        from kit.formula.history import history
        from kit.formula.library import load_library

        say(history(formulas, load_library(own_materials(materials, formulas[0]))))


def load(path: Path, materials: Path | None, where: str) -> Formula:
    """The formula in a file; loads nothing heavy."""
    from kit.formula.files import load_formula
    from kit.formula.library import load_library

    if path.is_file() and path.suffix.lower() != ".toml":
        raise KitError(
            f"{path.name} is not a formula file",
            where=where,
            allowed="a .toml file",
            mend="name the formula file; a spreadsheet is taken in with kit formula import, a lab book is written up "
            "with kit write-up",
            code="cli.not_a_formula",
        )
    return load_formula(path, load_library(own_materials(materials, path)))
