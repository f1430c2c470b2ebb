"""The `telltale` command: parses, prints, and turns each error into one line.

Heavy modules are imported inside the commands, so that `telltale --help` does not
wait for image and network libraries.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Annotated, Any, NoReturn, TextIO

import typer

from vision import __version__
from vision.cli.archive import find, tag
from vision.cli.date import date
from vision.cli.guide import guide_app
from vision.cli.listings import listings
from vision.cli.page import page
from vision.cli.shelf import shelf
from vision.records import TelltaleError

if TYPE_CHECKING:
    from vision.pipeline import Eye

# All wrong use of the command line. Typer brings its own copy of click and names only a
# subclass of this error.
WRONG_USE: type[Exception] = typer.BadParameter.__mro__[1]

# Exit code of wrong use, as click has it.
WRONG = 2
# What TELLTALE_THREADS may be; the library that runs the networks takes the rest for a
# wish of its own, or stops with a complaint of its own.
_THREADS = re.compile(r"[1-9][0-9]{0,2}")
# Exit code where whoever reads the output has enough, as `head`; what a shell gives for a
# command that ends so: 128 and the number of the signal.
CLOSED = 141

app = typer.Typer(
    name="telltale",
    help="Read dating cues from photos of model steam locomotives.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command()(date)
app.command()(page)
# Short help, where the first sentence is longer than the list of commands has room for.
app.command(short_help="Compare what listings claim with their photos.")(listings)
app.command(short_help="Date every engine in a folder, and tag its photos.")(tag)
app.command(short_help="Find tagged photos by what they show and by year.")(find)
app.command(short_help="Compare a tagged collection with a guide.")(shelf)
app.add_typer(guide_app, name="guide")


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"telltale {__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Print the version."
        ),
    ] = False,
) -> None:
    pass


def load_shipped_eye() -> Eye:
    """Load the networks that come with the package."""
    from vision.pipeline import load_eye

    return load_eye()


def run(arguments: Sequence[str], *, load_eye: Callable[[], Eye] = load_shipped_eye) -> int:
    """Run the command with `arguments` and return its exit code.

    Parameters
    ----------
    arguments : sequence of str
        Without the name of the command.
    load_eye : callable
        Called once, when the first photo has been read.
    """
    threads = os.environ.get("TELLTALE_THREADS", "")
    if threads and not _THREADS.fullmatch(threads):
        typer.echo(f'telltale: TELLTALE_THREADS: 1 to 999 expected, got "{threads}"', err=True)
        return WRONG
    try:
        code = app(list(arguments), prog_name="telltale", obj=load_eye, standalone_mode=False)
    except WRONG_USE as error:
        return _tell_wrong_use(error)
    except TelltaleError as error:
        typer.echo(f"telltale: {error}", err=True)
        return error.exit_code
    except SystemExit as stop:
        if isinstance(stop.__context__, BrokenPipeError):
            return CLOSED
        return stop.code if isinstance(stop.code, int) else 1
    return code if isinstance(code, int) else 0


def _tell_wrong_use(error: Any) -> int:
    message = error.format_message()
    if not error.ctx or "\n" in message:
        # A command without its arguments answers with its help.
        typer.echo(message, err=True)
    else:
        end = "" if message.endswith((".", "?", "!")) else "."
        typer.echo(f"telltale: {message}{end} See: {error.ctx.command_path} --help", err=True)
    return int(error.exit_code)


def main() -> NoReturn:
    """Run the command of this process."""
    # A file name need not be valid text, and a terminal need not know every letter:
    # neither may stop an answer.
    _never_fail_to_print(sys.stdout)
    _never_fail_to_print(sys.stderr)
    code = run(sys.argv[1:])
    try:
        # There is none where it was closed from the beginning.
        getattr(sys.stdout, "flush", int)()
    except BrokenPipeError:
        # Python flushes again at its end, and would complain.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = CLOSED
    sys.exit(code)


def _never_fail_to_print(stream: TextIO) -> None:
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="backslashreplace")
