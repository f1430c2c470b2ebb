"""What becomes of pictures that show no steam engine: whether years are made up for them."""

from __future__ import annotations

from collections.abc import Sequence

from tools.evaluate.rows import Row, share
from tools.looks import Judged
from vision.estimate import estimate
from vision.guide import Guide, covered_years, load_guide
from vision.pipeline.placing import LEVER, placed
from vision.records import Cue, Estimate, NotFound
from vision.report.narrowing import names_no_year


def narrowed(found: Estimate | None) -> bool:
    """Whether years are stated, fewer than all of the guide's, and for a reason in view."""
    return found is not None and bool(covered_years(found.years)) and not names_no_year(found)


def passed_rows(judged: Sequence[Judged]) -> list[Row]:
    """How often years are told of pictures without a steam engine, by the default guide.

    Every picture counts, and then those alone that are taken for an engine. Looks hold no
    cab number, so that none is weighed.
    """
    guide = load_guide()
    empty = [j for j in judged if not j.look.has_engine and j.look.complete]
    passed = [j for j in empty if j.stated]
    found = [estimate(guide, told_by(j, guide)) for j in passed]
    told = [narrowed(one) for one in found]
    one_year = [n and len(covered_years(f.years)) == 1 for n, f in zip(told, found, strict=True)]
    words = f"dated by {guide.name}, number unread"
    nothing = [False] * (len(empty) - len(passed))
    return [
        share(f"{words}: years narrowed down, of pictures without an engine", [*told, *nothing]),
        share(f"{words}: years narrowed down, of those taken for an engine", told),
        share(f"{words}: narrowed down to one year, of those taken for an engine", one_year),
    ]


def told_by(judged: Judged, guide: Guide) -> list[Cue]:
    """Cues of a look as dating by this guide has them: the lever at the guide's place."""
    cues = dict(judged.cues)
    if judged.anywhere is not None:
        cues[LEVER] = placed(judged.anywhere, NotFound(""), guide.lever_at)
    return list(cues.values())
