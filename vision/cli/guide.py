"""`telltale guide`: check, start, list, show and try out variation guides."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vision.cli.files import PAGE, check_outputs, write_new, write_whole
from vision.cli.simulate import GUIDE, simulate
from vision.records import GuideError

if TYPE_CHECKING:
    from vision.guide import Guide

guide_app = typer.Typer(
    help="Check, start, list, show and try out variation guides.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@guide_app.command(short_help="Say what is wrong with a guide, or hard to tell apart.")
def check(
    guide: Annotated[str, GUIDE],
) -> None:
    """Say what is wrong with a guide, line by line, and what is hard to tell apart."""
    import tomllib

    from vision.guide import build_guide, check_guide, guide_text

    text = guide_text(guide)
    findings = check_guide(text, guide)
    for finding in findings:
        typer.echo(str(finding))
    errors = sum(finding.severity == "error" for finding in findings)
    if not errors:
        _print_pairs(build_guide(tomllib.loads(text), Path(guide).name))
    typer.echo(f"{guide}: {_count(errors, 'error')}, {_count(len(findings) - errors, 'warning')}")
    if errors:
        raise typer.Exit(GuideError.exit_code)


def _print_pairs(guide: Guide) -> None:
    from vision.guide import pairs
    from vision.report import hard_pairs

    every = pairs(guide)
    blind = sum(not pair.in_photos for pair in every)
    if every:
        typer.echo(f"pairs that photos alone can tell apart: {len(every) - blind} of {len(every)}")
    if hard_pairs(guide):
        typer.echo("pairs that hang on one photo cue, or on none:")
        for line in hard_pairs(guide):
            typer.echo(f"  {line}")


@guide_app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write it.")],
) -> None:
    """Write a commented guide to start your own from."""
    from vision.guide import starter_text

    write_new(file, starter_text().encode())
    typer.echo(f"{file}: written; next, fill it in and run: telltale guide check {file}")


@guide_app.command("list")
def list_guides() -> None:
    """List the built-in guides."""
    from vision.guide import builtin_names, load_guide

    rows: list[tuple[str, ...]] = [("guide", "years", "title")]
    for name in builtin_names():
        guide = load_guide(name)
        rows.append((name, f"{guide.years[0]}–{guide.years[-1]}", guide.title))
    _print_table(rows)


@guide_app.command()
def show(
    guide: Annotated[str, GUIDE],
    html: Annotated[
        Path | None, typer.Option(metavar="OUT", help="Also write it as one HTML page.")
    ] = None,
) -> None:
    """Show a guide as a table by cue and a chart by year."""
    from vision.guide import load_guide
    from vision.report import guide_page, guide_text

    table = load_guide(guide)
    check_outputs([(html, PAGE)], (Path(guide),))
    if html is not None:
        write_whole(html, guide_page(table).encode())
    typer.echo(guide_text(table))


guide_app.command()(simulate)


def _print_table(rows: list[tuple[str, ...]]) -> None:
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = (f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True))
        typer.echo("  ".join(cells).rstrip())


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
