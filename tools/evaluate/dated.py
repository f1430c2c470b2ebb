"""Do the stated years hold the true ones? For pictures of the example guides' castings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from tools.evaluate.rows import Row, share
from tools.looks import Judged
from vision.estimate import estimate
from vision.guide import load_guide

# What `vision.estimate` writes where the engine is more probably in no variation.
_UNKNOWN = "XXXX"


def years_rows(judged: Sequence[Judged]) -> list[Row]:
    """Share of pictures whose stated years hold all years of the true variation.

    Twins are left out: with one cue swapped they show no variation of the guide. Pictures
    in which no engine is stated have no years and are counted apart.
    """
    shown = [j for j in judged if j.look.label.get("variation") and not j.look.twin]
    shown = [j for j in shown if j.look.must_find]
    dated = [j for j in shown if j.stated]
    guides = {name: load_guide(name) for name in {_shown_as(j)["guide"] for j in dated}}
    inside: dict[str, list[bool]] = {}
    widths: list[int] = []
    for j in dated:
        where = _shown_as(j)
        guide = guides[where["guide"]]
        true = next(v.years for v in guide.variations if v.id == where["id"])
        stated = years_in(estimate(guide, tuple(j.cues.values())).years)
        widths.append(len(stated))
        inside.setdefault(f"{where['guide']} {where['id']}", []).append(set(true) <= stated)
    rows = [
        share(f"{name}: true years inside the stated set", hits, "years")
        for name, hits in sorted(inside.items())
    ]
    pooled = [hit for hits in inside.values() for hit in hits]
    return [
        *rows,
        share("all variations: true years inside the stated set", pooled, "years"),
        share("no year stated, of engines stated", [not w for w in widths]),
        share("no engine stated, of engines ≥ 60 % in sight", [not j.stated for j in shown]),
        _mean_width(widths),
    ]


def _shown_as(judged: Judged) -> Mapping[str, str]:
    where: Mapping[str, str] = judged.look.label["variation"]
    return where


def _mean_width(widths: Sequence[int]) -> Row:
    known = [w for w in widths if w]
    value = sum(known) / len(known) if known else float("nan")
    return Row("mean number of years stated", value, len(known), style="number")


def years_in(text: str) -> frozenset[int]:
    """Calendar years of what `vision.estimate` states; none for "XXXX".

    Examples
    --------
    >>> sorted(years_in("[1931..1932,1934]"))
    [1931, 1932, 1934]
    >>> sorted(years_in("1935/1936"))
    [1935, 1936]
    """
    if text == _UNKNOWN:
        return frozenset()
    years: set[int] = set()
    for part in text.strip("[]").replace("..", "/").split(","):
        first, _, last = part.partition("/")
        years.update(range(int(first), int(last or first) + 1))
    return frozenset(years)
