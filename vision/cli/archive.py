"""`telltale tag` and `telltale find`: an archive of photos."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Set
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vision.cli.archive_words import (
    engines_words,
    guide_words,
    some_names,
    turned_words,
    unasked_words,
    unknown_words,
)
from vision.cli.date import SEVERAL_FAILURES
from vision.cli.files import PARQUET, check_outputs, header, write_whole
from vision.cli.watching import shown, watching
from vision.records import ArchiveError, SidecarError

if TYPE_CHECKING:
    from vision.archive import Index, Order, Summary

# Exit code after Ctrl-C, as shells have it: 128 and the number of the signal.
STOPPED = 130

Folder = Annotated[Path, typer.Argument(metavar="DIR", help="Folder of the archive.")]
GuideOption = Annotated[
    str | None,
    typer.Option(
        metavar="NAME|FILE",
        help="Variation guide: a built-in name or a file; if not given, that of the last run.",
    ),
]
IndexOption = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Where the index lies, if not in DIR; on a local disk."),
]


def tag(
    context: typer.Context,
    folder: Folder,
    guide: GuideOption = None,
    group: Annotated[
        str,
        typer.Option(
            metavar="folder|photo", help="What shows one engine, where engines.csv does not say."
        ),
    ] = "folder",
    jobs: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="Processes; all processors if not given.")
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Dask scheduler whose workers look.")
    ] = None,
    index: IndexOption = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be written, and write nothing.")
    ] = False,
    undo: Annotated[
        bool, typer.Option("--undo", help="Take out again what was written, and nothing else.")
    ] = False,
) -> None:
    """Date every engine in a folder of photos, and tag the photos with XMP sidecars."""
    if undo:
        _undo(folder, index, dry=dry_run)
        return
    from vision.archive import By, Order, choose_guide, tag_archive
    from vision.workers import processors

    if group not in tuple(By):
        raise typer.BadParameter(f"{group}: folder or photo expected", param_hint="--group")
    if not folder.is_dir():
        raise ArchiveError(f"{folder}: no such folder")
    choice = choose_guide(guide, folder, index)
    typer.echo(f"{folder}: {shown(guide_words(choice, named=guide is not None))}")
    order = Order(
        root=folder,
        guide=choice.guide,
        by=By(group),
        jobs=jobs or processors(),
        scheduler=scheduler,
        index=index,
        dry=dry_run,
        place=choice.place,
    )
    with _stoppable("tag"), watching(None if dry_run else order.log_path) as watcher:
        summary = tag_archive(order, context.obj, watcher)
    _tell(summary, order)
    if summary.codes:
        different = set(summary.codes)
        raise typer.Exit(different.pop() if len(different) == 1 else SEVERAL_FAILURES)


def find(
    query: Annotated[
        str, typer.Argument(metavar="QUERY", help='As "stripe present and 1935..1937".')
    ] = "",
    folder: Annotated[
        Path, typer.Option("--dir", metavar="DIR", help="Folder of the archive.")
    ] = Path(),
    index: IndexOption = None,
    csv: Annotated[
        Path | None, typer.Option(metavar="OUT", help="Write what is found as CSV.")
    ] = None,
    parquet: Annotated[
        Path | None, typer.Option(metavar="OUT", help="Write what is found as Parquet.")
    ] = None,
    null: Annotated[
        bool, typer.Option("--null", help="Print bare paths with a null byte after each.")
    ] = False,
) -> None:
    """Find tagged photos by what they show and when the engine was made.

    QUERY: lever, linkage, stripe, coupled (a tender) or lettering with present, absent or unseen;
    driving axles, axles (of the tender), lamps or number with a value; 1935 or 1935..1937;
    variation ID; sure 90%; in TEXT for part of a path; engine present or absent; narrowed;
    outside (of the guide); several (engines in photos put together); mismatched; joined by and,
    or, not and brackets.
    """
    from vision.archive.export import column_names, to_csv, to_parquet
    from vision.archive.query import parse_query
    from vision.archive.record import records_of, variations_of

    test = parse_query(query)
    check_outputs([(csv, header(column_names())), (parquet, PARQUET)])
    answered: set[str] = set()
    looked_for: set[str] = set()
    guides: dict[str, set[str]] = {}
    found = []
    with open_index(folder, index) as base:
        for row in base.engines():
            guides.setdefault(row.answer["versions"]["guide"], set()).update(variations_of(row))
            for record in records_of(row):
                answered.add(record.photo)
                looked_for |= record.cues.keys()
                if test(record):
                    found.append(record)
        tell_unfinished(base, folder, answered)
    outputs = [(csv, to_csv), (parquet, to_parquet)]
    for target, lay_out in outputs:
        if target is not None:
            write_whole(target, lay_out(found))
    if null:
        sys.stdout.flush()
        os.write(sys.stdout.fileno(), b"".join(os.fsencode(r.photo) + b"\0" for r in found))
    elif csv is None and parquet is None:
        for record in found:
            typer.echo(f"{shown(record.photo)}  {answer_words(record)}")
    if not found:
        typer.echo("nothing found", err=True)
    if strange := unknown_words(test.variations, guides):
        typer.echo(shown(strange), err=True)
    # Where no photo shows an engine, none was asked about anything.
    if looked_for and (unasked := [name for name in test.cues if name not in looked_for]):
        typer.echo(unasked_words(unasked), err=True)


@contextmanager
def open_index(folder: Path, index: Path | None) -> Iterator[Index]:
    """Read an archive's index without changing it."""
    from vision.archive import Index, index_path

    path = index_path(folder, index)
    if not path.exists() and not folder.is_dir():
        raise ArchiveError(f"{folder}: no such folder")
    if not path.exists():
        raise ArchiveError(f"{folder}: not tagged yet; run: telltale tag {folder} --guide GUIDE")
    base = Index(None)
    try:
        base.copy_from(path)
        yield base
    finally:
        base.close()


def tell_unfinished(base: Index, folder: Path, answered: Set[str]) -> None:
    """Say on stderr where a run was stopped before every photo had its engine.

    Parameters
    ----------
    base : Index
    folder : Path
        Of the archive.
    answered : set of str
        Photos with a record. One that has gone over to another engine is in the answer of
        none until that is dated.
    """
    photos = base.photos()
    done = answered | {path for path, row in photos.items() if row.code}
    if photos and photos.keys() <= done:
        return
    # Only the folder knows what the run that was stopped had not come to.
    from vision.archive.walk import walk
    from vision.report.words import counted

    waiting = len({*photos, *walk(str(folder)).photos} - done)
    if waiting:
        typer.echo(
            f"telltale: {folder}: tagging has not finished, {counted(waiting, 'photo')} "
            f"still without an answer; run telltale tag again to go on",
            err=True,
        )


def answer_words(record: Any) -> str:
    """Say what was found in one photo, each percentage beside what it is of."""
    from vision.archive.tags import MIXED
    from vision.report.narrowing import NOT_IN_GUIDE
    from vision.report.words import NOT_NARROWED, OUTSIDE_GUIDE, percent, years_words

    if not record.found:
        return "no engine"
    if record.several:
        return MIXED
    if not record.narrowed:
        return NOT_NARROWED
    # The confidence is that of the years, the share that of the variation: each beside
    # its own, or 99 % would seem to be said of a variation that has 40 %.
    sure = percent(record.confidence)
    if not record.covered:
        return f"year unknown  {OUTSIDE_GUIDE} ({sure})"
    years = f"{years_words(record.years)} ({sure})"
    if record.variation == NOT_IN_GUIDE:
        return f"{years}  {OUTSIDE_GUIDE} ({percent(record.p)})"
    return f"{years}  {record.variation} ({percent(record.p)})"


@contextmanager
def _stoppable(command: str) -> Iterator[None]:
    """Say after Ctrl-C that what is done is kept."""
    try:
        yield
    except KeyboardInterrupt:
        typer.echo(f"telltale: stopped; run {command} again to go on", err=True)
        raise typer.Exit(STOPPED) from None


def _undo(folder: Path, index: Path | None, *, dry: bool) -> None:
    from vision.archive import undo_archive

    with _stoppable("tag --undo"), watching(None) as watcher:
        undone = undo_archive(folder, watcher, index=index, dry=dry)
    would = "would be " if dry else ""
    typer.echo(
        f"{folder}: sidecars {would}removed {len(undone.removed)}, "
        f"restored {len(undone.restored)}, cleaned {len(undone.cleaned)}, "
        f"failed {len(undone.failed)}"
    )
    if dry:
        for path in (*undone.removed, *undone.restored, *undone.cleaned):
            typer.echo(shown(path))
    if undone.failed:
        raise typer.Exit(SidecarError.exit_code)


def _tell(summary: Summary, order: Order) -> None:
    from vision.archive.groups import GROUP_FILE
    from vision.report.words import counted

    if summary.rebuilt:
        typer.echo(f"telltale: {summary.rebuilt}", err=True)
    if order.dry:
        for path in summary.written:
            typer.echo(f"would write {shown(path)}")
    written = "to write" if order.dry else "written"
    typer.echo(
        f"{order.root}: {counted(summary.photos, 'photo')} ({summary.looked_at} looked at, "
        f"{counted(summary.copies, 'copy', 'copies')} of these, {summary.unchanged} known "
        f"already, {summary.unread} not read), {engines_words(summary.told)}, "
        f"{counted(len(summary.written), 'sidecar')} {written}, "
        f"{summary.current} as they should be, {counted(summary.failed, 'failure')}"
    )
    if summary.idle:
        typer.echo(f"telltale: {GROUP_FILE}: no photo fits {some_names(summary.idle)}", err=True)
    if summary.unheeded:
        rows = some_names([f"{photo} as {engine}" for photo, engine in summary.unheeded])
        typer.echo(
            f"telltale: {GROUP_FILE}: not followed, as an earlier line says otherwise: {rows}",
            err=True,
        )
    if turned := summary.told.turned:
        words = turned_words(some_names(turned), many=len(turned) > 1)
        typer.echo(f"telltale: {words}", err=True)
    for engine in summary.told.mixed:
        typer.echo(
            f"telltale: {shown(engine)}: these photos seem to show more than one engine, which "
            "is dated as none; --group photo dates each photo by itself, and engines.csv "
            "says which belong together",
            err=True,
        )
