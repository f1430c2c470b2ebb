"""Imports go down the picture in DEVELOPERS.md, never up or sideways."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
# Top to bottom; modules of one line are strangers to each other.
LAYERS = (
    ("cli",),
    ("page",),
    ("listings", "archive", "shelf"),
    ("pipeline", "report"),
    ("locate", "cues", "estimate"),
    ("photo", "network", "features", "guide", "rectify", "workers"),
    ("records",),
)
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
# The only modules that may know these libraries.
SOLE_USERS = {
    "onnxruntime": {"network"},
    "typer": {"cli"},
    "edtf": {"guide"},
}
STUDIO_ONLY = {
    "torch",
    "mitsuba",
    "drjit",
    "moderngl",
    "onnx",
    "trimesh",
    "shapely",
    "tools",
    "tests",
}
MODULES = sorted((ROOT / "vision").rglob("*.py"))


def owner(path: Path) -> str:
    """The module of the picture that a file belongs to; "" for the package itself."""
    first = path.relative_to(ROOT / "vision").parts[0]
    return "" if first == "__init__.py" else first.removesuffix(".py")


def imported(source: str) -> Iterator[str]:
    """Every module that a text imports, wherever in it."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                yield "." * node.level + (node.module or "")
            elif node.module == "vision":
                yield from (f"vision.{alias.name}" for alias in node.names)
            elif node.module:
                yield node.module


def complaints(name: str, source: str) -> list[str]:
    """What a module called `name` with this text imports and should not."""
    found = []
    for target in imported(source):
        top, _, rest = target.partition(".")
        inner = rest.partition(".")[0]
        if target.startswith("."):
            found.append(f"relative import {target}")
        elif top in STUDIO_ONLY:
            found.append(f"{top} belongs to the studio")
        elif name not in SOLE_USERS.get(top, {name}):
            found.append(f"{top} is for {', '.join(sorted(SOLE_USERS[top]))} alone")
        elif (
            top == "vision"
            and inner in LEVEL
            and name in LEVEL
            and inner != name
            and LEVEL[inner] <= LEVEL[name]
        ):
            found.append(f"{name} may not import {inner}")
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_module_imports_only_what_lies_below(path: Path) -> None:
    name = owner(path)
    assert name == "" or name in LEVEL, f"{name} has no place on the picture"
    assert complaints(name, path.read_text(encoding="utf-8")) == []


def test_records_needs_numpy_and_the_standard_library_only() -> None:
    import sys

    paths = (ROOT / "vision" / "records").glob("*.py")
    names = {name for path in paths for name in imported(path.read_text(encoding="utf-8"))}
    outside = {name for name in names if not name.startswith("vision.records")}
    assert {n.partition(".")[0] for n in outside} - sys.stdlib_module_names == {"numpy"}


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("estimate", "from vision.locate import locate"),
        ("records", "from vision import photo"),
        ("guide", "def f():\n    import vision.cli"),
        ("cues", "import onnxruntime"),
        ("photo", "from torch import nn"),
        ("photo", "from . import records"),
        ("report", "import vision.pipeline"),
    ],
)
def test_the_rule_itself_catches(name: str, line: str) -> None:
    assert len(complaints(name, line)) == 1


def test_the_rule_itself_allows() -> None:
    source = "from vision.records import Box\nimport numpy\nfrom vision import __version__"
    assert complaints("pipeline", source) == []


def test_the_picture_in_the_developers_guide_is_the_one_checked() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    picture = text.partition("```layers\n")[2].partition("```")[0]
    rows = [tuple(line.split("  ")[0].split()) for line in picture.splitlines()]
    assert tuple(rows) == LAYERS
