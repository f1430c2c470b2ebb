"""One engine into the archive, when a person asks for it: its photos, a note, and tags."""

from __future__ import annotations

import io
import itertools
import tempfile
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vision.guide import Guide
from vision.records import ArchiveBusy, OutputError

if TYPE_CHECKING:
    from vision.archive import Order
    from vision.page.desk import Desk, Request
    from vision.pipeline import Eye

# Folder of the archive in which engines from the page are kept, a folder a day.
FOLDER = "from-the-page"
NOTE = "note.txt"
SUFFIXES = {"JPEG": "jpg", "MPO": "jpg", "TIFF": "tif"}


class Keeper:
    """Puts engines into an archive and lets the archive tag them.

    Parameters
    ----------
    root : Path
        The archive's folder.
    guide : Guide
    eye : Eye
    place : str
        Where the guide is found again, for the next `telltale tag`.
    """

    def __init__(self, root: Path, guide: Guide, eye: Eye, place: str = "") -> None:
        from vision.archive import Order

        self._order: Order = Order(root=root, guide=guide, place=place)
        self._eye = eye

    def tag(self) -> bool:
        """Tag what is new in the archive; False where another run is at work in it.

        Raises
        ------
        TelltaleError
            The archive cannot be worked on.
        """
        from vision.archive import tag_archive

        try:
            tag_archive(self._order, lambda: self._eye, _Silent())
        except ArchiveBusy:
            return False
        return True

    def keep(self, desk: Desk, content_type: str, body: bytes) -> dict[str, Any]:
        """Keep what a request holds.

        Returns
        -------
        dict
            "kept", the engine's folder within the archive; "tagged", whether the
            archive has tagged it already or will at its next run.
        """
        request = desk.read(content_type, body)
        desk.date(request)  # whatever cannot be read is refused, and nothing written
        folder = self._write(request)
        kept = folder.relative_to(self._order.root).as_posix()
        return {"kept": kept, "tagged": self.tag()}

    def _write(self, request: Request) -> Path:
        """Write a folder of its own under a name that the archive ignores, then rename it."""
        now = datetime.now()
        day = self._order.root / FOLDER / now.date().isoformat()
        try:
            day.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryDirectory(dir=day, prefix=".telltale-") as temporary:
                whole = Path(temporary) / "engine"
                whole.mkdir()
                for number, (_, data) in enumerate(request.photos, 1):
                    (whole / f"photo-{number}.{_suffix(data)}").write_bytes(data)
                if request.note or request.said:
                    (whole / NOTE).write_text(_note(request), encoding="utf-8")
                return _renamed(whole, day / f"{now:%H-%M-%S}")
        except OSError as error:
            raise OutputError(f"{day}: cannot be written ({error.strerror})") from error


def _renamed(whole: Path, wanted: Path) -> Path:
    """Rename to the time of day: each phone has an engine 1 of its own, so no number would do."""
    for number in itertools.count(1):
        target = wanted if number == 1 else wanted.with_name(f"{wanted.name}-{number}")
        # A folder is renamed onto an empty one at most, so nothing is ever replaced.
        if not target.exists():
            break
    whole.rename(target)
    return target


def _suffix(data: bytes) -> str:
    """The ending that says what the bytes are, whatever they were called."""
    from PIL import Image

    with Image.open(io.BytesIO(data)) as image:
        format = image.format or "JPEG"
    return SUFFIXES.get(format, format.lower())


def _note(request: Request) -> str:
    said = [f"--saw {statement}" for statement in request.said]
    return "\n".join([*([request.note] if request.note else []), *said]) + "\n"


class _Silent:
    """Shows nothing of a run: what failed is in its summary."""

    def begin(self, what: str, count: int) -> None:
        pass

    def step(self, *, failed: bool = False) -> None:
        pass

    def failure(self, text: str) -> None:
        pass
