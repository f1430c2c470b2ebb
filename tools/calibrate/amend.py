"""A fit of which only some is made anew."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from vision.records import BINARY_CUES


def amended(
    before: Mapping[str, Any],
    now: Mapping[str, Any],
    only: Sequence[str],
    *,
    keep_seen: bool = False,
) -> dict[str, Any]:
    """What was fitted before, with the fit of some cues alone replaced by the one of now.

    With `keep_seen`, of a cue that is present or absent only whether it is there: whether it
    can be seen, and the limits from which it is stated, stay as they were. The scenes of both
    count as used: neither may be judged by any of them. "again" holds the later fits, the
    newest last, each with what has not been fitted anew since.
    """
    out = json.loads(json.dumps(before))
    for cue in only:
        if cue in BINARY_CUES:
            for mine, fresh in ((out, now), (out["fitted"], now["fitted"])):
                if keep_seen:
                    mine["cues"][cue]["present"] = fresh["cues"][cue]["present"]
                else:
                    mine["cues"][cue] = fresh["cues"][cue]
        else:
            out[cue] = now[cue]
    told, report = out["fitted"], now["fitted"]
    for series, (first, last) in report["series"].items():
        low, high = told["series"].get(series, (first, last))
        told["series"][series] = [min(first, low), max(last, high)]
    words = {key: report[key] for key in ("n", "scenes", "date", "rules")}
    earlier = [
        {**fit, "only": [cue for cue in fit["only"] if cue not in only]}
        for fit in told.get("again", [])
    ]
    what = {"only": list(only), **words} | ({"keep_seen": True} if keep_seen else {})
    told["again"] = [fit for fit in earlier if fit["only"]] + [what]
    return out
