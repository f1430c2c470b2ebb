"""`telltale date`: photos in, years out."""

from __future__ import annotations

import functools
import json
import os
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vision.cli.files import Outputs
from vision.records import Answer, Cue, EvidenceError, Photo, TelltaleError

if TYPE_CHECKING:
    from vision.guide import Guide
    from vision.pipeline import Eye

# Exit code of a run in which several photos failed, and not all for one reason.
SEVERAL_FAILURES = 9

EACH_OF_THEM = (
    "what you saw is put on each of these photos, which are dated apart; "
    "--together dates them as one engine"
)

# Columns. Longer lines are harder to read than to wrap.
WIDEST = 100


@dataclass(slots=True)
class _Failures:
    """The photos that could not be read, each told of once, on stderr."""

    codes: list[int] = field(default_factory=list)

    def add(self, error: TelltaleError) -> None:
        from vision.report.names import one_line

        # It names the photo, whose name may hold line breaks and terminal codes.
        typer.echo(f"telltale: {one_line(str(error))}", err=True)
        self.codes.append(error.exit_code)

    @property
    def exit_code(self) -> int:
        different = set(self.codes)
        return different.pop() if len(different) == 1 else SEVERAL_FAILURES


def date(
    context: typer.Context,
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos to look at.")],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object a line instead of text.")
    ] = False,
    overlay: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Write each photo with what was read drawn on it."),
    ] = None,
    html: Annotated[
        Path | None, typer.Option(metavar="OUT", help="Write all answers as one HTML page.")
    ] = None,
    guide: Annotated[
        str | None,
        typer.Option(
            metavar="NAME|FILE",
            help="Variation guide: a built-in name or a file.",
            show_default="wayfarer, an invented example",
        ),
    ] = None,
    together: Annotated[
        bool, typer.Option("--together", help="The photos show one engine: one answer.")
    ] = False,
    saw: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=STATE",
            help="What you found on the engine yourself; may be given several times.",
        ),
    ] = None,
) -> None:
    """Date the engine in each PHOTO.

    The answer says which variation of the guide it is, which years, how sure, why,
    and what to look at next.
    """
    from vision.guide import EXAMPLE_GUIDE, load_guide
    from vision.pipeline import date_item

    named = EXAMPLE_GUIDE if guide is None else guide
    table = load_guide(named)
    said = _heard(table, saw or ())
    if said and len(photos) > 1 and not together:
        typer.echo(f"telltale: {EACH_OF_THEM}", err=True)
    load_eye: Callable[[], Eye] = functools.cache(context.obj)
    failures = _Failures()
    shown = _JsonLines() if as_json else _Texts()
    with Outputs(overlay, html, kept=(*photos, Path(named))) as outputs:
        with _progress(len(photos)) as advance:
            for item in _items(photos, failures, advance, together=together):
                answer = date_item(item, table, load_eye(), said)
                answer = replace(answer, by_default=guide is None)
                shown.add(answer)
                outputs.add(answer)
        shown.finish()
        outputs.finish()
    if failures.codes:
        raise typer.Exit(failures.exit_code)


def _heard(table: Guide, statements: Sequence[str]) -> tuple[Cue, ...]:
    """What a person saw, of each part one thing.

    Raises
    ------
    EvidenceError
        Of one part two things were said that cannot both be so.
    """
    from vision.estimate import saw

    cues = tuple(saw(table, statement) for statement in statements)
    for (one, cue), (other, again) in combinations(zip(statements, cues, strict=True), 2):
        if cue.name == again.name and not _agree(cue, again):
            raise EvidenceError(f'--saw "{one}" and "{other}": cannot both be so; say one of them')
    return cues


def _agree(cue: Cue, again: Cue) -> bool:
    """Whether two statements on one part can both be so, as that a stripe is there and is red."""
    values = {cue.value, again.value} - {None}
    return cue.state is again.state and len(values) <= 1


def _items(
    paths: Sequence[Path],
    failures: _Failures,
    advance: Callable[[], None],
    *,
    together: bool,
) -> Iterator[tuple[Photo, ...]]:
    """What to date: each photo by itself, or all that can be read as one engine's."""
    from vision.photo import open_photo

    read = []
    for path in paths:
        try:
            photo = open_photo(path)
        except TelltaleError as error:
            failures.add(error)
        else:
            if together:
                read.append(photo)
            else:
                yield (photo,)
        advance()
    if read:
        yield tuple(read)


class _JsonLines:
    """Prints one JSON object a line."""

    def add(self, answer: Answer) -> None:
        from vision.report import answer_json

        typer.echo(json.dumps(answer_json(answer), allow_nan=False))

    def finish(self) -> None:
        pass


class _Texts:
    """Prints answers for people, and the cautions once, after the last."""

    def __init__(self) -> None:
        self._bold = sys.stdout.isatty() and "NO_COLOR" not in os.environ
        self._width = min(WIDEST, shutil.get_terminal_size().columns)
        self._before = ""
        self._warn = False

    def add(self, answer: Answer) -> None:
        from vision.report import suggests_touching, terminal_text

        text = terminal_text(answer, width=self._width, bold=self._bold, warn=False)
        typer.echo(self._before + text)
        self._before = "\n"
        self._warn |= suggests_touching(answer)

    def finish(self) -> None:
        from vision.report import caution_text

        if self._warn:
            typer.echo(f"\n{caution_text(width=self._width)}")


@contextmanager
def _progress(count: int) -> Iterator[Callable[[], None]]:
    """A bar on stderr while several photos are read, where a person is watching."""
    if count < 2 or not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import Progress

    # Answers go through the bar's own screen where both share a terminal, and
    # untouched into a file or pipe where they do not.
    shared = sys.stdout.isatty()
    console = Console(stderr=True)
    with Progress(console=console, transient=True, redirect_stdout=shared) as bar:
        task = bar.add_task("photos", total=count)
        yield lambda: bar.advance(task)
