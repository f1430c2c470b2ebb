"""The wheel arrangement that a seller states: read, and held against the axles counted."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from answers import photo_of
from guides import value
from listing_files import HIDDEN, W, eye, write_photos, write_table
from shapes import engine
from vision.guide import Guide, load_guide
from vision.listings.claims import MOST_CHARACTERS, find_claims
from vision.listings.parts import lexicon_of
from vision.listings.plain import plain, vocabulary
from vision.listings.values import Claim, Kind, Listing, Verdict
from vision.listings.verdicts import Judged, judge
from vision.pipeline import date_item
from vision.records import Cue, State

# 4-6-2, which the UIC classification calls 2'C1': three driving axles.
GUIDE = load_guide("wayfarer")
FOR, AGAINST, OPEN = Verdict.SUPPORTED, Verdict.CONTRADICTED, Verdict.CANNOT_TELL

# Arrangements by the UIC classification (leaflet 650, from memory): figures are carrying
# axles, and each letter's place in the alphabet is how many axles are driven together.
UIC = {
    "2-2-2": "1A1",
    "4-2-2": "2'A1",
    "0-4-0": "B",
    "0-4-0ST": "B",
    "0-4-4T": "B2'",
    "4-4-0": "2'B",
    "4-4-2": "2'B1'",
    "0-6-0": "C",
    "0-6-0PT": "C",
    "0-6-2T": "C1'",
    "2-6-4T": "1'C2'",
    "4-6-2": "2'C1'",
    "2-8-0": "1'D",
    "2-8-2": "1'D1'",
    "4-8-4": "2'D2'",
    "2-10-0": "1'E",
    "0-12-0": "F",
    "4-14-4": "2'G2'",
    "0-6-6-0": "C'C",
    "2-8-8-2": "(1'D)D1'",
}


def driven(uic: str) -> str:
    return str(sum(ord(letter) - ord("A") + 1 for letter in uic if letter.isalpha()))


def wheels(title: str, description: str = "", guide: Guide = GUIDE) -> list[Claim]:
    found = find_claims(Listing("1", title, description), lexicon_of(guide))
    return [claim for claim in found if claim.about == "driving_axles"]


# --- what is read -----------------------------------------------------------------------


@pytest.mark.parametrize("whyte", UIC)
@pytest.mark.parametrize("dash", ["-", "–", "\u2011", "\u2212"])
def test_arrangements_have_the_axles_of_their_uic_letters(whyte: str, dash: str) -> None:
    words = whyte.replace("-", dash)
    for text in (f"Fine {words} express, 0 gauge", words, f"engine ({words}) of 1934."):
        (claim,) = wheels(text)
        assert (claim.kind, claim.value, claim.text) == (Kind.AXLES, driven(UIC[whyte]), words)
        (claim,) = wheels("Steam engine", text)
        assert (claim.value, claim.span.field) == (driven(UIC[whyte]), "description")


@pytest.mark.parametrize(
    "text",
    [
        "No. 316 4-6-2 express",
        "0 gauge 4-6-2",
        "Spur 0, 4-6-2",
        "4-6-2 loco, 20 volt",
        "4-6-2 in good condition",
        "no box, 4-6-2",
        "No box 4-6-2",
        "4-6-2 missing its tender",
        "Made in 1934. 4-6-2.",
        "4-6-2 wheel arrangement",
        "4-6-2. Later in the text: 4-6-2",
        "4-6-2, unlike the 2-6-2",
        "not a 2-6-2 but a 4-6-2",
        "４-６-２",
    ],
)
def test_arrangements_as_sellers_write_them(text: str) -> None:
    assert [claim.value for claim in wheels(text)] == ["3"]


@pytest.mark.parametrize(
    "text",
    [
        # Days, as ISO 8601 writes them and as people do (common practice, no source).
        "2024-06-02",
        "listed 2024-6-2",
        "on 02-06-2024",
        "on 2-6-2024",
        "on 4-6-24",
        "on 4-6-12",
        "12-10-8",
        "dated 4-6-2",
        "1-2-3",
        # Telephone, item and model numbers, addresses of pages.
        "020-4-6-2",
        "4-6-2-0400",
        "+4-6-2",
        "tel: 020 4-6-2",
        "phone 4-6-2",
        "item no. 4-6-2",
        "Item no: 4-6-2",
        "lot 4-6-2",
        "Artikel 2-8-0",
        "part 0-4-0",
        "#4-6-2",
        "model A4-6-2",
        "AB-4-6-2",
        "4-6-2B",
        "4-6-2mm",
        "4-6-2-1",
        "4-6-2/1",
        "4-6-2.50",
        "1.4-6-2",
        "04-6-2",
        "4-06-2",
        "4-6-02",
        "shop.example/4-6-2",
        "4-6-2.jpg",
        # Prices in pounds, shillings and pence, and sizes.
        "£4-6-2",
        "price 4-6-2",
        "4-6-2 EUR",
        "2-4-6 cm",
        "sizes 2-4-6",
        # No wheel arrangement: a wheel has a fellow, some are driven, groups are 3 or 4.
        "4-5-2",
        "4-0-2",
        "4-6",
        "4-6-4-6-2",
        "4-18-2",
        # Two units, whose axles are those of both.
        "2-6-0+0-6-2",
        "0-6-0 + 0-6-0",
        # Other engines, and none.
        "tender for a 4-6-2",
        "unlike the 4-6-2",
        "not a 4-6-2",
        "not really a 4-6-2",
        "isn’t a 4-6-2",
        "kein 4-6-2",
        "no 4-6-2",
    ],
)
def test_what_is_no_arrangement_of_this_engine(text: str) -> None:
    assert wheels(text) == []
    assert wheels("", f"An engine. {text}") == []


def test_several_arrangements_are_no_claim_of_any() -> None:
    """Common practice, no source: a lot of two engines names both."""
    assert wheels("Lot: a 4-6-2 and a 0-6-2T") == []
    assert wheels("4-6-2", "With it comes a 2-8-0") == []
    # Of one number of driving axles, too.
    assert wheels("4-6-2 or 0-6-0") == []
    assert [c.value for c in wheels("0-6-2T", "A tank engine, 0-6-2.")] == ["3"]
    others = find_claims(Listing("1", "4-6-2 and 0-6-0, lever"), lexicon_of(GUIDE))
    assert [c.about for c in others] == ["switch_lever"]


def test_a_doubtful_arrangement_is_marked() -> None:
    for text in ("4-6-2?", "probably a 4-6-2", "I think it is a 4-6-2"):
        assert [c.hedged for c in wheels(text)] == [True]
    assert [c.hedged for c in wheels("4-6-2 with tender")] == [False]


def test_the_last_wheels_are_none_of_the_tender() -> None:
    """They were taken for a tender of one axle."""
    found = find_claims(Listing("1", "4-6-2 wheel arrangement with tender"), lexicon_of(GUIDE))
    assert {(c.about, c.value) for c in found} == {("driving_axles", "3"), ("tender", "present")}
    both = find_claims(Listing("1", "2-8-0 with 8 wheel tender"), lexicon_of(GUIDE))
    assert {(c.about, c.value) for c in both} == {("driving_axles", "4"), ("tender_axles", "4")}


@settings(deadline=None)
@given(st.text("0123468-–+.,/ tTx£", max_size=30))
def test_a_claim_is_a_whole_arrangement_and_stands_where_it_says(text: str) -> None:
    for claim in wheels(text):
        assert text[claim.span.start : claim.span.end] == claim.text
        groups = plain(claim.text).replace(" ", "").rstrip("t").split("-")
        assert len(groups) in (3, 4)
        assert all(str(int(g)) == g and int(g) % 2 == 0 and int(g) <= 16 for g in groups)
        around = text[: claim.span.start][-1:] + text[claim.span.end :][:1]
        assert not any(sign.isdigit() or sign in "-–+/" for sign in around)


def test_words_are_plain_and_long_texts_take_no_time() -> None:
    assert all(w == plain(w) for words in vocabulary()["wheels"].values() for w in words)
    for text in (
        "4-6-2 ",
        "4 - 6 - 2 ",
        "4-",
        "4-6-2-",
        "not a ",
        "tel 4 ",
        "not really a 4-6-2 ",
        "no",
    ):
        begun = time.monotonic()
        wheels(text * (MOST_CHARACTERS // len(text)))
        assert time.monotonic() - begun < 5


# --- what the photos say ------------------------------------------------------------------


def judged(text: str, *counts: Cue | None, guide: Guide = GUIDE, **more: bool) -> Judged:
    """The verdict on wheels, with a photo of W6 for each count of its axles."""
    claims = find_claims(Listing("1", text), lexicon_of(guide))
    views = {f"p{n}": (*W["W6"], *((c,) if c else ())) for n, c in enumerate(counts)}
    photos = [replace(photo_of(engine(), f"{n}.png"), sha256=n.ljust(64, "0")) for n in views]
    answer = date_item(photos, guide, eye(views)) if views else None
    (item,) = (i for i in judge(claims, answer, guide, **more) if i.claim.about == "driving_axles")
    return item


def count(axles: str, sure: float = 0.97, rest: str = "") -> Cue:
    """So many are counted; what is left falls to another count, or to all the others."""
    others = [rest] if rest else [n for n in "123456" if n != axles]
    shares = {axles: sure} | {n: (1.0 - sure) / len(others) for n in others}
    return value("driving_axles", axles, sure, values=shares)


UNCLEAR = Cue("driving_axles", State.UNSEEN, values={"3": 0.6, "4": 0.4}, in_sight=True)


@pytest.mark.parametrize(
    ("text", "axles", "expected"),
    [
        ("4-6-2", count("3"), FOR),
        ("4-6-2", count("2"), AGAINST),
        ("4-6-2", count("3", 0.8), OPEN),
        ("4-6-2", count("2", 0.8, rest="3"), OPEN),
        ("2-2-2", count("1"), FOR),
        ("2-8-0", count("3"), AGAINST),
        ("2-8-0", count("4"), FOR),
        ("2-8-0", count("3", 0.8, rest="4"), OPEN),
        # Whether two or three, it is not four.
        ("2-8-0", count("3", 0.8, rest="2"), AGAINST),
        # Nothing is read of more than six, or of two groups.
        ("0-6-6-0", count("3"), OPEN),
        ("0-4-4-0", count("4"), OPEN),
        ("2-8-8-2", count("4"), OPEN),
        ("4-14-4", count("6"), OPEN),
        # Its carrying axles are not counted.
        ("0-6-0", count("3"), FOR),
        ("2-8-0", UNCLEAR, OPEN),
        ("4-6-2", UNCLEAR, OPEN),
        ("2-8-0", None, OPEN),
        ("2-8-0?", count("3"), OPEN),
    ],
)
def test_verdicts(text: str, axles: Cue | None, expected: Verdict) -> None:
    assert judged(text, axles).verdict is expected


@pytest.mark.parametrize("sure", [0.5, 0.9, 0.94, 0.96, 0.99])
def test_wheels_are_weighed_as_a_tenders_axles_are(sure: float) -> None:
    for said, seen in (("4-6-2", "3"), ("4-6-2", "2"), ("2-8-0", "3")):
        wheels = judged(said, count(seen, sure))
        tender = replace(count(seen, sure), name="tender_axles")
        claims = find_claims(Listing("1", f"{wheels.claim.value}-axle tender"), lexicon_of(GUIDE))
        (other,) = judge(
            claims, date_item([photo_of(engine())], GUIDE, eye({"engine": (tender,)})), GUIDE
        )
        assert (wheels.verdict, wheels.ratio) == (other.verdict, pytest.approx(other.ratio))


def test_what_is_said() -> None:
    assert judged("2–8–0", count("3")).text == (
        "driving axles: the photos show 3; the listing says 2–8–0 (4 driving axles)"
    )
    assert judged("2-2-2", count("3")).text.endswith("the listing says 2-2-2 (1 driving axle)")
    assert judged("4-6-2", count("3")).text.startswith("3 driving axles: the photos agree (")
    assert "does not say" in judged("2-8-0?", count("3")).text
    assert judged("2-8-8-2", count("4")).text == (
        "no photo is read for the 8 driving axles of 2-8-8-2; "
        "the guide's engine has 3 driving axles"
    )


def test_an_arrangement_that_the_guide_lacks_is_said_to_be_none_of_it() -> None:
    """As a year that no variation has: that alone is no contradiction, with or without photos."""
    note = "the guide's engine has 3 driving axles"
    for axles in (None, UNCLEAR, count("4", 0.8), count("4")):
        assert judged("2-8-0", axles).text.endswith(f"; {note}")
        assert note not in judged("4-6-2", axles).text
    # A guide whose wheels tell nothing has nothing to hold against it.
    plain_guide = replace(GUIDE, wheels="many")
    assert "guide" not in judged("2-8-0", count("4"), guide=plain_guide).text
    assert judged("2-8-0", count("3"), guide=plain_guide).verdict is AGAINST


def test_without_photos_or_with_photos_of_two_engines_it_is_left_open() -> None:
    assert judged("2-8-0").verdict is OPEN
    item = judged("2-8-0", count("3"), one_engine=False)
    assert (item.verdict, "two engines" in item.text) == (OPEN, True)
    assert judged("2-8-0", count("3", 0.96), count("4", 0.96)).verdict is OPEN
    assert judged("2-8-0", None, count("3")).photo == 1


def test_the_command_tells_it(telltale, tmp_path) -> None:
    write_photos(tmp_path, ["six.jpg", "dim.jpg"])
    rows = [
        {"id": "wrong", "title": "Express, 2-8-0", "photos": "six.jpg"},
        {"id": "open", "title": "Express, 4-6-2", "photos": "dim.jpg"},
    ]
    shop = write_table(tmp_path / "shop.csv", rows)
    seen = eye({"six": (*W["W6"], count("3")), "dim": HIDDEN})
    code, out, _ = telltale("listings", shop, "--jobs", 1, eye=seen)
    assert code == 0
    told = " ".join(out.split())
    assert "the photos show 3; the listing says 2-8-0 (4 driving axles)" in told
    assert '"4-6-2": 3 driving axles: no photo shows it well enough' in told
