"""Finding tagged photos, and exporting what is found."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from answers import CUES, TENDER, FakeEye, answer
from archives import fill, tag
from vision.archive.export import column_names, to_csv, to_parquet
from vision.archive.index import EngineRow
from vision.archive.query import parse_query
from vision.archive.record import Record, columns, printable, records_of
from vision.archive.tags import tags_of
from vision.cli import run
from vision.cli.archive import answer_words
from vision.guide import load_guide
from vision.page.shown import shown
from vision.pipeline.look import Look
from vision.records import COUPLED, ArchiveError, Candidate, Cue, State
from vision.report import answer_json

W6 = Record(
    photo="shelf/six.jpg",
    engine="shelf",
    sha256="ab" * 32,
    found=True,
    narrowed=True,
    years="1938/1939",
    covered=(1938, 1939),
    confidence=0.93,
    variation="W6",
    p=0.91,
    mismatched=True,
    several=False,
    cues={
        "edge_stripe": ("present", None, 0.95),
        "switch_lever": ("absent", None, 0.9),
        "cab_number": ("present", "322", 0.8),
        "driving_axles": ("present", "3", 0.9),
        "tender_axles": ("unseen", None, 0.0),
        "tender_lettering": ("present", None, 0.95),
    },
)
NONE = Record("box.jpg", "box", "cd" * 32, False, False, "", (), None, "", None, False, False, {})


@pytest.mark.parametrize(
    ("query", "six", "none"),
    [
        ("", True, True),
        ("stripe present and 1935..1938", True, False),
        ("stripe present 1939", True, False),
        ("edge_stripe absent or 1931..1937", False, False),
        ("edge stripe present and 1935–1938", True, False),
        ("Edge Stripe absent or 1935-1937", False, False),
        ("1939/1940 cab number 322", True, False),
        ("switch lever absent tender axles unseen", True, False),
        ("1940", False, False),
        ("not stripe present", False, True),
        ("lever absent and not (1931..1937 or engine absent)", True, False),
        ("linkage unseen", True, True),
        ("number 322", True, False),
        ("NUMBER 316", False, False),
        ("axles unseen", True, True),
        # Axles alone are the tender's, as before others were counted.
        ("axles 3", False, False),
        ("driving axles 3 and stripe present", True, False),
        ("driving_axles 3", True, False),
        ("driving axles 2", False, False),
        ("driving axles unseen", False, True),
        ("lettering present and tender lettering present", True, False),
        ("variation w6 AND sure 90%", True, False),
        ("sure 94", False, False),
        ("in shelf", True, False),
        ("narrowed", True, False),
        ('in "x.jpg"', True, True),
        ("in 'no such'", False, False),
        ("engine absent or mismatched", True, True),
        # "and" binds more than "or": Boolean algebra's usual order.
        ("engine absent or engine present and 1900", False, True),
    ],
)
def test_queries(query: str, six: bool, none: bool) -> None:
    test = parse_query(query)
    assert (test(replace(W6, photo="shelf/six.jpg")), test(NONE)) == (six, none or query == "x")


@pytest.mark.parametrize("query", ["outside", "Not in this guide", "sure 1 not in this guide"])
def test_what_is_not_in_the_guide_is_found_as_the_listing_writes_it(query: str) -> None:
    """`not in guide` found every photo, and what the listing says was not understood."""
    test = parse_query(query)
    unknown = replace(W6, years="XXXX", covered=(), variation="other")
    rather = replace(W6, variation="other")
    hardly = replace(NONE, found=True)
    for record in (unknown, rather, W6, hardly, NONE):
        assert test(record) is ("not in this guide" in answer_words(record))
        # Whatever is asked, and asked the other way round.
        assert parse_query(f"not ({query})")(record) is not test(record)
    assert test(unknown) and test(rather)


@pytest.mark.parametrize("query", ["not in guide", "not in Guide and 1935", "in this guide"])
def test_what_is_near_to_not_in_this_guide_names_the_term(query: str) -> None:
    with pytest.raises(ArchiveError, match='ask for "outside"'):
        parse_query(query)
    assert parse_query("not (in guide)")(W6) and not parse_query("not (in shelf)")(W6)


@pytest.mark.parametrize(
    ("query", "named"),
    [
        ("strip present", '"strip"'),
        ("stripe", "after stripe"),
        ("1939..1935", "backwards"),
        ("(1939", "bracket"),
        ("1939)", '"\\)"'),
        ("sure much", '"much"'),
        ('in "open', "quotation"),
        ("engine maybe", "engine maybe"),
        ("1939 and", "a term expected"),
    ],
)
def test_a_query_that_is_not_understood_names_the_word(query: str, named: str) -> None:
    with pytest.raises(ArchiveError, match=named):
        parse_query(query)


def hardly_seen() -> dict[str, Any]:
    """An answer whose one piece of evidence fits W3 and W4 alike, as the JSON has it."""
    plain = answer_json(answer())
    even = {"W3@1934": 0.3, "W4@1935": 0.25, "W4@1936": 0.25, "other": 0.01}
    plain["estimate"]["steps"] = [{"likelihoods": even}]
    return plain


def test_an_engine_that_was_hardly_seen_is_found_under_no_variation_and_no_year() -> None:
    """`find` listed it under the first of equals and under every year of the guide."""
    plain = answer_json(answer())
    told = EngineRow("one", (plain["photos"][0]["path"],), "", plain)
    vague = replace(told, answer=hardly_seen())
    (seen,), (hardly,) = records_of(told), records_of(vague)
    for query in ("variation W3", "1934", "1900..1999", "sure 1", "narrowed"):
        test = parse_query(query)
        assert (test(seen), test(hardly)) == (True, False), query
    for query in ("engine present and not narrowed", "linkage present", "axles 4", ""):
        assert parse_query(query)(hardly), query
    assert answer_words(hardly) == "not narrowed down"
    row = columns(hardly)
    assert (row["engine_found"], row["narrowed_down"], row["variation"]) == (True, False, "")
    assert (row["years"], row["first_year"], row["confidence"]) == ("", None, None)


def test_no_export_sidecar_or_page_writes_a_probability_of_0_or_1() -> None:
    """Before, four decimals: what is all but certain was written as 1.0, what is not as 0.0."""
    one = answer()
    assert one.estimate is not None
    rare = (Candidate("W3", "1934", 1 - 1e-8), Candidate("W5", "1937", 1e-8))
    sure = replace(one, estimate=replace(one.estimate, confidence=1 - 1e-8, variations=rare))
    plain = answer_json(sure)
    (record,) = records_of(EngineRow("one", (plain["photos"][0]["path"],), "", plain))
    (row,) = csv.DictReader(io.StringIO(to_csv([record]).decode()))
    assert (row["confidence"], row["variation_p"]) == ("0.999999", "0.999999")
    guide = load_guide()
    seen, size = sure.sightings[0], sure.photos[0].size
    look = Look("ab" * 32, size, 1, None, (), seen, sure.cues, 0, (0, 0), b"")
    assert dict(tags_of(sure, look, guide).more)["Confidence"] == "0.999999"
    candidates = shown(sure, guide)["candidates"]
    assert [candidate["p"] for candidate in candidates] == [0.999999, 1e-08]


def test_csv_is_read_back() -> None:
    odd = replace(W6, photo='a "b",\nc.jpg')
    rows = list(csv.DictReader(io.StringIO(to_csv([odd, NONE]).decode(), newline="")))
    assert rows[0]["photo"] == odd.photo
    assert (rows[0]["first_year"], rows[0]["last_year"]) == ("1938", "1939")
    assert rows[0]["cab_number_value"] == "322"
    assert rows[1]["confidence"] == ""


def test_parquet_is_read_back() -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    arrow = pytest.importorskip("pyarrow")
    table = parquet.read_table(arrow.BufferReader(to_parquet([W6, NONE])))
    assert table.column_names == column_names()
    first, second = table.to_pylist()
    assert first["first_year"] == 1938
    assert first["edge_stripe_confidence"] == 0.95
    assert first["tender_mismatched"] is True
    assert second["confidence"] is None
    assert parquet.read_table(arrow.BufferReader(to_parquet([]))).num_rows == 0


def test_names_that_are_no_text() -> None:
    assert printable("caf\udce9") == "caf\\xe9"


def test_each_percentage_stands_by_what_it_is_of() -> None:
    doubtful = replace(W6, years="1934/1937", confidence=0.99, variation="W3", p=0.42)
    assert answer_words(doubtful) == "1934–1937 (99 %)  W3 (42 %)"
    none = replace(W6, years="XXXX", covered=(), confidence=0.72, variation="other", p=0.72)
    assert answer_words(none) == "year unknown  not in this guide (72 %)"
    assert answer_words(replace(doubtful, variation="other", p=0.4)).endswith(
        "not in this guide (40 %)"
    )
    assert answer_words(NONE) == "no engine"


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = tmp_path / "shelf"
    assert run(["find", "1935", "--dir", str(root)]) == 50
    assert "no such folder" in capsys.readouterr().err
    fill(root, 2)
    assert run(["find", "1935", "--dir", str(root)]) == 50
    assert "not tagged yet" in capsys.readouterr().err
    tag(root)
    assert run(["find", "linkage present and lever absent", "--dir", str(root)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.partition("  ")[0] for line in lines] == ["000.jpg", "001.jpg"]
    out = tmp_path / "out.csv"
    assert run(["find", "--dir", str(root), "--csv", str(out)]) == 0
    assert len(out.read_text("utf-8").splitlines()) == 3
    assert run(["find", "--dir", str(root), "--csv", str(root / "000.jpg")]) == 40
    assert run(["find", "1800", "--dir", str(root)]) == 0
    assert capsys.readouterr().err.endswith("nothing found\n")


ASKED = "telltale: no photo here was asked about"
COUPLED_ALONE = f"{ASKED} tender coupled; only guides of tank engines ask it"


@pytest.mark.parametrize(
    ("query", "line"),
    [
        ("coupled present", COUPLED_ALONE),
        ("not coupled absent", COUPLED_ALONE),
        ("(coupled absent or tender coupled present) 1935", COUPLED_ALONE),
        ("coupled present or stripe present", COUPLED_ALONE),
        ("driving axles 3 or coupled present", f"{ASKED} driving axles or tender coupled"),
        ("stripe present or linkage unseen", ""),
        ("1935", ""),
        ("", ""),
    ],
)
def test_what_no_photo_was_asked_about_is_said(
    query: str, line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It read as if every engine had been looked at and had no tender."""
    fill(tmp_path, 2)
    tag(tmp_path)
    assert run(["find", query, "--dir", str(tmp_path)]) == 0
    told = [words for words in capsys.readouterr().err.splitlines() if ASKED in words]
    assert told == ([line] if line else [])


def test_a_cue_that_was_looked_for_in_vain_was_asked_about(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fill(tmp_path, 2)
    hidden = Cue(COUPLED, State.UNSEEN, because="no tender is in the picture")
    seen = {"000": (*CUES, hidden), "001": None}
    tag(tmp_path, partial(FakeEye, seen), guide=load_guide("brindle"), jobs=1)
    assert run(["find", "coupled present", "--dir", str(tmp_path)]) == 0
    assert capsys.readouterr().err == "nothing found\n"


@pytest.mark.parametrize(("guide", "asked"), [("wayfarer", False), ("brindle", True)])
def test_a_sidecar_speaks_of_a_coupled_tender_where_find_does(
    guide: str, asked: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A region named it by every guide, of which `find` said that no photo was asked."""
    fill(tmp_path, 1)
    behind = Cue(COUPLED, State.PRESENT, p_present=0.97, confidence=0.97, where=TENDER)
    eye = partial(FakeEye, {"000": (*CUES, behind)})
    tag(tmp_path, eye, guide=load_guide(guide), jobs=1)
    sidecar = (tmp_path / "000.jpg.xmp").read_text("utf-8")
    assert ("tender coupled" in sidecar) is asked
    assert "tender axles: 4" in sidecar and "side linkage: present" in sidecar
    assert run(["find", "coupled present", "--dir", str(tmp_path)]) == 0
    out, err = capsys.readouterr()
    assert (bool(out), ASKED in err) == (asked, not asked)


def test_photos_without_an_engine_were_asked_about_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fill(tmp_path, 1)
    tag(tmp_path, partial(FakeEye, {"000": None}), jobs=1)
    assert run(["find", "coupled present", "--dir", str(tmp_path)]) == 0
    assert capsys.readouterr().err == "nothing found\n"
