"""The command `kit`. An error is one clear paragraph on the error stream and exit code 2, never a traceback."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from types import ModuleType

from kit.errors import KitError

# ruff: noqa: B008 - Typer reads the arguments of a command from its defaults

OK, STOP_FOUND, ERROR, INTERRUPTED = 0, 1, 2, 130
_HELP = """A formulation lab book for hair conditioners: formula, batch, readings, comparison, write-up.

Exit codes: 0 done, 1 the review found a stop, 2 an error (told in one paragraph), 130 stopped from the keyboard."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and give its exit code.

    Parameters
    ----------
    arguments : list of str   What follows the word `kit`; those of the running process when omitted.
    """
    _forgiving_streams()
    try:
        return _run(sys.argv[1:] if arguments is None else list(arguments))
    except KitError as error:
        return _fail(error.paragraph())
    except KeyboardInterrupt:
        return _interrupted()
    except OSError as error:
        what = f"{error.filename}: {error.strerror}" if error.filename else str(error)
        return _fail(
            KitError(
                what, mend="check the name, the folder and whether you may read and write there", code="kit.file"
            ).paragraph()
        )
    except Exception as error:  # noqa: BLE001 - the last resort: nobody at a bench can use a traceback
        return _fail(_unexpected(error))


def application():
    """The commands, as a Typer application."""
    import typer

    app = typer.Typer(
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        help=_HELP,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    for add in (_add_version, _add_demo, _add_review, _add_import, _add_write_up, _add_run):
        add(app, typer)
    return app


def _run(arguments: list[str]) -> int:
    import typer

    command = typer.main.get_command(application())
    try:
        code = command.main(args=arguments or ["--help"], prog_name="kit", standalone_mode=False)
    except typer.Abort:
        return _interrupted()
    except Exception as error:
        if not hasattr(error, "format_message"):
            raise
        return _usage(error)  # a mistyped option: the class that says so differs between versions of the library
    if code == INTERRUPTED:
        return _interrupted()
    return code if isinstance(code, int) else OK


def _add_version(app, typer: ModuleType) -> None:
    def show(asked: bool) -> None:
        if asked:
            from kit import __version__

            _say(f"kit {__version__}")
            raise typer.Exit

    @app.callback()
    def root(
        version: bool = typer.Option(
            False, "--version", callback=show, is_eager=True, help="Show the version and leave."
        ),
    ) -> None:
        """Options that stand before any command."""


def _add_demo(app, typer: ModuleType) -> None:
    @app.command()
    def demo(
        folder: Path = typer.Argument(Path("kit-demo"), metavar="[DIR]", help="A new folder for the files."),
    ) -> None:
        """Build an invented study in a new folder and run the main job on it.

        As made, next version, comparison, write-up: the tables are printed, the pages open offline.

        An existing folder that holds anything is left alone. All data are invented; not a recipe to use on people.

        Example: kit demo linden
        """
        from kit.demo.tour import tour

        tour(folder, _say, _progress())


def _add_review(app, typer: ModuleType) -> None:
    @app.command()
    def review(
        formula: Path = typer.Argument(..., metavar="FORMULA", help="A formula file (.toml)."),
        materials: Path | None = typer.Option(
            None, metavar="PATH", help="Your own materials: a .toml file or a folder of them."
        ),
    ) -> None:
        """Hold a formula against every coded rule.

        Exit code 0: no stop; 1: a stop was found, mend it before the batch is made; 2: the file could not be read.

        Example: kit review linden.toml --materials my_materials
        """
        found = _review(formula, materials)
        _say(str(found))
        raise typer.Exit(OK if found.ok else STOP_FOUND)


def _add_import(app, typer: ModuleType) -> None:
    @app.command("import")
    def import_(
        labbook: Path = typer.Argument(..., metavar="LABBOOK", help="The lab book."),
        readings: Path = typer.Argument(..., metavar="READINGS.csv", help="A CSV file of readings with a header."),
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
        options = {
            "decimal_mark": decimal_mark,
            "delimiter": delimiter,
            "method": method or None,
            "timezone": timezone,
            "declared": _pairs(declare, "--declare"),
            "units": _pairs(unit, "--unit"),
        }
        _import(
            labbook, readings, options, ask=None if yes else lambda: typer.confirm("Record the new rows?", err=True)
        )


def _add_write_up(app, typer: ModuleType) -> None:
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
        from kit.labbook.source import open_source
        from kit.writeup.write_up import write_up as written

        _existing(labbook, "the lab book")
        with open_source(labbook) as record:
            done = written(record, trial, to=to, against=against, bundle=bundle, progress=_progress())
        _say(f"Written: {done.page}")
        for path in (done.notebook, done.snapshot, done.bundle):
            if path:
                _say(f"     and {path}")


def _add_run(app, typer: ModuleType) -> None:
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
        _say(f"Written: {_run_template(template, source, _pairs(set_, '--set'), to, name)}")


def _review(path: Path, materials: Path | None):
    """The review of a formula file; loads nothing heavy."""
    from kit.formula.files import load_formula
    from kit.formula.library import load_library

    if path.is_file() and path.suffix.lower() != ".toml":
        raise KitError(
            f"{path.name} is not a formula file",
            where="kit review",
            allowed="a .toml file",
            mend="name the formula file; a lab book is written up with kit write-up",
            code="cli.not_a_formula",
        )
    return load_formula(path, load_library(materials)).review()


def _import(labbook: Path, readings: Path, options: dict, ask: Callable[[], bool] | None) -> None:
    from kit.labbook.book import open_labbook

    if labbook.suffix.lower() == ".csv":
        raise KitError(
            f"{labbook.name} is a file of readings, not a lab book",
            where="kit import",
            allowed="kit import LABBOOK READINGS.csv",
            mend="give the lab book first, then the readings",
            code="cli.order",
        )
    with open_labbook(labbook) as book:
        preview = book.import_readings(readings, **options)
        _say(str(preview))
        if preview.ok and preview.new and ask is not None and not ask():
            _say("Nothing was recorded.")
            return
        _say(str(preview.commit()))


def _run_template(template: str, source: Path, given: dict[str, str], to: Path, name: str) -> Path:
    from kit.labbook.source import open_source
    from kit.writeup.parameters import check_parameters, read_declaration
    from kit.writeup.templates import find_template, read_template
    from kit.writeup.write_up import publish

    path = find_template(template)
    declaration = read_declaration(read_template(path).notebook)
    parameters = check_parameters(declaration, {**given, "source": str(source)}, from_text=True)
    del parameters["source"]  # the run reads a frozen copy
    _existing(source, "the source")
    with open_source(source) as record:
        trials = [trial for study in record.studies() for trial in record.trials(study)]
        named = [trial for trial in trials if trial in _texts(parameters.values())]
        written = publish(
            template if path.stem == template else path,
            record,
            named or trials,
            parameters,
            to=to,
            name=name or declaration.template,
            title=declaration.title,
            progress=_progress(),
        )
    return written.page


def _texts(values: Iterable[object]) -> set[str]:
    """Every text among the values of parameters, lists included."""
    return {
        text for value in values for text in (value if isinstance(value, list) else [value]) if isinstance(text, str)
    }


def _existing(path: Path, what: str) -> None:
    if not path.is_file():
        near = ", ".join(sorted(item.name for item in path.parent.glob("*.labbook"))) if path.parent.is_dir() else ""
        raise KitError(
            f"{what} {str(path)!r} is not there",
            allowed=f"found there: {near}" if near else "",
            mend="check the name and the folder",
            code="cli.file_missing",
        )


def _pairs(texts: Sequence[str], option: str) -> dict[str, str]:
    pairs = {}
    for text in texts:
        name, mark, value = text.partition("=")
        if not mark or not name.strip():
            raise KitError(
                f"{text!r} is not a name with a value",
                where=option,
                allowed="NAME=VALUE",
                mend=f'write for example {option} "trial=LIN-03"',
                code="cli.name_value",
            )
        if name.strip() in pairs:
            raise KitError(
                f"{name.strip()!r} was given twice",
                where=option,
                mend="give it once; a list is written with commas",
                code="cli.name_value",
            )
        pairs[name.strip()] = value.strip()
    return pairs


def _say(text: str) -> None:
    """Print; when the reader has gone away (`kit review ... | head`), go on in silence."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _progress() -> Callable[[int, int], None] | None:
    """Counts the cells of a run on one line of the error stream, where somebody watches it."""
    if not sys.stderr.isatty():
        return None
    return lambda done, total: print(
        f"\r  cell {done} of {total} ", end="\n" if done == total else "", file=sys.stderr, flush=True
    )


def _fail(paragraph: str) -> int:
    print(f"kit: {paragraph}", file=sys.stderr)
    return ERROR


def _interrupted() -> int:
    print("\nkit: stopped. What was acknowledged is recorded; nothing else was.", file=sys.stderr)
    return INTERRUPTED


def _usage(error: Exception) -> int:
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "kit"
    return _fail(
        KitError(error.format_message(), mend=f"{command} --help shows what it takes", code="cli.usage").paragraph()
    )


def _unexpected(error: Exception) -> str:
    """The paragraph for an error nobody foresaw; its traceback goes to a file for whoever mends the kit."""
    import tempfile
    import traceback

    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="kit-error-", suffix=".log", delete=False, encoding="utf-8"
        ) as log:
            traceback.print_exception(error, file=log)
        kept = f"keep {log.name}, which says where it happened, for whoever mends it"
    except OSError:
        kept = "the details could not be kept: no temporary file can be written"
    return KitError(
        f"the kit has a fault of its own: {type(error).__name__}: {' '.join(str(error).split())[:300]}",
        where="kit",
        mend=f"{kept}; what was acknowledged before is recorded",
        code="kit.unexpected",
    ).paragraph()


def _forgiving_streams() -> None:
    """Letters that a terminal cannot show are replaced, not fatal."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
