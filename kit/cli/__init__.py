"""The command `kit`. An error is one clear paragraph on the error stream and exit code 2, never a traceback."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from kit.cli import output
from kit.cli.arguments import group
from kit.errors import KitError

_HELP = """A formulation lab book for hair conditioners: formula, batch, readings, comparison, write-up.

Exit codes: 0 done, 1 something to mend was found (a stop in a review, a problem in a lab book, a write-up that does not
come back), 2 an error (told in one paragraph), 130 stopped from the keyboard."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and give its exit code.

    Parameters
    ----------
    arguments : list of str   What follows the word `kit`; those of the running process when omitted.
    """
    output.forgiving_streams()
    try:
        return _run(sys.argv[1:] if arguments is None else list(arguments))
    except KitError as error:
        return output.fail(error.paragraph())
    except KeyboardInterrupt:
        return output.interrupted()
    except OSError as error:
        return output.fail(_of_the_system(error).paragraph())
    except Exception as error:  # noqa: BLE001 - the last resort: nobody at a bench can use a traceback
        return output.fail(output.unexpected(error))


def application():
    """The commands, as a Typer application."""
    from kit.cli import exchange, folder, formulas, pages, readings, record, study

    app = group(_HELP)
    _add_version(app)
    for commands in (study, folder, formulas, readings, pages, exchange, record):
        commands.add(app)
    return app


def _run(arguments: list[str]) -> int:
    import typer

    command = typer.main.get_command(application())
    try:
        code = command.main(args=arguments or ["--help"], prog_name="kit", standalone_mode=False)
    except typer.Abort:
        return output.interrupted()
    except Exception as error:
        if not hasattr(error, "format_message"):
            raise
        return _mistyped(error)  # the class that says so differs between versions of the library
    if code == output.INTERRUPTED:
        return output.interrupted()
    return code if isinstance(code, int) else output.OK


def _mistyped(error: Exception) -> int:
    if type(error).__name__ == "NoArgsIsHelpError":  # a group of commands without a command: its help was asked for
        output.say(error.ctx.get_help())
        return output.OK
    return output.usage(error)


def _add_version(app) -> None:
    import typer

    def show(asked: bool) -> None:
        if asked:
            from kit import __version__

            output.say(f"kit {__version__}")
            raise typer.Exit

    @app.callback()
    def root(
        version: bool = typer.Option(
            False, "--version", callback=show, is_eager=True, help="Show the version and leave."
        ),
    ) -> None:
        """Options that stand before any command."""


def _of_the_system(error: OSError) -> KitError:
    what = f"{error.filename}: {error.strerror}" if error.filename else str(error)
    return KitError(what, mend="check the name, the folder and whether you may read and write there", code="kit.file")
