"""Mended: what an answer says of a reading, and what is made of what a person says."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import pytest
from PIL import Image

from answers import FakeEye, answer, photo_of
from guides import cue, small_guide, variation
from shapes import encoded, engine
from vision.estimate import estimate, saw
from vision.guide import load_guide
from vision.page.shown import shown
from vision.photo import photo_from_bytes
from vision.pipeline import date_item
from vision.records import Answer, Box, Cue, EvidenceError, State
from vision.report import answer_html, answer_json, terminal_text
from vision.report.overlay import mark_photo, overlay_words
from vision.report.rows import cue_rows
from vision.report.steps import fits_words

GUIDE = load_guide()


def answer_of(cues: list[Cue]) -> Answer:
    return replace(answer(), cues=tuple(cues), estimate=estimate(GUIDE, cues))


# --- a colour that lies between two ------------------------------------------------


def stripe(**shares: float) -> Cue:
    return replace(cue("edge_stripe", 0.996), values=MappingProxyType(shares))


@pytest.mark.parametrize(
    ("shares", "fits"),
    [
        # Cream in violet light: white for two thirds, which is no colour of this guide.
        ({"white": 0.65, "cream": 0.29, "blue": 0.04, "purple": 0.02}, "W3, W4, W5"),
        ({"white": 0.44, "cream": 0.55, "green": 0.01}, "W3, W4, W5"),
        ({"orange": 0.6, "red": 0.38, "cream": 0.02}, "W6"),
        ({"green": 0.97, "blue": 0.03}, None),
        ({"red": 0.84, "orange": 0.16}, "W6"),
        ({}, "W3, W4, W5, W6"),
    ],
)
def test_a_stripe_fits_no_variation_only_where_its_colour_is_surely_read(
    shares: dict[str, float], fits: str | None
) -> None:
    """A stripe that made W3 25 times likelier than W1 was said to fit no variation."""
    told = answer_of([stripe(**shares)])
    (step,) = answer_json(told)["estimate"]["steps"]
    assert told.estimate is not None
    words = fits_words(told.estimate.steps[0])
    if fits is None:
        assert step["text"].endswith("as no variation was made")
        assert words.startswith("fits no variation")
    else:
        assert f"as {fits}, not" in step["text"]
        assert words.startswith(f"fits {fits}:")
        assert f"fits {fits}:" in terminal_text(told)


@pytest.mark.parametrize(
    ("said", "fits"), [("another colour", None), ("present", "W3, W4, W5, W6")]
)
def test_a_colour_that_a_person_tells_still_counts_as_told(said: str, fits: str | None) -> None:
    found = estimate(GUIDE, [saw(GUIDE, f"edge_stripe={said}")])
    end = f"as {fits}, not W1, W2" if fits else "as no variation was made"
    assert found.steps[0].text.endswith(end)


# --- words for what is not there ---------------------------------------------------


@pytest.mark.parametrize("word", ["absent", "Present", "none", "missing"])
def test_the_word_for_a_state_is_no_cab_number(word: str) -> None:
    """ "ABSENT" was a number that no variation has, and the engine of no year any more."""
    with pytest.raises(EvidenceError, match="the number that it shows, or unseen"):
        saw(GUIDE, f"cab_number={word}")
    assert saw(GUIDE, "cab_number=A10").value == "A10"
    first = replace(GUIDE.variations[0], numbers=(word.upper(),))
    guide = replace(GUIDE, variations=(first, *GUIDE.variations[1:]))
    assert saw(guide, f"cab_number={word}").value == word.upper()


@pytest.mark.parametrize(
    ("colour", "meant"),
    [("green", "another colour"), ("bleu", "another colour"), ("creme", "cream")],
)
def test_a_colour_of_no_stripe_of_the_guide_is_another_colour(colour: str, meant: str) -> None:
    """For green it asked whether "present" was meant."""
    with pytest.raises(EvidenceError, match=f'did you mean "{meant}"\\?$'):
        saw(GUIDE, f"edge_stripe={colour}")


def test_where_the_guide_states_no_colour_a_stripe_of_any_is_present() -> None:
    with pytest.raises(EvidenceError, match='did you mean "present"'):
        saw(small_guide([variation("A", (1931,))]), "edge_stripe=green")


# --- a photo that tells nothing ----------------------------------------------------


def test_a_photo_without_an_engine_among_others_is_told_of() -> None:
    """It was passed over in silence, as if it had borne out what the others show."""
    eye = FakeEye({"wagon": None})
    photos = [photo_of(engine(), name) for name in ("engine.png", "wagon.png")]
    both = date_item(photos, GUIDE, eye)
    said = "No engine was found in photo 2, so it counts for nothing:"
    assert said in " ".join(terminal_text(both).split())
    assert said in answer_html(both)
    assert any(note.startswith(said) for note in shown(both, GUIDE)["notes"])
    for others in (photos[:1], photos[1:]):
        # Alone, its headline says so.
        assert "No engine was found in" not in terminal_text(date_item(others, GUIDE, eye))


def test_a_file_of_several_pages_is_not_called_animated() -> None:
    pages = [Image.new("RGB", (48, 40), colour) for colour in ("red", "blue")]
    data = encoded(pages[0], "TIFF", save_all=True, append_images=pages[1:])
    assert photo_from_bytes(data, "p.tif").notes == (
        "several pictures; only the first picture was read",
    )


# --- a tender that is not there ---------------------------------------------------


def test_one_reason_that_hides_the_whole_tender_is_told_once() -> None:
    """Each of its parts had a line of its own that said so."""
    names = ("tender_coupled", "tender_axles", "tender_lamps", "tender_lettering")
    gone = [Cue(name, State.UNSEEN, because="no tender is in the picture") for name in names]
    number = Cue("cab_number", State.UNSEEN, because="out of the picture")
    told = replace(answer(), cues=(cue("switch_lever", 0.97), *gone, number))
    reason = "no tender is in the picture"
    together = f"{reason} (coupled, axles, lamps, lettering)"
    text = terminal_text(told)
    assert "  ? tender        not visible\n      " + together in text
    assert "tender lamps" not in text
    assert text.count(reason) == 1 == answer_html(told).count(reason)
    assert together in answer_html(told)
    assert [c["name"] for c in answer_json(told)["cues"]] == [c.name for c in told.cues]
    assert [c["because"] for c in answer_json(told)["cues"][1:5]] == [reason] * 4


def test_only_what_one_reason_hides_shares_a_line() -> None:
    axles = Cue("tender_axles", State.UNSEEN, because="its wheels cannot be counted")
    lamps = Cue("tender_lamps", State.UNSEEN, because="its rear is turned away")
    lettering = Cue("tender_lettering", State.UNSEEN, because="its rear is turned away")
    unclear = replace(lettering, in_sight=True)

    def rows(*cues: Cue) -> list[str]:
        return [cue.name for cue, _ in cue_rows(replace(answer(), cues=cues))]

    assert rows(axles, lamps) == ["tender_axles", "tender_lamps"]
    assert rows(axles, lamps, lettering) == ["tender_axles", "tender"]
    assert rows(lamps, unclear) == ["tender_lamps", "tender_lettering"]
    assert rows(lamps, replace(lettering, state=State.PRESENT)) == [lamps.name, lettering.name]
    assert rows(lamps, replace(lettering, because="")) == [lamps.name, lettering.name]
    # Other parts are told one by one.
    hidden = [Cue(name, State.UNSEEN, because="hidden") for name in ("switch_lever", "edge_stripe")]
    assert rows(*hidden) == ["switch_lever", "edge_stripe"]


ENGINE_SHOWN = [cue("switch_lever", 0.97), Cue("cab_number", State.UNSEEN, because="worn away")]


def drawn(*cues: Cue) -> tuple[list[str], str]:
    """What stands under the drawn picture, and what is drawn on it, in words."""
    told = answer_of([*ENGINE_SHOWN, *cues])
    (photo,) = told.photos
    under = mark_photo(photo, told, 0)[1]
    return [line for line in under if "cab number" not in line], overlay_words(photo, told, 0)


def tender_cues(where: Box | None = None) -> list[Cue]:
    reasons = {
        "tender_axles": "its wheels cannot be counted",
        "tender_lamps": "its rear is turned away",
        "tender_lettering": "its side is too small for letters",
    }
    return [Cue(name, State.UNSEEN, because=why, where=where) for name, why in reasons.items()]


def test_the_drawn_picture_says_once_that_no_tender_is_in_it() -> None:
    """Of each of its parts it said that it is not visible."""
    names = ("tender_coupled", "tender_axles", "tender_lamps", "tender_lettering")
    gone = [Cue(name, State.UNSEEN, because="no tender is in the picture") for name in names]
    under, on_it = drawn(*gone)
    assert under == ["tender: not visible"]
    assert "tender axles" not in on_it


def test_a_tender_of_which_nothing_is_visible_has_one_label_whatever_the_reasons() -> None:
    under, on_it = drawn(*tender_cues(Box(210.0, 80.0, 290.0, 144.0)))
    assert under == []
    assert on_it.count("not visible") == 1 == on_it.count("tender: not visible")


def test_what_is_visible_of_a_tender_has_a_label_of_its_own() -> None:
    box = Box(210.0, 80.0, 290.0, 144.0)
    axles, lamps, lettering = tender_cues(box)
    seen = replace(axles, state=State.PRESENT, value="4", confidence=0.99)
    on_it = drawn(seen, lamps, lettering)[1]
    assert on_it.endswith("tender axles: 4 (99 %); tender lamps, lettering: not visible")
    # One part alone is named as it always was; one in sight may lean to something.
    on_it = drawn(seen, lamps, replace(lettering, in_sight=True))[1]
    assert on_it.endswith("tender lamps: not visible; tender lettering: unclear")
    # Beside what a person says of the tender, what the photo does not show is named.
    under, _ = drawn(*tender_cues(), saw(GUIDE, "tender_axles=4"))
    assert under[0] == "tender axles, lamps, lettering: not visible" and len(under) == 2
