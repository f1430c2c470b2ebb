"""How often the variation is named right, and the stated years hold the true ones."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from tools.evaluate.dated import ALSO, CHECK, NOT_NARROWED, PHOTO, STAGES, Dated
from tools.evaluate.rows import Row, markdown, share
from vision.estimate.factors import OTHER
from vision.guide import covered_years

# Coverage of the intervals in these tables.
LEVEL = 0.90
_KEYS = {PHOTO: "named_photo", ALSO: "named_also", CHECK: "named_check"}
NOTE = (
    "Named right: the true variation stands first. Where no engine is stated, or nothing in "
    "view tells one variation from another, none is named, which counts as wrong. As in sight: "
    "what an eye without fault would name, from the label's own states of what this view "
    "shows. Every engine is as made: `telltale guide simulate` says what altered engines cost. "
    "The check is answered truthfully, and believed as far as any person's word."
)


def named_rows(dated: Sequence[Dated]) -> list[Row]:
    """Rows of some pictures, at each stage.

    Where no number was looked for in any picture the later stages are not measured.
    """
    rows = []
    for stage in STAGES:
        mine = [d for d in dated if stage == PHOTO or _looked_for_number(d)]
        clear = [d for d in mine if d.in_full_view]
        rows += [
            _share(f"{stage}: named right", [d.right(stage) for d in mine], _KEYS[stage]),
            _share(
                f"{stage}: named right, all three cues visible",
                [d.right(stage) for d in clear],
                f"{_KEYS[stage]}_clear",
            ),
            _share(
                f"{stage}: named right, of engines stated",
                [d.right(stage) for d in mine if d.judged.stated],
            ),
            _share(
                f"{stage}: named right, as in sight", [d.right(stage, ideal=True) for d in mine]
            ),
        ]
    return rows


def _looked_for_number(dated: Dated) -> bool:
    """Whether later stages can be judged; without an engine they are wrong without a look."""
    return ALSO in dated.found or not dated.judged.stated


def covering_rows(dated: Sequence[Dated]) -> list[Row]:
    """Whether the stated sets hold all years of the true variation, of engines stated."""
    rows = []
    for stage in STAGES:
        mine = [d for d in dated if stage in d.found]
        for true in sorted({d.true for d in dated}):
            hits = [d.covered(stage) for d in mine if d.true == true]
            rows.append(_share(f"{stage}: {true}, true years in the stated set", hits, "years"))
        rows += [
            _share(f"{stage}: true years in the stated set", [d.covered(stage) for d in mine]),
            *_width_rows(stage, mine),
        ]
    return rows


def _width_rows(stage: str, mine: Sequence[Dated]) -> Iterator[Row]:
    widths = [len(covered_years(d.found[stage].years)) for d in mine]
    known = [w for w in widths if w]
    value = sum(known) / len(known) if known else float("nan")
    yield Row(f"{stage}: mean number of years stated", value, len(known), style="number")
    yield _share(f"{stage}: in no variation, so no year stated", [not w for w in widths])
    open_ = [d.named(stage) == NOT_NARROWED for d in mine]
    yield _share(f"{stage}: not narrowed down", open_)


def named_table(dated: Sequence[Dated]) -> str:
    """Variation by variation: named right at each stage, and what it was taken for at the last."""
    rows = []
    for true in sorted({d.true for d in dated}):
        mine = [d for d in dated if d.true == true]
        cells = []
        last = PHOTO
        for stage in STAGES:
            judged = [d for d in mine if stage == PHOTO or _looked_for_number(d)]
            if stage in {s for d in mine for s in d.found}:
                cells.append(f"{sum(d.right(stage) for d in judged)} of {len(judged)}")
                last = stage
            else:
                cells.append("-")
        wrong = Counter(d.named(last) for d in mine if not d.right(last))
        taken = ", ".join(f"{_name(id)} ({n})" for id, n in wrong.most_common(3))
        rows.append((true, *cells, taken))
    return markdown(("variation", *STAGES, "else taken for, at the last stage"), rows)


def _name(id: str) -> str:
    return "in no variation" if id == OTHER else id


def _share(figure: str, hits: Sequence[bool], key: str = "") -> Row:
    return share(figure, hits, key, level=LEVEL)
