"""An SQLite file of which nothing cannot be made again: opened, or made anew where damaged."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from vision.records import OutputError


def open_base(path: Path, is_usable: Callable[[sqlite3.Connection], bool]) -> sqlite3.Connection:
    """Open a file, and once more as a new one where what is there cannot be used.

    Parameters
    ----------
    path : Path
    is_usable : callable
        Makes the tables, and says whether what is there can be used.

    Raises
    ------
    OutputError
        It cannot be opened or written.
    """
    for _ in range(2):
        try:
            base = sqlite3.connect(path)
        except sqlite3.Error as error:
            raise OutputError(f"{path}: cannot be opened ({error}); see --state") from None
        try:
            if is_usable(base):
                return base
        except sqlite3.OperationalError as error:
            base.close()
            raise OutputError(f"{path}: cannot be written ({error}); see --state") from None
        except sqlite3.DatabaseError:
            pass
        # A journal of the old file would undo the new one.
        base.close()
        path.unlink()
        path.with_name(f"{path.name}-journal").unlink(missing_ok=True)
    raise OutputError(f"{path}: cannot be used; see --state")
