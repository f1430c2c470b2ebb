"""`telltale shelf`: what a tagged collection holds, lacks and leaves in doubt."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vision.cli.archive import (
    Folder,
    GuideOption,
    IndexOption,
    open_index,
    shown,
    tell_unfinished,
)
from vision.cli.files import PAGE, check_outputs, header, write_whole
from vision.records import OutputError

if TYPE_CHECKING:
    from vision.archive import Index
    from vision.guide import Guide
    from vision.shelf import ShelfEngine


def shelf(
    folder: Folder,
    guide: GuideOption = "wayfarer",
    html: Annotated[
        Path | None, typer.Option(metavar="OUT", help="Write the wall of pictures as one page.")
    ] = None,
    wants: Annotated[
        Path | None, typer.Option(metavar="OUT", help="Write what is lacking as a CSV wants list.")
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
    from vision.archive.record import records_of
    from vision.guide import load_guide
    from vision.shelf import stock_page, stock_text, take_stock, wants_of, wants_text, work_text
    from vision.shelf.lists import WANTS

    table = load_guide(guide)
    check_outputs([(work, None), (html, PAGE), (wants, header(WANTS))], [Path(guide)])
    before = _bytes_of(work) if work else b""
    with open_index(folder, index) as base:
        answered = {record.photo for row in base.engines() for record in records_of(row)}
        tell_unfinished(base, folder, answered)
        stock = take_stock(list(_engines(base, table)), table)
    typer.echo(stock_text(stock))
    if html is not None:
        write_whole(html, stock_page(stock, table).encode("utf-8", "backslashreplace"))
    if wants is not None:
        write_whole(wants, wants_text(wants_of(stock)).encode())
    if work is not None:
        last = before.decode("utf-8-sig")
        after = work_text(stock.work, last)
        if after != last:
            # What a person has saved since it was read is not in what is written.
            write_whole(work, after.encode(), own=lambda path: path.read_bytes() == before)


def _engines(base: Index, guide: Guide) -> Iterator[ShelfEngine]:
    from vision.archive.engines import answers
    from vision.shelf import ShelfEngine

    for row, looks in answers(base, guide):
        # The photo that shows the engine best is not known; the first that shows one is.
        # Where none does, a person sees at a glance what there is instead.
        pictures = [look.picture for look in looks if look.sighting]
        pictures += [look.picture for look in looks]
        photos = tuple(shown(photo) for photo in row.photos)
        yield ShelfEngine(shown(row.name), photos, row.answer, pictures[0])


def _bytes_of(path: Path) -> bytes:
    """The work list as it is, nothing where there is none.

    Raises
    ------
    OutputError
        It is something else.
    """
    from vision.shelf.lists import is_work_list

    try:
        data = path.read_bytes() if os.path.lexists(path) else b""
        if not is_work_list(data.decode("utf-8-sig")):
            raise OutputError(f"{path}: is there already and no work list; choose another name")
    except (OSError, UnicodeDecodeError) as error:
        raise OutputError(
            f"{path}: cannot be read as a list; choose another name ({error})"
        ) from None
    return data
