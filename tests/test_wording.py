"""Said in one way everywhere: what was probably meant, and how sure an estimate is."""

from __future__ import annotations

import ast
import doctest
from pathlib import Path

import pytest

import vision
import vision.estimate.strength
import vision.records.errors
from vision.archive.query import parse_query
from vision.estimate import saw
from vision.estimate.strength import estimated_percent, percent
from vision.guide import load_guide, starter_text
from vision.guide.check import check_guide
from vision.records import ArchiveError, EvidenceError, did_you_mean, nearest

PACKAGE = Path(vision.__file__).parent


@pytest.mark.parametrize("module", [vision.records.errors, vision.estimate.strength])
def test_the_examples(module: object) -> None:
    result = doctest.testmod(module)  # type: ignore[arg-type]
    assert result.attempted > 0
    assert result.failed == 0


def test_one_function_says_what_was_meant() -> None:
    """Three lists and three ways of choosing from them said it."""
    users = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if (isinstance(node, ast.Import) and any(n.name == "difflib" for n in node.names))
        or (isinstance(node, ast.ImportFrom) and node.module == "difflib")
    }
    assert users == {"records/errors.py"}


def test_guide_check_saw_and_find_name_the_same() -> None:
    meant = '; did you mean "present"?'
    with pytest.raises(EvidenceError) as said:
        saw(load_guide(), "switch_lever=presnt")
    assert str(said.value).endswith(meant)
    with pytest.raises(ArchiveError) as found:
        parse_query("lever presnt")
    assert str(found.value).endswith(meant)
    text = starter_text().replace("tender_swapped", "tender_swaped")
    assert text != starter_text()
    (message,) = (f.message for f in check_guide(text) if "tender_swaped" in f.message)
    assert message.endswith(did_you_mean("tender_swaped", ["tender_swapped"]))


def test_find_names_the_nearest_term_alone() -> None:
    """It named "stripe" and "edge_stripe", which mean the same."""
    with pytest.raises(ArchiveError, match=r'did you mean "stripe"\? \('):
        parse_query("strip present")


def test_letters_large_or_small_are_alike() -> None:
    assert nearest("SWITCH_LEVR", ["switch_lever", "edge_stripe"]) == "switch_lever"
    assert nearest("w6a", ["W6", "K"]) == "W6"


def test_a_tender_that_is_not_known_may_be_another() -> None:
    guide = load_guide("wayfarer")
    with pytest.raises(EvidenceError, match='did you mean "other"'):
        saw(guide, "tender=othr")
    with pytest.raises(EvidenceError, match=r"known: .*other"):
        saw(guide, "tender=?")


@pytest.mark.parametrize("p", [0.0, 1e-9, 0.004, 0.0051, 0.5, 0.934, 0.9949, 0.9951, 1.0])
def test_an_estimate_is_never_said_to_be_certain(p: float) -> None:
    said = estimated_percent(p)
    assert said not in ("0 %", "100 %")
    assert said == (percent(p) if 0.0 < p < 1.0 else {0: "under 1 %", 1: "over 99 %"}[int(p)])


def test_one_function_keeps_estimates_from_certainty() -> None:
    """Two modules each cut a probability themselves before they wrote it in percent."""
    cut = [
        path.name
        for path in (PACKAGE / "estimate").glob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in ("percent", "estimated_percent")
        and node.args
        and isinstance(node.args[0], ast.Call)
    ]
    assert cut == ["strength.py"]
