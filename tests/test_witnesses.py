"""Which photos repeat each other, and how little a second witness may add."""

from __future__ import annotations

import doctest
import io
import json
import math
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from types import MappingProxyType

import imagehash
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageEnhance, ImageOps

import vision.pipeline.pooling
from answers import FakeEye, photo_of, sighting
from guides import EXAMPLES
from shapes import engine
from vision.guide import load_guide
from vision.photo import open_photo
from vision.pipeline import date_item, fuse_views, witnesses
from vision.pipeline.pooling import LEAST_SHARE, SAME_SIDE_WEIGHT, WITNESS_WEIGHT, pool
from vision.pipeline.witnesses import NEAR_DUPLICATE_BITS, engine_hashes
from vision.records import Answer, Box, Cue, Heading, NotFound, Photo, Sighting, State
from vision.report import answer_html, answer_json, terminal_text

DEMO = Path(__file__).parent.parent / "demo_images"
GUIDE = load_guide("wayfarer")


def lever(p: float, because: str = "") -> Cue:
    state = State.PRESENT if p >= 0.5 else State.ABSENT
    return Cue("switch_lever", state, p_present=p, confidence=max(p, 1 - p), because=because)


def logit(p: float) -> float:
    return math.log(p / (1 - p))


# --- which photos are one witness --------------------------------------------------


def noise(seed: int) -> Photo:
    rng = np.random.default_rng(seed)
    coarse = Image.fromarray(rng.integers(0, 255, (9, 16, 3), np.uint8))
    return photo_of(np.asarray(coarse.resize((320, 180))), f"{seed}.png")


def facing(heading: Heading) -> Sighting:
    return replace(sighting(), faces=heading)


def test_the_same_side_is_one_witness_and_other_sides_are_others() -> None:
    photos = [noise(seed) for seed in range(5)]
    seen = [Heading.LEFT, Heading.RIGHT, Heading.LEFT, Heading.TOWARD, Heading.AWAY]
    sides, shots = witnesses(photos, [facing(h) for h in seen])
    assert sides == (0, 1, 0, 3, 4) and shots == (0, 1, 2, 3, 4)


def test_a_photo_without_an_engine_stands_alone_and_links_nothing() -> None:
    photos = [noise(0), noise(1), noise(1)]
    sightings = [facing(Heading.LEFT), NotFound("dark"), facing(Heading.RIGHT)]
    assert witnesses(photos, sightings) == ((0, 1, 2), (0, 1, 2))


def test_a_copy_is_no_second_witness_though_its_heading_was_read_otherwise() -> None:
    first = noise(0)
    small = np.asarray(Image.fromarray(first.pixels).resize((200, 112)))
    copy = replace(photo_of(small, "copy.png"), size=(320, 180))
    assert witnesses([first, copy], [facing(Heading.LEFT), facing(Heading.TOWARD)]) == (
        (0, 0),
        (0, 0),
    )


def test_a_mirrored_copy_is_no_second_side() -> None:
    first = noise(0)
    turned = photo_of(np.ascontiguousarray(first.pixels[:, ::-1]), "mirrored.png")
    box = sighting().locomotive
    there = replace(
        facing(Heading.RIGHT), locomotive=Box(320 - box.right, box.top, 320 - box.left, box.bottom)
    )
    assert witnesses([first, turned], [facing(Heading.LEFT), there]) == ((0, 0), (0, 0))


def test_links_reach_through_a_third_photo() -> None:
    photos = [noise(0), noise(1), noise(0)]
    seen = [facing(h) for h in (Heading.LEFT, Heading.RIGHT, Heading.RIGHT)]
    sides, shots = witnesses(photos, seen)
    assert len(set(sides)) == 1 and shots == (0, 1, 0)


def spoilt(crop: Image.Image, rng: np.random.Generator) -> Image.Image:
    """A copy as it comes back from a sales page: cut anew, small, lit, and squeezed."""
    w, h = crop.size
    cut = [rng.uniform(0, 0.03) * side for side in (w, h, w, h)]
    copy = crop.crop((int(cut[0]), int(cut[1]), int(w - cut[2]), int(h - cut[3])))
    copy = copy.resize((max(64, w // 3), max(32, h // 3)))
    copy = ImageEnhance.Brightness(copy).enhance(rng.uniform(0.6, 1.4))
    stream = io.BytesIO()
    copy.save(stream, "JPEG", quality=40)
    return Image.open(stream)


def test_hashes_of_box_and_mirror_image_are_imagehashs_own_but_for_two_bits() -> None:
    for entry in json.loads((DEMO / "manifest.json").read_text()):
        if entry["truth"].get("locomotive"):
            photo = open_photo(DEMO / entry["file"])
            box = Box(*(float(round(edge)) for edge in entry["truth"]["locomotive"]))
            box = box.clipped(*photo.size)
            crop = Image.fromarray(photo.pixels).crop(tuple(map(int, box.as_tuple())))
            expected = [imagehash.phash(crop), imagehash.phash(ImageOps.mirror(crop))]
            got = engine_hashes(photo, replace(sighting(), locomotive=box))
            assert got is not None
            # Shrunk roughly first, which moves a bit or two; copies differ by more.
            for ours, theirs in zip(got, expected, strict=True):
                assert (ours ^ int(str(theirs), 16)).bit_count() <= 2 < NEAR_DUPLICATE_BITS


def test_the_limit_lies_between_spoilt_copies_and_other_photos() -> None:
    """The measurement behind NEAR_DUPLICATE_BITS, on the demo photos' true boxes."""
    rng = np.random.default_rng(1)
    crops = []
    for entry in json.loads((DEMO / "manifest.json").read_text()):
        if entry["truth"].get("locomotive"):
            with Image.open(DEMO / entry["file"]) as image:
                crops.append(image.convert("RGB").crop(tuple(entry["truth"]["locomotive"])))
    hashes = [imagehash.phash(crop) for crop in crops]
    mirrored = [imagehash.phash(ImageOps.mirror(crop)) for crop in crops]
    copies = [
        imagehash.phash(spoilt(crop, rng)) - own
        for crop, own in zip(crops, hashes, strict=True)
        for _ in range(5)
    ]
    others = [
        min(hashes[i] - hashes[j], hashes[i] - mirrored[j])
        for i, j in combinations(range(len(crops)), 2)
    ]
    assert len(crops) >= 4
    assert np.mean(np.array(copies) <= NEAR_DUPLICATE_BITS) >= 0.95
    assert np.mean(np.array(others) > NEAR_DUPLICATE_BITS) >= 0.95


# --- how witnesses are joined ------------------------------------------------------

probabilities = st.floats(0.001, 0.999)


def pooled(*ps: float) -> float:
    return pool([{"present": p, "absent": 1 - p} for p in ps])["present"]


def test_two_witnesses_add_log_odds_by_the_stated_weight() -> None:
    assert logit(pooled(0.9, 0.8)) == pytest.approx(logit(0.9) + WITNESS_WEIGHT * logit(0.8))
    against = logit(0.95) + WITNESS_WEIGHT * logit(0.7) + logit(0.2)
    assert logit(pooled(0.7, 0.2, 0.95)) == pytest.approx(against)


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.lists(probabilities, min_size=1, max_size=4), st.randoms())
def test_pooling_is_between_one_witness_and_independent_ones(ps: list[float], random) -> None:
    """For witnesses that agree; the product is Bayes' rule for independent ones."""
    agreeing = [max(p, 1 - p) for p in ps]
    product = 1 / (1 + math.exp(-sum(map(logit, agreeing))))
    assert max(agreeing) - 1e-9 <= pooled(*agreeing) <= product + 1e-9
    shuffled = list(ps)
    random.shuffle(shuffled)
    assert pooled(*shuffled) == pytest.approx(pooled(*ps))
    assert pooled(*(1 - p for p in ps)) == pytest.approx(1 - pooled(*ps))
    assert 0.0 < pooled(*ps) < 1.0
    assert pooled(ps[0]) == pytest.approx(ps[0])


@given(probabilities)
def test_equal_contradiction_leaves_the_matter_open(p: float) -> None:
    assert pooled(p, 1 - p) == pytest.approx(0.5)


def test_a_witness_who_is_certain_leaves_room() -> None:
    assert pooled(1.0, 0.0) == pytest.approx(0.5)
    assert pooled(1.0, 1.0) < 1.0
    assert pooled(1.0) == pytest.approx(1 - LEAST_SHARE, abs=1e-6)


def test_two_sides_count_more_than_one_and_less_than_twice() -> None:
    ((one,), _) = fuse_views([[lever(0.9)], [lever(0.8)]], (0, 0))
    ((two,), _) = fuse_views([[lever(0.9, "thin")], [lever(0.8)]], (0, 1))
    assert one.p_present == 0.9
    assert two.p_present is not None
    assert 0.9 < two.p_present < 1 / (1 + math.exp(-logit(0.9) - logit(0.8)))
    assert two.photo == 0
    assert two.because == "thin; photo 2 agrees, from another side, and counts in part"
    assert one.because == "photo 2 agrees, but shows nothing new and counts no more"


def test_a_stripe_of_another_colour_is_told_and_not_said_to_agree() -> None:
    def stripe(**colours: float) -> Cue:
        cue = Cue("edge_stripe", State.PRESENT, p_present=0.95, confidence=0.95, because="a line")
        return replace(cue, values=MappingProxyType(colours))

    cream, red = stripe(cream=0.6, white=0.4), stripe(red=0.9, orange=0.1)
    ((joint,), _) = fuse_views([[cream], [red]], (0, 1))
    assert "photo 2 has it too, but red" in joint.because
    ((joint,), _) = fuse_views([[cream], [stripe(white=0.6, cream=0.4)]], (0, 1))
    assert "photo 2 agrees" in joint.because


def test_another_shot_of_one_side_counts_little_and_its_dissent_in_full() -> None:
    """The weight is the stated one; what differs in one of several shots is chance."""
    ((joint,), _) = fuse_views([[lever(0.9, "thin")], [lever(0.8)]], (0, 0), (0, 1))
    assert joint.p_present is not None
    assert logit(joint.p_present) == pytest.approx(logit(0.9) + SAME_SIDE_WEIGHT * logit(0.8))
    assert joint.because == "thin; photo 2 agrees, but shows no new side and counts little"
    ((open_,), conflicts) = fuse_views([[lever(0.8)], [lever(0.2)]], (0, 0), (0, 1))
    assert open_.p_present == pytest.approx(0.5) and conflicts
    views = [[lever(0.9)], [lever(0.8)], [lever(0.7)], [lever(0.6)]]
    ((all_,), _) = fuse_views(views, (0, 1, 0, 1), (0, 1, 2, 3))
    parts = logit(0.9) + WITNESS_WEIGHT * logit(0.8)
    parts += SAME_SIDE_WEIGHT * (logit(0.7) + logit(0.6))
    assert all_.p_present is not None and logit(all_.p_present) == pytest.approx(parts)


def test_more_copies_of_one_side_change_nothing() -> None:
    once, _ = fuse_views([[lever(0.9)], [lever(0.8)]], (0, 1))
    often, _ = fuse_views([[lever(0.9)], *([lever(0.8)] for _ in range(6))], (0, *[1] * 6))
    assert often[0].p_present == once[0].p_present
    assert often[0].confidence == once[0].confidence


def test_the_view_shown_says_what_is_concluded() -> None:
    """Three witnesses: the surest one is outvoted, so another is shown."""
    views = [[lever(0.96, "a lever")], [lever(0.07, "none")], [lever(0.06, "bare")]]
    fused, conflicts = fuse_views(views, (0, 1, 2))
    assert fused[0].state is State.ABSENT
    assert fused[0].photo == 2
    assert fused[0].because.startswith("bare; ")
    assert "photo 1 reads present" in fused[0].because
    assert conflicts[0].kind == "views"


def unclear(p: float) -> Cue:
    return replace(lever(p), state=State.UNSEEN, confidence=0.0, in_sight=True, clear=1.0)


def test_several_unclear_photos_that_lean_one_way_are_called_together() -> None:
    ((alone,), _) = fuse_views([[unclear(0.76)]])
    assert alone == unclear(0.76)
    ((same_side,), _) = fuse_views([[unclear(0.76)], [unclear(0.7)]], (0, 0))
    assert same_side.state is State.UNSEEN and same_side.p_present == 0.76
    ((both,), conflicts) = fuse_views([[unclear(0.7)], [unclear(0.76)]], (0, 1))
    assert both.state is State.PRESENT and not both.in_sight and not conflicts
    assert both.p_present == pytest.approx(pooled(0.7, 0.76)) == both.confidence
    assert 0.8 < both.confidence < 1 / (1 + math.exp(-logit(0.7) - logit(0.76)))
    assert both.photo == 1
    assert both.because == "2 photos lean to present, each too unclear to call alone"
    ((open_,), _) = fuse_views([[unclear(0.7)], [unclear(0.3)]], (0, 1))
    assert open_.state is State.UNSEEN and open_.p_present == pytest.approx(0.5)


def test_an_unclear_photo_makes_a_clear_one_less_sure_but_a_hidden_one_does_not() -> None:
    ((joint,), conflicts) = fuse_views([[lever(0.9)], [unclear(0.4)]], (0, 1))
    assert joint.state is State.PRESENT and joint.photo == 0 and not conflicts
    assert joint.p_present == pytest.approx(pooled(0.9, 0.4))
    hidden = replace(unclear(0.4), in_sight=False)
    ((still,), _) = fuse_views([[lever(0.9)], [hidden]], (0, 1))
    assert still.p_present == 0.9


def glimpsed(**values: float) -> Cue:
    """An unclear cab number; the names of the values begin with "n"."""
    shares = MappingProxyType({name[1:]: p for name, p in values.items()})
    return Cue("cab_number", State.UNSEEN, values=shares, in_sight=True)


def test_a_number_too_unclear_in_each_photo_may_be_read_from_two_sides() -> None:
    one, other = glimpsed(n316=0.6, n376=0.2), glimpsed(n316=0.7, n310=0.1)
    ((alone,), _) = fuse_views([[one]])
    assert alone == one and alone.may_be == {"316": 0.6, "376": 0.2}
    ((same_side,), _) = fuse_views([[one], [other]], (0, 0))
    assert same_side == replace(other, photo=1)
    ((both,), conflicts) = fuse_views([[one], [other]], (0, 1))
    assert (both.state, both.value, both.in_sight) == (State.PRESENT, "316", False)
    assert 0.8 <= both.confidence == both.values["316"] < 0.95 and not conflicts
    assert both.because == "2 photos read 316, each too unclear alone"
    ((open_,), _) = fuse_views([[one], [glimpsed(n310=0.6)]], (0, 1))
    assert open_.state is State.UNSEEN and open_.may_be["316"] < 0.6


def test_unclear_numbers_that_agree_never_take_anything_away() -> None:
    ((joint,), _) = fuse_views([[glimpsed(n316=0.35)], [glimpsed(n316=0.3)]], (0, 1))
    assert joint.state is State.UNSEEN and 0.35 < joint.may_be["316"] < 0.8


def test_an_unclear_number_leaves_a_clear_one_alone() -> None:
    values = MappingProxyType({"316": 0.55, "310": 0.35})
    clear = Cue("cab_number", State.PRESENT, value="316", confidence=0.55, values=values)
    for shares in ({"n310": 0.49, "n316": 0.2}, {"n316": 0.5}, {"n3?6": 0.7}):
        ((joint,), conflicts) = fuse_views([[clear], [glimpsed(**shares)]], (0, 1))
        assert (joint.value, joint.confidence, joint.photo) == ("316", 0.55, 0) and not conflicts


def test_words_say_what_counted_in_part_and_what_little() -> None:
    """The louder of two shots of another side counts in part, whichever photo comes first."""
    views = [[lever(0.95, "thin")], [lever(0.8)], [lever(0.9)]]
    ((joint,), _) = fuse_views(views, (0, 1, 1), (0, 1, 2))
    assert joint.because == (
        "thin; photo 2 agrees, but shows no new side and counts little; "
        "photo 3 agrees, from another side, and counts in part"
    )
    ((copied,), _) = fuse_views(views, (0, 1, 1), (0, 1, 1))
    assert copied.because == (
        "thin; photo 2 agrees, but shows nothing new and counts no more; "
        "photo 3 agrees, from another side, and counts in part"
    )


def test_counts_of_two_sides_are_pooled_value_by_value() -> None:
    four = Cue("tender_axles", State.PRESENT, value="4", confidence=0.6)
    four = replace(four, values=MappingProxyType({"4": 0.6, "6": 0.4}))
    six = replace(four, value="6", confidence=0.7, values=MappingProxyType({"6": 0.7, "8": 0.3}))
    fused, _ = fuse_views([[four], [six]], (0, 1))
    # 6 is the one count that both leave likely.
    assert fused[0].value == "6"
    assert fused[0].photo == 1
    assert fused[0].confidence == fused[0].values["6"]
    assert sum(fused[0].values.values()) <= 1.0
    assert fused[0].values["6"] > max(fused[0].values["4"], fused[0].values["8"])


def test_a_number_that_both_sides_carry_is_surer() -> None:
    number = Cue("cab_number", State.PRESENT, value="316", confidence=0.8)
    fused, conflicts = fuse_views([[number], [replace(number, confidence=0.7)]], (0, 1))
    assert fused[0].value == "316"
    assert 0.8 < fused[0].confidence < 1.0
    assert conflicts == ()


def test_a_stripes_colour_is_pooled_with_its_presence() -> None:
    # As the eye tells it: the shares are of the colours that it has if it is there.
    red = Cue("edge_stripe", State.PRESENT, p_present=0.9, confidence=0.9, values={"red": 0.8})
    cream = replace(red, values={"cream": 0.6})
    fused, _ = fuse_views([[red], [cream]], (0, 1))
    assert fused[0].p_present is not None
    assert fused[0].p_present > 0.9
    assert fused[0].values["red"] > fused[0].values["cream"]
    assert fused[0].confidence == fused[0].p_present


# --- the whole item ----------------------------------------------------------------


def two_sides(second: Heading, *, copy: bool = False) -> Answer:
    class Eye(FakeEye):
        def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
            first = photo.name == "a.png"
            return facing(Heading.LEFT if first else second), (lever(0.9 if first else 0.8),)

    photos = [replace(noise(0), name="a.png"), replace(noise(0 if copy else 1), name="b.png")]
    return date_item(photos, GUIDE, Eye())


def test_an_item_counts_another_side_in_part_the_same_side_little_and_a_copy_not() -> None:
    alone = date_item([photo_of(engine())], GUIDE, FakeEye({"engine": (lever(0.9),)}))
    answers = [
        alone,
        two_sides(Heading.LEFT, copy=True),
        two_sides(Heading.LEFT),
        two_sides(Heading.RIGHT),
    ]
    first, copied, same, other = (
        next(c.p for c in a.estimate.variations if c.id == "W1") for a in answers if a.estimate
    )
    assert first == copied < same < other


def test_every_surface_says_which_photo_shows_a_cue_best() -> None:
    answer = two_sides(Heading.RIGHT)
    assert "best in photo 1" in terminal_text(answer)
    assert "best in photo 1" in answer_html(answer)
    assert answer_json(answer)["cues"][0]["photo"] == 0
    one = replace(answer, photos=answer.photos[:1], sightings=answer.sightings[:1])
    assert "best in photo" not in terminal_text(one)


def test_examples_in_docstrings() -> None:
    result = doctest.testmod(vision.pipeline.pooling)
    assert result.attempted > 0
    assert result.failed == 0
