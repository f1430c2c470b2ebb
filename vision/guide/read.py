"""From the text of a checked guide to a `Guide`."""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import replace
from importlib import resources
from pathlib import Path

from vision.guide.build import build_guide
from vision.guide.check import check_guide
from vision.guide.values import (
    Guide,
)
from vision.records import GuideError

BUILTIN = ("wayfarer", "brindle")
# Taken where nobody names a guide.
EXAMPLE_GUIDE = BUILTIN[0]


def builtin_names() -> tuple[str, ...]:
    """Names of the guides that come with the package; the first is the default."""
    return BUILTIN


def starter_text() -> str:
    """Return a commented guide to start from; it passes `check_guide` as it stands."""
    return _packaged("starter")


def builtin_text(name: str) -> str:
    """Return the text of a built-in guide.

    Raises
    ------
    GuideError
        No such guide.
    """
    if name not in BUILTIN:
        raise GuideError(f"no built-in guide {name!r}; there are {', '.join(BUILTIN)}")
    return _packaged(name)


def load_guide(path_or_name: str | Path = EXAMPLE_GUIDE) -> Guide:
    """Read a guide from a file, or one that comes with the package.

    Parameters
    ----------
    path_or_name : str or path
        Name of a built-in guide, or a TOML file. A name wins over a file of the
        same name; "./wayfarer" is the file.

    Raises
    ------
    GuideError
        No such file, not UTF-8, or an error that `check_guide` finds; the message
        names the first one with its line.
    """
    text = guide_text(path_or_name)
    name = Path(path_or_name).name
    errors = [f for f in check_guide(text, name) if f.severity == "error"]
    if errors:
        more = f" (and {len(errors) - 1} more; see guide check)" if errors[1:] else ""
        raise GuideError(f"{errors[0]}{more}")
    digest = hashlib.sha256(text.encode()).hexdigest()
    guide = build_guide(tomllib.loads(text), name.removesuffix(".toml"))
    return replace(guide, sha256=digest)


def guide_text(path_or_name: str | Path) -> str:
    """Text of a guide, as `load_guide` finds it, whether or not it has errors.

    Raises
    ------
    GuideError
        No such guide, or no text.
    """
    if str(path_or_name) in BUILTIN:
        return _packaged(str(path_or_name))
    path = Path(path_or_name)
    if not path.exists():
        raise GuideError(f"{path}: no such guide; give a file or one of {', '.join(BUILTIN)}")
    return read_text(path)


def read_text(path: Path) -> str:
    """Text of a guide's file, with or without a byte-order mark.

    Raises
    ------
    GuideError
        It cannot be read, or is not UTF-8.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise GuideError(f"{path}: not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    except OSError as error:
        raise GuideError(f"{path}: cannot be read ({error.strerror})") from None


def _packaged(name: str) -> str:
    file = resources.files("vision").joinpath("guides", f"{name}.toml")
    return file.read_text(encoding="utf-8")
