"""`telltale listings`: which listings are worth opening, and what to ask."""

from __future__ import annotations

import importlib.util
import json
import re
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vision.cli.files import PAGE, check_outputs, header, write_whole
from vision.records import ListingsError

if TYPE_CHECKING:
    from vision.listings import Ranked, Weights

NEEDED = ("babel", "extruct", "price_parser", "urllib3")
# Endings by which a file of variations is known that is not there; no id ends so.
_LISTS = (".csv", ".txt")


def listings(
    context: typer.Context,
    source: Annotated[
        Path, typer.Argument(metavar="FILE|DIR", help="Listings: CSV, JSON Lines, saved pages.")
    ],
    guide: Annotated[
        str,
        typer.Option(metavar="NAME|FILE", help="Variation guide: a built-in name or a file."),
    ] = "wayfarer",
    want: Annotated[
        str,
        typer.Option(metavar="IDS|FILE", help="Variations you look for, or a wants list."),
    ] = "",
    html: Annotated[
        Path | None, typer.Option(metavar="OUT", help="Write one HTML page, best first.")
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object a line instead of text.")
    ] = False,
    table: Annotated[
        Path | None, typer.Option("--csv", metavar="OUT", help="Write a CSV table, best first.")
    ] = None,
    fetch: Annotated[
        bool, typer.Option("--fetch", help="Fetch photos that are given as addresses.")
    ] = False,
    allow: Annotated[
        list[str] | None,
        typer.Option(metavar="HOST", help="A host that --fetch may ask at a private address."),
    ] = None,
    weight: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=NUMBER", help="What a quality counts in the ranking."),
    ] = None,
    jobs: Annotated[
        int | None,
        typer.Option(metavar="N", min=1, help="Processes; one a processor if not given."),
    ] = None,
    state: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Where to keep what is done, to go on after a stop."),
    ] = None,
) -> None:
    """Compare what listings claim with what their photos show, and rank them.

    Each claim is supported, contradicted, or left open; the best come first.
    """
    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing:
        raise ListingsError("install telltale-vision with the extra 'listings' for this command")
    from vision.listings import Brief, Fetcher, judge_listings
    from vision.listings.sheet import COLUMNS
    from vision.workers import processors

    check_outputs([(html, PAGE), (table, header(COLUMNS))], (source, *_files_in(source)))
    brief = Brief(
        path=source,
        guide=guide,
        wants=_wants(want, guide),
        weights=_weights(weight or ()),
        jobs=jobs or processors(),
        state=state,
        fetcher=Fetcher(frozenset(name.lower() for name in allow or ())) if fetch else None,
    )
    judged = judge_listings(brief, context.obj, _Counter())
    _show(judged, as_json=as_json)
    _write(judged, html, table)
    if judged.bad:
        raise typer.Exit(ListingsError.exit_code)


def _files_in(source: Path) -> list[Path]:
    return [path for path in source.iterdir() if path.is_file()] if source.is_dir() else []


def _show(judged: Ranked, *, as_json: bool) -> None:
    if as_json:
        for record in judged.records:
            typer.echo(json.dumps(record, allow_nan=False))
        for bad in judged.bad:
            typer.echo(json.dumps({"source": bad.source, "failure": bad.reason}))
        return
    from vision.cli.date import WIDEST
    from vision.listings.terminal import listings_text

    width = min(WIDEST, shutil.get_terminal_size().columns)
    typer.echo(listings_text(judged, width=width), nl=False)
    for bad in judged.bad:
        typer.echo(f"telltale: {bad.source}: {bad.reason}", err=True)


def _write(judged: Ranked, html: Path | None, table: Path | None) -> None:
    from vision.listings import listings_page, sheet

    if table is not None:
        write_whole(table, sheet(judged).encode())
    if html is not None:
        write_whole(html, b"".join(piece.encode() for piece in listings_page(judged)))


def _wants(text: str, guide: str) -> tuple[str, ...]:
    """Ids given outright, or in a file: parted by commas, blanks or lines; # is a note.

    A wants list of the shelf is understood too; of it the rows of this guide count.
    """
    if not text:
        return ()
    path = Path(text)
    if path.is_file():
        try:
            text = path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise ListingsError(f"{path}: cannot be read ({error})") from None
        head = text.partition("\n")[0].strip().split(",")
        if "variation" in head:
            return _wants_of_shelf(text, path, guide)
        text = "\n".join(line.partition("#")[0] for line in text.splitlines())
    elif path.suffix.lower() in _LISTS or len(path.parts) > 1:
        raise ListingsError(f"{path}: no such file")
    wants = tuple(dict.fromkeys(word for word in re.split(r"[\s,;]+", text) if word))
    if not wants:
        raise ListingsError(f"{path}: no variation in it; leave --want away to look for all")
    return wants


def _wants_of_shelf(text: str, path: Path, guide: str) -> tuple[str, ...]:
    from vision.guide import load_guide
    from vision.shelf import is_of_guide, read_wants

    table = load_guide(guide)
    rows = read_wants(text, str(path))
    # A person's row may be a note about no variation.
    own = [want for want in rows if want.variation and is_of_guide(want.guide, table)]
    if not own:
        # Not all of the guide: of what is looked for there is none.
        raise ListingsError(
            f"{path}: nothing of the guide {table.name} is wanted; leave --want away to look "
            "for all"
        )
    return tuple(dict.fromkeys(want.variation for want in own))


def _weights(statements: Any) -> Weights:
    from vision.listings import Weights

    given = {}
    known = Weights().as_dict()
    for statement in statements:
        name, _, number = (part.strip() for part in statement.partition("="))
        try:
            given[name] = float(number)
            if name not in known:
                raise ValueError
        except ValueError:
            names = ", ".join(known)
            raise typer.BadParameter(
                f'--weight "{statement}": write NAME=NUMBER with a name of {names}'
            ) from None
    try:
        return Weights(**(known | given))
    except ValueError as error:
        raise typer.BadParameter(str(error)) from None


class _Counter:
    """Counts on stderr, where a person is watching."""

    def __init__(self) -> None:
        self._shown = sys.stderr.isatty()
        self._done = self._count = 0
        self._what = ""

    def begin(self, what: str, count: int) -> None:
        self._what, self._count, self._done = what, count, 0

    def step(self) -> None:
        self._done += 1
        if self._shown:
            end = "\n" if self._done == self._count else ""
            sys.stderr.write(f"\r{self._done} of {self._count} {self._what}{end}")
            sys.stderr.flush()
