"""Fit the coefficients and thresholds of the eye.

python -m tools.calibrate --looks looks.jsonl.gz --out models/fusion.json
python -m tools.calibrate --looks new.jsonl.gz --former old.jsonl.gz --changed switch_lever
python -m tools.calibrate --looks new.jsonl.gz --only side_linkage driving_axles
python -m tools.calibrate --plain --out models/fusion.json

The second fits what other networks say on looks by the networks before, too, of pictures that
were not looked at again; both options may be given once more for the networks before these, and
so on, the newest first, with all that has changed since each. The third leaves the fit of
everything else as it is: what says the same as before needs no other; with --keep-seen also
whether those cues can be seen, where too few looks show what cannot. The fourth writes the
networks' own words unweighed, which is enough to take looks with.
"""

from __future__ import annotations

import argparse
import datetime
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tools.calibrate import counts, limits, placed
from tools.calibrate.amend import amended
from tools.calibrate.coupled import PLAIN, coupled_model
from tools.calibrate.logistic import PRESENT_TERMS, SEEN_TERMS, Fit, as_stated, fit, predict
from tools.former import add_options, check_options, with_former
from tools.looks import FOUND_IOU, Look, engine_stated, read_looks, spans_of
from tools.sums import write_sums
from vision.pipeline.placing import LEVER
from vision.records import BINARY_CUES, COUPLED, DRIVING

# Probability from which on driving axles are stated: on castings unlike those of the training
# they are miscounted more often than it says. Chosen.
SURE_OF_AXLES = 0.9


@dataclass(frozen=True, slots=True)
class Rules:
    """What the thresholds have to keep to.

    Attributes
    ----------
    false_at_most, lost_at_most : float
        Shares of pictures without an engine that pass, and of engines lost.
    stated_at_most, hidden_at_most : float
        Share of cues that the label calls not visible but that are stated all the same,
        and of those whose region is hidden or tiny beyond dispute. The first is the laxer:
        of a region half in sight the eye mostly says what is true. Both leave room for
        pictures unlike those of the fit.
    axles_at_most : float
        The same of driving axles, and of a tender's: most tenders whose axles the label
        calls hidden show all but one of them.
    sure_at_least : float
        Probability below which a state is too unclear to be stated.
    trusted : float
        Share of the fitted log odds that counts: the fit is made on renders of shapes
        that the networks know, and on others what is stated surely is wrong more often
        than it says. Chosen.
    """

    false_at_most: float = 0.05
    lost_at_most: float = 0.002
    stated_at_most: float = 0.015
    hidden_at_most: float = 0.02
    axles_at_most: float = 0.06
    sure_at_least: float = 0.7
    trusted: float = 0.9


def calibrate(looks: Sequence[Look], rules: Rules) -> dict[str, Any]:
    """Everything that `fusion.json` holds, from looks at unspoilt pictures.

    Raises
    ------
    ValueError
        Too few looks of a kind that is needed; the message says which.
    """
    looks = [look for look in looks if not look.corruption]
    locate, located = limits.locate_limits(
        looks, false_at_most=rules.false_at_most, lost_at_most=rules.lost_at_most
    )
    fitted = {cue: _cue(looks, cue, locate, rules) for cue in BINARY_CUES}
    tender = counts.tender_models(
        looks,
        locate["tender"],
        stated_at_most={"axles": rules.axles_at_most, "lamps": rules.stated_at_most},
        sure_at_least=rules.sure_at_least,
    )
    driving = counts.axle_model(
        looks, stated_at_most=rules.axles_at_most, sure_at_least=SURE_OF_AXLES
    )
    coupled, behind = coupled_model(looks, locate, sure_at_least=rules.sure_at_least)
    return {
        "locate": locate,
        "trusted": rules.trusted,
        "cues": {cue: model for cue, (model, _) in fitted.items()},
        DRIVING: driving,
        COUPLED: coupled,
        "tender": tender,
        "fitted": {
            "n": len(looks),
            "scenes": len({look.name.scene for look in looks}),
            "series": spans_of(looks),
            "date": datetime.datetime.now(datetime.UTC).date().isoformat(),
            "rules": {key: getattr(rules, key) for key in Rules.__slots__},
            "locate": located,
            "cues": {cue: report for cue, (_, report) in fitted.items()},
            COUPLED: behind,
        },
    }


def _cue(
    looks: Sequence[Look], cue: str, locate: Mapping[str, float], rules: Rules
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Both models of one cue with their limits, and the report on them."""
    engines = [k for k in looks if k.has_engine and cue in k.label.get("cues", {})]
    judged = [k for k in engines if "judge_present" in k.seen.get("cues", {}).get(cue, {})]
    well = [k for k in judged if k.overlap >= FOUND_IOU]
    visible = [k for k in well if k.label["cues"][cue]["visible"]]
    seen = _fit(well, cue, SEEN_TERMS, [k.label["cues"][cue]["visible"] for k in well])
    present = _fit(
        visible,
        cue,
        PRESENT_TERMS[cue],
        [k.label["cues"][cue]["state"] == "present" for k in visible],
    )
    stated = [k for k in engines if engine_stated(k.seen, locate)]
    # A visible part beside a box in the wrong place says nothing of this limit.
    weighed = [k for k in stated if k.overlap >= FOUND_IOU or not k.label["cues"][cue]["visible"]]
    p_seen = _probabilities(weighed, cue, well, seen)
    raw = _probabilities(weighed, cue, visible, present)
    p_present = np.array([as_stated(p, rules.trusted) for p in raw])
    sure_at_least = max(rules.sure_at_least, placed.SURE_ANYWHERE if cue == LEVER else 0.0)
    limit, coverage = limits.stated_limit(
        weighed,
        cue,
        p_seen,
        p_present,
        sure_at_least=sure_at_least,
        stated_at_most=rules.stated_at_most,
        hidden_at_most=rules.hidden_at_most,
        least=placed.SEEN_AT_LEAST if cue == LEVER else 0.05,
    )
    model = {
        "seen": seen.model,
        "present": present.model,
        "seen_at_least": limit,
        "sure_at_least": sure_at_least,
    }
    report = {"seen": seen.report, "present": present.report, "stated": coverage}
    if cue == LEVER:
        at_place, report["placed"] = placed.placed_model(
            visible,
            weighed,
            p_seen,
            share=rules.trusted,
            limits={key: getattr(rules, key) for key in ("stated_at_most", "hidden_at_most")},
        )
        model |= {"placed": at_place} if at_place else {}
    return model, report


def _fit(looks: Sequence[Look], cue: str, names: Sequence[str], outcome: Sequence[bool]) -> Fit:
    rows = [look.seen["cues"][cue] for look in looks]
    return fit(rows, np.array(outcome, dtype=bool), [look.name.scene for look in looks], names)


def _probabilities(
    looks: Sequence[Look], cue: str, used: Sequence[Look], fitted: Fit
) -> np.ndarray:
    """Out-of-fold probabilities of looks used in a fit, the model's of others, 0 without any."""
    inner = {id(look): p for look, p in zip(used, fitted.out_of_fold, strict=True)}
    others = [k for k in looks if id(k) not in inner and "judge_present" in _values(k, cue)]
    if others:
        outer = predict(fitted.model, [_values(k, cue) for k in others])
        inner |= {id(look): p for look, p in zip(others, outer, strict=True)}
    return np.array([inner.get(id(look), 0.0) for look in looks], dtype=np.float64)


def _values(look: Look, cue: str) -> Mapping[str, float]:
    values: Mapping[str, float] = look.seen.get("cues", {}).get(cue, {})
    return values


def plain(rules: Rules) -> dict[str, Any]:
    """Coefficients that repeat the networks' own log odds, thresholds at even odds."""
    # Scale 3 keeps log odds up to 12 within the clipping of standardised values.
    word = {
        name: {"terms": [[name, 0.0, 3.0, 3.0]], "bias": 0.0}
        for name in ("judge_visible", "judge_present")
    }
    cue = {
        "seen": word["judge_visible"],
        "present": word["judge_present"],
        "seen_at_least": 0.5,
        "sure_at_least": rules.sure_at_least,
    }
    count = {"temperature": 1.0, "seen_at_least": 0.5, "sure_at_least": rules.sure_at_least}
    return {
        "locate": {"finder": 0.25, "engine": 0.5, "tender": 0.5},
        "cues": dict.fromkeys(BINARY_CUES, cue),
        DRIVING: count | {"sure_at_least": SURE_OF_AXLES},
        COUPLED: {**PLAIN, "sure_at_least": rules.sure_at_least},
        "tender": {"axles": count, "lamps": count},
        "fitted": {"n": 0, "series": {}},
    }


def main() -> None:
    """Parse the arguments, fit, write, and say what came out."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--looks", type=Path, nargs="+", default=[], metavar="FILE")
    add_options(parser)
    parser.add_argument(
        "--only",
        nargs="+",
        choices=(*BINARY_CUES, DRIVING, COUPLED),
        default=[],
        help="cues to fit; all else of --out stays as it is",
    )
    parser.add_argument(
        "--keep-seen",
        action="store_true",
        help="of --only, fit whether a part is there and not whether it can be seen",
    )
    parser.add_argument("--plain", action="store_true", help="fit nothing")
    parser.add_argument("--out", type=Path, default=Path("models/fusion.json"))
    rules = Rules()
    for key, meaning in (
        ("false_at_most", "share of pictures without an engine that may pass"),
        ("lost_at_most", "share of engines that may be lost"),
        ("stated_at_most", "share of cues not visible that may be stated"),
        ("hidden_at_most", "the same of cues that are hidden beyond dispute"),
        ("axles_at_most", "share of tenders with hidden axles of which a count may be stated"),
        ("sure_at_least", "least probability of a state that is stated"),
        ("trusted", "share of the fitted log odds that counts"),
    ):
        option = "--" + key.replace("_", "-")
        parser.add_argument(option, type=float, default=getattr(rules, key), help=meaning)
    arguments = parser.parse_args()
    rules = Rules(**{key: getattr(arguments, key) for key in Rules.__slots__})
    if arguments.keep_seen and not arguments.only:
        parser.error("--keep-seen needs --only CUE...")
    if arguments.plain == bool(arguments.looks):
        parser.error("either --looks FILE... or --plain")
    check_options(parser, arguments)
    if arguments.plain:
        fusion = plain(rules)
    else:
        looks = with_former(read_looks(arguments.looks), arguments.former, arguments.changed)
        fusion = calibrate(looks, rules)
    files = [path.name for paths in (arguments.looks, *arguments.former) for path in paths]
    if arguments.only:
        before = json.loads(arguments.out.read_text("utf-8"))
        fusion = amended(before, fusion, arguments.only, keep_seen=arguments.keep_seen)
        fusion["fitted"]["again"][-1]["files"] = files
    else:
        fusion["fitted"]["files"] = files
    arguments.out.write_text(json.dumps(fusion, indent=1) + "\n", encoding="utf-8")
    write_sums(arguments.out.parent)
    print(json.dumps({"locate": fusion["locate"], "fitted": fusion["fitted"]}, indent=1))


if __name__ == "__main__":
    main()
