"""What may not be meant in a guide that can be used."""

from __future__ import annotations

from collections.abc import Iterator

from vision.guide.apart import confusable
from vision.guide.lines import Path
from vision.guide.trade import gauge_objections, suffix_objections
from vision.guide.values import Guide, Variation
from vision.guide.whyte import names_tank_engine
from vision.records import BINARY_CUES, COUPLED, DRIVING, State, can_be_read

LEVER = "switch_lever"
# Share of engines outside a guide from which no year is named of a photo that tells nothing:
# what `vision.estimate.outcome` calls year unknown.
OUTSIDE_FROM = 0.5


def doubts(guide: Guide) -> Iterator[tuple[Path, str]]:
    """Everything doubtful in a guide.

    Parameters
    ----------
    guide : Guide

    Yields
    ------
    Path
        Of the key or table in the TOML file that the doubt is about.
    str
        What is doubtful, in one line.
    """
    yield from _of_the_gauge(guide)
    yield from _of_the_lever(guide)
    yield from _of_rates(guide)
    yield from _of_variations(guide)
    yield from _of_tenders(guide)
    yield from _of_checks(guide)


def _of_the_gauge(guide: Guide) -> Iterator[tuple[Path, str]]:
    for objection in gauge_objections(guide.gauge, guide.gauge_mm, guide.scale):
        yield ("scale" if "built to" in objection else "gauge_mm",), objection


def _of_the_lever(guide: Guide) -> Iterator[tuple[Path, str]]:
    if guide.lever_at is not None:
        return
    for index, variation in enumerate(guide.variations):
        if variation.expects.get(LEVER) is State.PRESENT:
            message = (
                "missing lever_at: where the guide does not say where this lever stands, it is "
                "told from photos far less often; add lever_at, 0 (smokebox) to 1 (cab)"
            )
            yield ("variation", index, LEVER), message
            return


def _of_rates(guide: Guide) -> Iterator[tuple[Path, str]]:
    outside = guide.rates.outside
    if outside >= OUTSIDE_FROM:
        message = (
            f'rates: "other" and "reproduction" together make {100 * outside:.3g} % of engines '
            'none of the guide\'s, so that a photo which tells nothing is "not in this guide"; '
            f"lower them below {OUTSIDE_FROM:g}"
        )
        yield ("rates", "other"), message


def _of_variations(guide: Guide) -> Iterator[tuple[Path, str]]:
    if len(guide.variations) == 1:
        against = ", ".join(name.replace("_", " ") for name in _against_all(guide))
        message = (
            f'"{guide.variations[0].id}" is the only variation: a photo of such an engine is dated '
            "to it where what it shows speaks for it, and is not narrowed down where nothing does, "
            f"unless enough counts against the guide as a whole ({against})"
        )
        yield ("variation", 0), message
    if not any(map(_tells_photos, guide.variations)):
        message = (
            "no variation says anything that a photo can tell, so every photo is not narrowed "
            f"down; state {', '.join(BINARY_CUES)}, cab_number or tenders"
        )
        yield ("variation", 0), message
    position = {variation.id: index for index, variation in enumerate(guide.variations)}
    for pair in confusable(guide):
        names = f'variations "{pair.first}" and "{pair.second}"'
        if pair.told_apart_by:
            rest = f"only {' or '.join(pair.told_apart_by)} tells them apart"
        else:
            rest = "nothing in this guide tells them apart"
        message = f"no photo cue can tell {names} apart; {rest}"
        yield ("variation", position[pair.second]), message
    for index, variation in enumerate(guide.variations):
        for number in (n for n in variation.numbers if not can_be_read(n)):
            message = (
                f'variation "{variation.id}": cab_number "{number}" is not read from photos, '
                "only numbers of one to five figures are; it counts where it is said: "
                f"--saw cab_number={number}"
            )
            yield ("variation", index, "cab_number"), message


def _tells_photos(variation: Variation) -> bool:
    """Whether it states anything that a photo may bear out."""
    parts = any(cue in variation.expects for cue in BINARY_CUES)
    return parts or bool(variation.tenders) or any(map(can_be_read, variation.numbers))


def _against_all(guide: Guide) -> list[str]:
    """What a photo shows that may speak for an engine of no variation, where there is one alone."""
    (only,) = guide.variations
    told = {
        DRIVING: True,  # a guide whose wheels tell none is refused
        COUPLED: guide.tank_engine,
        **{cue: cue in only.expects for cue in BINARY_CUES},
        "cab_number": bool(only.numbers),
        "tender": bool(only.tenders),
    }
    return [name for name, tells in told.items() if tells]


def _of_tenders(guide: Guide) -> Iterator[tuple[Path, str]]:
    for index, tender in enumerate(guide.tenders):
        if all(tender.id not in variation.tenders for variation in guide.variations):
            yield ("tender", index), f'tender "{tender.id}" belongs to no variation'
    if guide.tenders and names_tank_engine(guide.wheels):
        message = f'"{guide.wheels}" names a tank engine, but the guide lists tenders'
        yield ("wheels",), message
    for index, objection in suffix_objections(guide.tenders):
        yield ("tender", index), objection


def _of_checks(guide: Guide) -> Iterator[tuple[Path, str]]:
    for index, told in enumerate(guide.checks):
        if not told.caution.strip():
            message = (
                f'check "{told.id}" has no caution; say what to mind, as in caution = '
                '"Unplug it from the transformer first."'
            )
            yield ("check", index), message
    for index, check in enumerate(guide.check_names):
        if len({v.expects[check] for v in guide.variations if check in v.expects}) < 2:
            yield ("check", index), f'check "{check}" comes out the same for every variation'
