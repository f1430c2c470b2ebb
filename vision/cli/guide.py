"""`telltale guide`: check, start, list and show variation guides."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vision.cli.files import write_new
from vision.records import GuideError, State

if TYPE_CHECKING:
    from vision.guide import Guide, Variation

guide_app = typer.Typer(
    help="Check, start, list and show variation guides.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

MARKS = {State.PRESENT: "present", State.ABSENT: "absent"}
OPEN = "-"


@guide_app.command()
def check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Guide to check.")],
) -> None:
    """Say what is wrong with a guide, line by line."""
    from vision.guide import check_guide, read_text

    findings = check_guide(read_text(file), str(file))
    for finding in findings:
        typer.echo(str(finding))
    errors = sum(finding.severity == "error" for finding in findings)
    typer.echo(f"{file}: {_count(errors, 'error')}, {_count(len(findings) - errors, 'warning')}")
    if errors:
        raise typer.Exit(GuideError.exit_code)


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
        rows.append((name, _span(guide), guide.title))
    _print_table(rows)


@guide_app.command()
def show(
    guide: Annotated[
        str, typer.Argument(metavar="NAME|FILE", help="A built-in guide's name, or a file.")
    ],
) -> None:
    """Show a guide as a table: one line a variation, one column a cue."""
    from vision.guide import load_guide

    table = load_guide(guide)
    typer.echo(f"{table.title}, gauge {table.gauge}, {table.wheels}, {_span(table)}")
    heads = ("id", "years", "number", "lever", "linkage", "stripe", "tender")
    names = tuple(name.replace("_", " ") for name in table.check_names)
    rows = [(*heads, *names)]
    rows += [_row(variation, table.check_names) for variation in table.variations]
    _print_table(rows)
    for tender in table.tenders:
        lamps = "no rear lamp" if tender.lamps == 0 else _count(tender.lamps, "rear lamp")
        typer.echo(f"tender {tender.id}: {tender.axles} axles, {lamps}")


def _row(variation: Variation, checks: tuple[str, ...]) -> tuple[str, ...]:
    expects = {name: MARKS[state] for name, state in variation.expects.items()}
    stripe = expects.get("edge_stripe", OPEN)
    if variation.stripe_colour:
        stripe = variation.stripe_colour
    return (
        variation.id,
        variation.edtf,
        ", ".join(variation.numbers) or OPEN,
        expects.get("switch_lever", OPEN),
        expects.get("side_linkage", OPEN),
        stripe,
        " or ".join(variation.tenders) or OPEN,
        *(expects.get(name, OPEN) for name in checks),
    )


def _span(guide: Guide) -> str:
    first, last = guide.years[0], guide.years[-1]
    return str(first) if first == last else f"{first}-{last}"


def _print_table(rows: list[tuple[str, ...]]) -> None:
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = (f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True))
        typer.echo("  ".join(cells).rstrip())


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"

