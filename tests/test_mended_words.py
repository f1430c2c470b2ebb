"""What people type, understood or refused in a way that helps; each was once neither."""

from __future__ import annotations

import itertools

import pytest

from conftest import Telltale
from test_archive_find import NONE, W6
from vision.archive.query import parse_query
from vision.records import PHOTO_CUES, ArchiveError

# --- brackets in a query -----------------------------------------------------------


@pytest.mark.parametrize(
    "query",
    [
        "((stripe present) and 1938)",
        "(stripe present and (1938 or 1900))",
        "not (engine absent or (stripe absent))",
        "(((1938)))",
        'in "(" or stripe present',
    ],
)
def test_brackets_that_touch_are_brackets_all_the_same(query: str) -> None:
    """ "((" and "))" were each taken for one word that is not understood."""
    test = parse_query(query)
    assert (test(W6), test(NONE)) == (True, False)


def test_brackets_after_in_are_part_of_a_path() -> None:
    assert parse_query("in '(('")(NONE) is False


@pytest.mark.parametrize("deeper", ["not ", "( "])
def test_a_query_that_is_nested_without_end_is_refused(deeper: str) -> None:
    """It ended in Python's own complaint of a recursion."""
    end = " )" if deeper == "( " else ""
    assert parse_query(deeper * 40 + "engine present" + end * 40)(W6)
    with pytest.raises(ArchiveError, match="inside each other"):
        parse_query(deeper * 3000 + "engine present" + end * 3000)
    side_by_side = " and ".join(itertools.repeat(f"{deeper}engine present{end}", 200))
    assert parse_query(side_by_side)(W6) is (deeper == "( ")


@pytest.mark.parametrize("query", ["and", "or 1938", "stripe present and or 1938", "( )"])
def test_a_word_that_joins_nothing_is_not_said_to_mean_itself(query: str) -> None:
    """ "and" was not understood; did you mean "and"?"""
    with pytest.raises(ArchiveError, match="a term expected before") as refused:
        parse_query(query)
    assert "did you mean" not in str(refused.value)


def test_the_help_of_find_names_every_cue_that_can_be_asked_for(telltale: Telltale) -> None:
    """It left the lettering out, which can be asked for."""
    _, told, _ = telltale("find", "--help")
    words = {cue.rpartition("_")[2] for cue in PHOTO_CUES}
    assert {word for word in words if word not in told} == set()
