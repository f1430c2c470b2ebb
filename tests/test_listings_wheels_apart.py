"""Wheel arrangements with blanks round their dashes, with the engine hung on, or after a gauge."""

from __future__ import annotations

from dataclasses import replace

import pytest

from test_listings_wheels import GUIDE, UIC, driven, wheels
from vision.listings.claims import find_claims
from vision.listings.parts import lexicon_of
from vision.listings.plain import plain, vocabulary
from vision.listings.values import Listing

# Hyphen, en dash, hyphen that breaks no line, minus; with blanks, and one that breaks none.
DASHES = (" - ", " – ", " \u2011 ", " \u2212 ", "\u00a0-\u00a0")


@pytest.mark.parametrize("whyte", [whyte for whyte in UIC if whyte.count("-") == 2])
@pytest.mark.parametrize("dash", DASHES)
def test_blanks_may_stand_round_the_dashes(whyte: str, dash: str) -> None:
    words = whyte.replace("-", dash)
    for text in (f"Fine {words} express", words, f"Express - {words} - rare", f"one ({words})."):
        (claim,) = wheels(text)
        assert (claim.value, claim.text) == (driven(UIC[whyte]), words)
    assert wheels(f"not a {words}") == wheels(f"unlike the {words}") == []
    assert wheels(f"{words}, and with it a 0-10-0") == []
    assert [claim.value for claim in wheels(words, whyte)] == [driven(UIC[whyte])]


@pytest.mark.parametrize("noun", ["locomotive", "Loco", "engine", "Lok", "Schlepptenderlok"])
def test_an_engine_may_hang_on_the_arrangement(noun: str) -> None:
    for whyte in ("4-6-2", "0-6-2T", "4–6–2", "4 - 6 - 2"):
        (claim,) = wheels(f"Fine {whyte}-{noun}, 1934")
        assert (claim.value, claim.text) == ("3", whyte)


@pytest.mark.parametrize(
    "text",
    [
        # Parts' numbers.
        "4-6-2-B",
        "4-6-2-mm",
        "4-6-2-red",
        "4-6-2-local",
        "item no. 4 - 6 - 2",
        "4 - 6 - 2B",
        "4 - 6 - 2/1",
        "4 - 6 - 2 - 1",
        # Days.
        "2 - 6 - 2024",
        "2024 - 6 - 2",
        "02 - 06 - 2024",
        "4 - 6 - 24",
        "24 - 6 - 2",
        "dated 4 - 6 - 2",
        # Telephone numbers.
        "tel: 020 4 - 6 - 2",
        "0044 20 4 - 6 - 2",
        "020 - 4 - 6 - 2",
        "4 - 6 - 2 - 0400",
        "4 - 6 - 2 0400",
        # Ranges and sizes.
        "4 - 6 - 2 cm",
        "4 - 6 - 8",
        "2 - 4 - 6",
        "0 - 2 - 4 wheels",
        "6 - 4 - 2",
        "4 - 6",
        "4 - 6 wheels",
        # Four figures, of which the first may be a gauge.
        "Spur 0 - 4 - 6 - 2",
        # Prices.
        "£4 - 6 - 2",
        "£ 4 - 6 - 2",
        "price 4 - 6 - 2",
        "4 - 6 - 2 EUR",
        "4 - 6 - 2.50",
        # None at all.
        "4 - 5 - 2",
        "4 - 0 - 2",
        "4 -6- 2",
    ],
)
def test_what_is_no_arrangement(text: str) -> None:
    assert wheels(text) == []
    assert wheels("", f"An engine. {text}") == []


@pytest.mark.parametrize("text", ["loco 4 - 6 - 2", "cab number 4 - 6 - 2", "loco no 4 - 6 - 2"])
def test_their_figures_are_no_cab_numbers(text: str) -> None:
    first, *others = GUIDE.variations
    guide = replace(GUIDE, variations=(replace(first, numbers=("4", "6")), *others))

    def numbers(title: str) -> set[str]:
        found = find_claims(Listing("1", title), lexicon_of(guide))
        return {claim.value for claim in found if claim.about == "cab_number"}

    assert numbers(text) == set()
    assert numbers("loco 4 - cab number 6 - rare") == {"4", "6"}


def test_the_last_figure_counts_no_wheels_of_a_tender() -> None:
    found = find_claims(Listing("1", "4 - 6 - 2 wheel and tender"), lexicon_of(GUIDE))
    assert {(c.about, c.value) for c in found} == {("driving_axles", "3"), ("tender", "present")}


# --- a gauge before them ------------------------------------------------------------------

# How sellers announce a gauge, by language. Common practice, no source.
ANNOUNCED = {
    "en": ("gauge", "Gauge:", "gage", "scale"),
    "de": ("Spur", "Spur:", "Spurweite", "Nenngröße", "Baugröße", "Maßstab"),
    "nl": ("spoor", "spoorwijdte", "schaal"),
    "fr": ("échelle", "Échelle :", "écartement", "voie"),
    "it": ("scala", "scartamento"),
    "es": ("escala", "ancho", "ancho de vía", "vía", "trocha"),
}
WORDS = [word for words in ANNOUNCED.values() for word in words]


@pytest.mark.parametrize("word", WORDS)
def test_a_gauge_is_no_part_of_an_arrangement(word: str) -> None:
    """ "Spur 0 - 4 - 6", a gauge and two counts, was read as 0-4-6."""
    for figures in ("0 - 4 - 6", "0-4-6", "0 – 6 – 4", "2 - 4 - 2", "0-6-0"):
        assert wheels(f"{word} {figures}") == []
        assert wheels("", f"An engine. {word} {figures}, 20 volt") == []


@pytest.mark.parametrize("word", WORDS)
@pytest.mark.parametrize("gauge", ["0", "0,", "0 -", "O", "I", "1", "H0"])
def test_an_arrangement_after_a_gauge_is_read(word: str, gauge: str) -> None:
    for whyte in ("4-6-2", "0-6-2T"):
        assert [claim.text for claim in wheels(f"{word} {gauge} {whyte}")] == [whyte]
    if not gauge.endswith("-"):
        (claim,) = wheels(f"{word} {gauge.rstrip(',')}, 4 - 6 - 2")
        assert (claim.value, claim.text) == ("3", "4 - 6 - 2")


@pytest.mark.parametrize(
    "text",
    [
        # The gauge stands before its word.
        "0 gauge 0-6-0",
        "0-gauge 0-6-0",
        "O gauge 0 - 6 - 0",
        "0 gauge: 0-6-0",
        "1 gauge 2-6-0",
        "OO gauge 0-6-0",
        "H0 scale 0-6-0",
        "0-Spur 0-6-0",
        "Null-Spur 0-6-0",
        "1:45 scale 0-6-0",
        "1/32 scale 2-6-0",
        "45 mm gauge 0-6-0",
        '3.5" gauge 2-6-2',
        "7.25 gauge 0-6-0",
        "narrow gauge 0-6-0T",
        "Standard Gauge 0-6-0",
        "Schmalspur 0-6-0",
        "voie étroite 0-6-0",
        # No gauge is called so.
        "gauge 4-6-2",
        "scale 4 - 6 - 2",
        # Other words between, and a word that only ends like one.
        "scale model 0-6-0",
        "rouage 0-6-0",
    ],
)
def test_figures_that_are_no_gauge_stay_those_of_the_arrangement(text: str) -> None:
    assert [claim.value for claim in wheels(text)] == ["3"]


@pytest.mark.parametrize("word", ["gauge", "Spur", "scala", "échelle", "schaal", "escala"])
def test_no_cab_number_follows_a_word_for_a_gauge(word: str) -> None:
    """A scale of 1:160 is written so, too."""
    first, *others = GUIDE.variations
    guide = replace(GUIDE, variations=(replace(first, numbers=("160",)), *others))

    def numbers(title: str) -> list[str]:
        found = find_claims(Listing("1", title), lexicon_of(guide))
        return [claim.value for claim in found if claim.about == "cab_number"]

    assert numbers(f"Engine, {word} 160") == []
    assert numbers(f"Engine 160, {word} 0") == ["160"]


def test_words_for_a_gauge_are_plain() -> None:
    assert all(w == plain(w) for words in vocabulary()["gauge"].values() for w in words)
