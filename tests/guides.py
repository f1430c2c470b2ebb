"""Small guides in memory, random guides and random evidence for the tests of estimate."""

import os
import tomllib
from types import MappingProxyType

from hypothesis import strategies as st

from vision.estimate import estimate, replay
from vision.guide import (
    Guide,
    HandsOnCheck,
    PartRates,
    Rates,
    Tender,
    Variation,
    build_guide,
    check_guide,
    years_of,
)
from vision.records import COUPLED, LETTERING, Cue, GuideError, State

# As many random examples as are quick; 1,000 where the environment asks for them.
EXAMPLES = int(os.environ.get("TELLTALE_EXAMPLES", "40"))
# The comparison with a library that knows the answer tries 1,000 unless told otherwise.
COMPARED = int(os.environ.get("TELLTALE_EXAMPLES", "1000"))

P, A = State.PRESENT, State.ABSENT


def cue(name, p, **more):
    """A photo's reading of a part: present with probability `p`."""
    state = P if p >= 0.5 else A
    return Cue(name, state, p_present=p, confidence=max(p, 1 - p), **more)


def value(name, text, confidence, **more):
    return Cue(name, P, value=text, confidence=confidence, **more)


def unseen(name):
    return Cue(name, State.UNSEEN, because="out of the picture")


def small_guide(variations, *, rates=None, tenders=(), checks=(), wheels="0-6-0"):
    return Guide(
        name="small",
        version="1",
        title="small",
        maker="",
        gauge="0",
        gauge_mm=32.0,
        scale=45.0,
        wheels=wheels,
        variations=tuple(variations),
        tenders=tuple(tenders),
        checks=tuple(HandsOnCheck(c, c, f"Look at {c}.") for c in checks),
        rates=rates or Rates(),
    )


def variation(id, years, expects=None, **more):
    edtf = str(years[0]) if len(years) == 1 else f"{years[0]}/{years[-1]}"
    return Variation(id, edtf, tuple(years), MappingProxyType(dict(expects or {})), **more)


def load_text(text):
    """The guide that a text is of; GuideError with the first error otherwise."""
    errors = [f for f in check_guide(text, "mine.toml") if f.severity == "error"]
    if errors:
        raise GuideError(str(errors[0]))
    return build_guide(tomllib.loads(text), "mine")


shares = st.floats(0.0, 0.4, allow_nan=False)
certainties = st.floats(0.0, 1.0, allow_nan=False)
# Driving axles by the letters of the UIC classification (leaflet 650, from memory): C, 2'C1',
# 1A1, B2', C, (1'D)D1', (1'E)E1'. The last is no arrangement.
DRIVEN = {
    "0-6-0": 3,
    "4-6-2": 3,
    "2-2-2": 1,
    "0-4-4T": 2,
    "0-6-0PT": 3,
    "2-8-8-2": 8,
    "2-10-10-2": 10,
    "many": None,
}
NUMBERS = ("310", "316", "322", "7", "18")


@st.composite
def guides(draw):
    """Guides of 1 to 5 variations, 0 to 3 tenders, 0 to 2 checks and any rates."""
    checks = ("magnets", "smoke")[: draw(st.integers(0, 2))]
    tenders = tuple(
        Tender(
            id,
            draw(st.integers(2, 7)),
            draw(st.integers(0, 5)),
            lettering=draw(st.sampled_from((None, True, False))),
        )
        for id in "KLM"[: draw(st.integers(0, 3))]
    )
    parts = ("switch_lever", "side_linkage", "edge_stripe", "tender_lamps", LETTERING, *checks)
    rates = Rates(
        other=draw(st.floats(0.001, 0.4)),
        reproduction=draw(shares) / 4,
        tender_swapped=draw(shares),
        number_changed=draw(shares),
        recoloured=draw(shares),
        parts={part: PartRates(draw(shares), draw(shares)) for part in parts},
    )
    variations = []
    for index in range(draw(st.integers(1, 5))):
        names = ("switch_lever", "side_linkage", "edge_stripe", *checks)
        states = {name: draw(st.sampled_from((P, A, None))) for name in names}
        expects = {name: state for name, state in states.items() if state is not None}
        first = draw(st.integers(1925, 1935))
        years = tuple(range(first, first + draw(st.integers(1, 3))))
        striped = expects.get("edge_stripe") is P
        variations.append(
            variation(
                f"V{index}",
                years,
                expects,
                stripe_colour=draw(st.sampled_from((None, "cream", "red"))) if striped else None,
                numbers=draw(st.sampled_from(((), *((n,) for n in NUMBERS), ("7", "18")))),
                tenders=tuple(t.id for t in tenders if draw(st.booleans())),
                output=draw(st.floats(0.2, 3.0)),
            )
        )
    wheels = draw(st.sampled_from(sorted(DRIVEN)))
    return small_guide(variations, rates=rates, tenders=tenders, checks=checks, wheels=wheels)


@st.composite
def evidence(draw, guide):
    """Up to one reading of every cue and check of a guide, in any order."""
    names = ("switch_lever", "side_linkage", *guide.check_names)
    cues = [cue(name, draw(certainties)) for name in names if draw(st.booleans())]
    if draw(st.booleans()):
        colours = draw(st.sampled_from(({}, {"red": 0.7, "cream": 0.2}, {"green": 1.0})))
        cues.append(cue("edge_stripe", draw(certainties), values=MappingProxyType(colours)))
    if draw(st.booleans()):
        read = draw(st.sampled_from(("310", "816", "3?2", "7", "l8", "555", "")))
        cues.append(value("cab_number", read.upper(), draw(certainties)))
    if draw(st.booleans()):
        cues.append(value("driving_axles", draw(st.sampled_from("1234567")), draw(certainties)))
    elif draw(st.booleans()):
        counts = {"2": draw(certainties) / 3, "3": draw(certainties) / 3, "9": 0.1}
        values = MappingProxyType(counts)
        cues.append(Cue("driving_axles", State.UNSEEN, values=values, in_sight=True))
    if draw(st.booleans()):
        cues.append(value("tender_axles", draw(st.sampled_from("234569")), draw(certainties)))
    if draw(st.booleans()):
        counts = {"0": draw(certainties) / 3, "1": draw(certainties) / 3, "2": 0.2}
        cues.append(Cue("tender_lamps", P, confidence=0.5, values=MappingProxyType(counts)))
    if draw(st.booleans()):
        cues.append(cue(LETTERING, draw(certainties)))
    if draw(st.booleans()):
        cues.append(cue(COUPLED, draw(certainties)))
    return draw(st.permutations(cues))


def posterior(guide, cues):
    """What the steps of an argument lead to when they are replayed."""
    return replay(guide, estimate(guide, cues).steps)


def members(text):
    """Every year that an answer's years, one span or a set of spans in brackets, hold."""
    if not text.startswith("["):
        return years_of(text)
    spans = [part.split("..") for part in text[1:-1].split(",")]
    return [y for span in spans for y in range(int(span[0]), int(span[-1]) + 1)]
