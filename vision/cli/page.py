"""`telltale page`: the page that a phone opens."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vision.records import PageError

if TYPE_CHECKING:
    from vision.guide import Guide
    from vision.page import Addresses

MOST_PORT = 65535  # of TCP, whose ports have 16 bits (RFC 9293, section 3.1)


def page(
    context: typer.Context,
    guide: Annotated[
        str | None,
        typer.Option(
            metavar="NAME|FILE",
            help="Variation guide: a built-in name or a file.",
            show_default="the one the archive was last tagged by, or else wayfarer, "
            "an invented example",
        ),
    ] = None,
    port: Annotated[int, typer.Option(metavar="N", help="Port to listen on; 0 for any.")] = 8377,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones on this network in, each by a one-time code.")
    ] = False,
    archive: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Archive into which engines can be saved."),
    ] = None,
    https: Annotated[
        bool, typer.Option("--https", help="Encrypt, with a certificate made on the spot.")
    ] = False,
) -> None:
    """Open a page on which a phone dates engines, until Ctrl-C.

    Photos are read in memory and forgotten with the answer, unless a person saves them.
    """
    if not 0 <= port <= MOST_PORT:
        raise typer.BadParameter(
            f"{port}: a port from 0 to {MOST_PORT} expected", param_hint="--port"
        )
    try:
        from vision.page import (
            Addresses,
            Door,
            Keeper,
            PageLimits,
            build_app,
            find_lan_address,
            listen,
            serve,
        )
    except ModuleNotFoundError as error:
        raise PageError(
            f"the page needs {error.name}; install telltale with its extra: 'telltale-vision[page]'"
        ) from None
    table, example, place = _guide(guide, archive)
    eye = context.obj()
    limits = PageLimits()
    keeper = None if archive is None else Keeper(archive, table, eye, place)
    if keeper is not None and not keeper.tag():
        typer.echo(f"{archive}: another run is at work in it; engines are tagged later", err=True)
    address = find_lan_address() if lan else None
    sockets, port = listen(port, address)
    where = Addresses(port, address, "https" if https else "http")
    encryption = None
    if https:
        from vision.page.certificate import make_certificate

        encryption, fingerprint = make_certificate(("127.0.0.1", *((address,) if address else ())))
        typer.echo(f"certificate, SHA-256: {fingerprint}")
    from vision.report.under import EXAMPLE

    invented = f", {EXAMPLE}" if example else ""
    typer.echo(f"by the guide {table.name} {table.version}{invented}: {table.title}")
    typer.echo(f"{where.here}  Ctrl-C ends")
    door = Door(with_code=lan, sessions=limits.sessions, on_code=lambda code: _invite(where, code))
    app = build_app(
        table,
        eye,
        door=door,
        hosts=where.hosts,
        scheme=where.scheme,
        limits=limits,
        keeper=keeper,
        by_default=example,
    )
    serve(app, sockets, limits=limits, context=encryption)


def _guide(named: str | None, archive: Path | None) -> tuple[Guide, bool, str]:
    """The guide to date by, whether it is the example that nobody named, and its place.

    Engines that are saved into an archive are dated as all else there.
    """
    from vision.archive import choose_guide, place_of
    from vision.guide import EXAMPLE_GUIDE, load_guide

    if archive is not None:
        choice = choose_guide(named, archive)
        return choice.guide, named is None and not choice.before, choice.place
    given = EXAMPLE_GUIDE if named is None else named
    return load_guide(given), named is None, place_of(given)


def _invite(where: Addresses, code: str) -> None:
    """Show the way in for the next phone: code, address, and both as a QR code."""
    import io

    import segno

    stream = io.StringIO()
    segno.make(where.there(code), error="m", micro=False).terminal(stream, compact=True)
    typer.echo(f"\nThe next phone, once: {where.there(code)}  code {code}\n{stream.getvalue()}")
