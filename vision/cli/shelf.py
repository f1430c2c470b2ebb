"""`telltale shelf`: what a tagged collection holds, lacks and leaves in doubt."""

from __future__ import annotations

import os
import shutil
from codecs import BOM_UTF8
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vision.cli.archive import (
    Folder,
    GuideOption,
    IndexOption,
    open_index,
    tell_unfinished,
)
from vision.cli.date import WIDEST
from vision.cli.files import PAGE, check_outputs, write_whole
from vision.cli.watching import shown
from vision.records import ArchiveError, OutputError

if TYPE_CHECKING:
    from vision.archive import EngineRow
    from vision.guide import Guide
    from vision.pipeline.look import Look
    from vision.shelf import ShelfEngine

    Known = tuple[EngineRow, list[tuple[str, Look]]]


def shelf(
    folder: Folder,
    guide: GuideOption = None,
    html: Annotated[
        Path | None, typer.Option(metavar="OUT", help="Write the wall of pictures as one page.")
    ] = None,
    wants: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write or renew a CSV wants list of what is lacking; rows of yours are kept.",
        ),
    ] = None,
    work: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Write or renew a CSV work list; notes of yours in it are kept."
        ),
    ] = None,
    index: IndexOption = None,
) -> None:
    """Compare a tagged collection with a guide: have, lack, doubtful, to be seen to."""
    from vision.archive import choose_guide
    from vision.archive.engines import answers
    from vision.archive.record import records_of
    from vision.shelf import stock_page, stock_text, take_stock, wants_of, wants_text, work_text
    from vision.shelf.lists import is_wants_list, is_work_list

    choice = choose_guide(guide, folder, index)
    table = choice.guide
    check_outputs([(work, None), (html, PAGE), (wants, None)], [Path(choice.place)])
    todo = _List(work, "work list", is_work_list) if work else None
    wanted = _List(wants, "wants list", is_wants_list) if wants else None
    with open_index(folder, index) as base:
        rows = list(base.engines())
        known = list(answers(base, table, rows))
        if rows and not known:
            raise ArchiveError(
                f"{folder}: no engine has an answer by this version; run telltale tag again first"
            )
        answered = {record.photo for row, _ in known for record in records_of(row)}
        tell_unfinished(base, folder, answered)
        _tell_from_afar(folder, guide or choice.place, table, known)
        stock = take_stock(list(_engines(known)), table)
    typer.echo(stock_text(stock, width=min(WIDEST, shutil.get_terminal_size().columns)))
    if len(known) < len(rows) and (wanted or todo or html):
        raise ArchiveError(
            f"{folder}: pages and lists are written only once every engine has an answer by this"
            f" version; run telltale tag again first"
        )
    if html is not None:
        write_whole(html, stock_page(stock, table).encode("utf-8", "backslashreplace"))
    if wanted is not None:
        wanted.renew(wants_text(wants_of(stock), wanted.text, table))
    if todo is not None:
        todo.renew(work_text(stock.work, todo.text))


def _tell_from_afar(folder: Path, name: str, guide: Guide, known: Iterable[Known]) -> None:
    """Say of photos that a lever was not looked for where this guide has it."""
    from vision.pipeline.look import looks_at

    eyes = [eye for _, kept in known for eye, _ in kept]
    far = sum(not looks_at(eye, guide.lever_at) for eye in eyes)
    if far:
        photos = "1 photo has" if far == 1 else f"{far} photos have"
        typer.echo(
            f"telltale: {folder}: {photos} not been looked at closely where this guide has its"
            f" lever; run telltale tag with --guide {name} first",
            err=True,
        )


def _engines(known: Iterable[Known]) -> Iterator[ShelfEngine]:
    from vision.shelf import ShelfEngine

    for row, kept in known:
        looks = [look for _, look in kept]
        # The photo that shows the engine best is not known; the first that shows one is.
        # Where none does, a person sees at a glance what there is instead.
        pictures = [look.picture for look in looks if look.sighting]
        pictures += [look.picture for look in looks]
        photos = tuple(shown(photo) for photo in row.photos)
        yield ShelfEngine(shown(row.name), photos, row.answer, pictures[0])


class _List:
    """A list of ours that a person may have gone on with; nothing where there is none.

    Parameters
    ----------
    path : Path
    what : str
        What it is called, for messages.
    is_one : callable
        Whether a text is such a list.

    Raises
    ------
    OutputError
        It is something else.
    """

    def __init__(self, path: Path, what: str, is_one: Callable[[str], bool]) -> None:
        self._path = path
        try:
            self._before = path.read_bytes() if os.path.lexists(path) else b""
            self.text = self._before.decode("utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise OutputError(
                f"{path}: cannot be read as a list; choose another name ({error})"
            ) from None
        if not is_one(self.text):
            raise OutputError(f"{path}: is there already and no {what}; choose another name")

    def renew(self, text: str) -> None:
        """Write the list anew, unless nothing in it has changed, or it has since it was read."""
        if text != self.text:
            # What a person has saved since it was read is not in what is written.
            # Spreadsheets tell by its mark that a file is UTF-8, and spoil letters without it.
            marked = self._before.startswith(BOM_UTF8)
            data = text.encode("utf-8-sig" if marked else "utf-8")
            write_whole(self._path, data, own=self._is_as_it_was)

    def _is_as_it_was(self, path: Path) -> bool:
        return path.read_bytes() == self._before
