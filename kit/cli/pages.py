"""`kit write-up`, `kit run`, `kit verify`: pages from the record, and whether they come back."""

# ruff: noqa: B008 - Typer reads the arguments of a command from its defaults

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from kit.cli.arguments import existing, pairs
from kit.cli.output import FOUND, OK, progress, say

if TYPE_CHECKING:
    from kit.labbook.source import Source


def add(app) -> None:
    """Put the commands into an application."""
    _add_write_up(app)
    _add_run(app)
    _add_verify(app)


def _add_write_up(app) -> None:
    import typer

    @app.command("write-up")
    def write_up(
        labbook: Path = typer.Argument(..., metavar="LABBOOK", help="The lab book, or a snapshot (.json)."),
        trial: str = typer.Argument(..., metavar="TRIAL", help="The trial, such as LIN-03."),
        to: Path = typer.Option(Path("writeups"), metavar="DIR", help="Folder to write to."),
        against: list[str] = typer.Option(
            [], metavar="TRIAL", help="A further trial to set beside it; may be repeated."
        ),
        bundle: bool = typer.Option(False, help="Also pack it into one .zip that can be run again."),
    ) -> None:
        """Write a trial up as one page that opens offline, with the executed notebook and the frozen data beside it.

        Example: kit write-up linden.labbook LIN-03 --to writeups
        """
        from kit.writeup.write_up import write_up as written

        existing(labbook, "the lab book")
        done = written(labbook, trial, to=to, against=against, bundle=bundle, progress=progress())
        say(f"Written: {done.page}")
        for path in (done.notebook, done.snapshot, done.bundle):
            if path:
                say(f"     and {path}")


def _add_run(app) -> None:
    import typer

    @app.command()
    def run(
        template: str = typer.Argument(
            ..., metavar="TEMPLATE", help="Name of a template, or the path of your own .ipynb file."
        ),
        source: Path = typer.Option(..., metavar="LABBOOK", help="The lab book, or a snapshot (.json)."),
        set_: list[str] = typer.Option(
            [], "--set", metavar="NAME=VALUE", help="A parameter of the template; may be repeated."
        ),
        to: Path = typer.Option(Path("writeups"), metavar="DIR", help="Folder to write to."),
        name: str = typer.Option("", metavar="NAME", help="Name of the page; that of the template when omitted."),
    ) -> None:
        """Run a template on a frozen copy of the record and write the page.

        An unknown, missing or mistyped parameter is refused before anything runs. Lists are written with commas.

        Example: kit run compare_versions --source linden.labbook --set trials=LIN-03,LIN-04 --to pages
        """
        say(f"Written: {_run_template(template, source, pairs(set_, '--set'), to, name)}")


def _add_verify(app) -> None:
    import typer

    @app.command()
    def verify(
        bundle: Path = typer.Argument(..., metavar="BUNDLE.zip", help="What kit write-up --bundle has packed."),
    ) -> None:
        """Run a packed write-up again from its frozen data and say whether every output comes back.

        Nothing in the bundle is executed: the template is this kit's own. The data may still be wrong; what is shown
        is that the numbers follow from them.

        Exit code 0: reproduced; 1: not reproduced, with the cells that differ; 2: not a bundle, or it was changed.

        Example: kit verify writeups/LIN-03.zip
        """
        from kit.writeup.bundle import verify as verified

        found = verified(existing(bundle, "the bundle"))
        say(found)
        raise typer.Exit(OK if found.reproduced else FOUND)


def _run_template(template: str, source: Path, given: dict[str, str], to: Path, name: str) -> Path:
    from kit.writeup.parameters import check_parameters, read_declaration
    from kit.writeup.templates import find_template, read_template
    from kit.writeup.write_up import Chosen, publish_chosen

    path = find_template(template)
    declaration = read_declaration(read_template(path).notebook)
    parameters = check_parameters(declaration, {**given, "source": str(source)}, from_text=True)
    del parameters["source"]  # the run reads a frozen copy
    existing(source, "the source")

    def choose(record: Source) -> Chosen:
        trials = {study: record.trials(study) for study in record.studies()}
        plans = _wanted_plans(record, parameters)
        return Chosen(_wanted(trials, parameters, plans), declaration.title, plans)

    written = publish_chosen(
        template if path.stem == template else path,
        source,
        choose,
        parameters,
        to=to,
        name=name or declaration.template,
        progress=progress(),
    )
    return written.page


def _wanted_plans(record: Source, parameters: Mapping[str, object]) -> list[str]:
    """The plans a run is given: the one it names, else those of a study it names, else all; none unasked."""
    if "plan" not in parameters:
        return []
    said, kept = _texts(parameters.values()), record.plans()
    return [
        plan.name
        for plan in kept
        if plan.name == parameters["plan"]
        or (not parameters["plan"] and (plan.study in said or not said & set(record.studies())))
    ]


def _wanted(
    trials: Mapping[str, Sequence[str]], parameters: Mapping[str, object], plans: Sequence[str] = ()
) -> list[str]:
    """The trials a run is given: those its parameters name, else those of the studies they name, else all.

    Those that a page leaves aside are no trials it asks for. None where a formula's file, or a plan with its own
    batches, stands for them.
    """
    said = _texts(value for name, value in parameters.items() if name != "without")
    every = [trial for held in trials.values() for trial in held]
    named = [trial for trial in every if trial in said]
    of_studies = [trial for study, held in trials.items() if study in said for trial in held]
    return named or of_studies or ([] if parameters.get("formula_file") or plans else every)


def _texts(values: Iterable[object]) -> set[str]:
    """Every text among the values of parameters, lists included."""
    return {
        text for value in values for text in (value if isinstance(value, list) else [value]) if isinstance(text, str)
    }
