"""`kit formula import`: a formula from somebody's spreadsheet."""

# ruff: noqa: B008 - Typer reads the arguments of a command from its defaults

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from kit.cli.arguments import MATERIALS, free, own_materials, pairs
from kit.cli.output import say
from kit.errors import KitError

if TYPE_CHECKING:
    from kit.formula.intake_preview import FormulaPreview


def add_import(commands) -> None:
    """Put the command into its group."""
    import typer

    @commands.command("import")
    def import_(
        sheet_file: Path = typer.Argument(..., metavar="FILE", help="A spreadsheet (.xlsx) or a text table (.csv)."),
        to: Path = typer.Option(..., metavar="FORMULA.toml", help="The formula file to write; a new name."),
        column_map: Path | None = typer.Option(
            None, "--map", metavar="MAP.toml", help="What the columns mean, as --save-map wrote it."
        ),
        save_map: Path | None = typer.Option(
            None, metavar="MAP.toml", help="Keep what the columns were taken to mean, for the next sheet."
        ),
        sheet: str | None = typer.Option(None, metavar="NAME", help="Which sheet, where several hold something."),
        decimal_mark: str | None = typer.Option(None, metavar="MARK", help='"." or ","; found where only one fits.'),
        total: str | None = typer.Option(
            None, metavar="MASS", help='Mass of the batch, "400 g", for grams with a q.s.'
        ),
        material: list[str] = typer.Option(
            [], metavar="NAME=KEY", help="A name in the sheet and the material it stands for; may be repeated."
        ),
        materials: Path | None = typer.Option(None, metavar="PATH", help=MATERIALS),
        forms: Path | None = typer.Option(
            None, metavar="FILE.toml", help="Write a form to fill in for every unknown material into a new file."
        ),
        name: str = typer.Option("", metavar="NAME", help="Name of the formula; the sheet's title when omitted."),
        version: str = typer.Option("1", metavar="VERSION", help="Its version."),
        yes: bool = typer.Option(False, "--yes", "-y", help="Write without asking."),
    ) -> None:
        """Take a formula from a spreadsheet: first a preview with a reason for every refused row, then all or nothing.

        House codes, trade names and INCI names are looked up; % or grams; totals are checked. Steps and spec are not
        in such a sheet: add them to the file.

        Example: kit formula import formulas.xlsx --sheet Linden --to linden.toml --materials materials --yes
        """
        from kit.formula.intake import import_formula
        from kit.formula.library import load_library

        for path in filter(None, (to, forms)):
            free(path)
        preview = import_formula(
            sheet_file,
            load_library(own_materials(materials, to)),
            column_map=column_map,
            sheet=sheet,
            decimal_mark=decimal_mark,
            total=total,
            materials=pairs(material, "--material"),
            name=name,
            version=version,
        )
        say(preview)
        if save_map is not None:
            say(f"Column map: {preview.column_map.save(save_map)}")
        if preview.unknown:
            _unknown(preview, forms)
        elif not preview.ok:
            say('A name that fits several materials is settled with --material "Citric Acid=citric-acid".')
        _save(preview, to, None if yes else lambda: typer.confirm(f"Write {to.name}?", err=True))


def _save(preview: FormulaPreview, to: Path, ask: Callable[[], bool] | None) -> None:
    if preview.ok and ask is not None and not ask():
        say("Nothing was written.")
        return
    say(f"Written: {preview.save(to)}\nNext: kit review {to}")


def _unknown(preview: FormulaPreview, forms: Path | None) -> None:
    if forms is None:
        say("--forms FILE.toml writes a form for each unknown material; --material NAME=KEY names a known one.")
        return
    text = "\n".join(preview.add_form(name).toml for name in preview.unknown)
    try:
        with forms.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise KitError(f"there is a file {forms.name} already; it was not touched", where="--forms",
                       mend="choose another name", code="cli.exists") from None  # fmt: skip
    say(f"Forms to fill in: {forms}")
