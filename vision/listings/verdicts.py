"""Each claim against what the photos show: supported, contradicted, or cannot tell."""

from __future__ import annotations

from dataclasses import dataclass

from vision.estimate.argument import by_variation, prior, replay, take_steps
from vision.estimate.factors import PRESENT, TENDER
from vision.guide import Guide
from vision.listings.values import NOT, Claim, Kind, Verdict
from vision.listings.weighing import WEIGH, Case, Weighed, can_be_counted, made_then
from vision.records import DRIVING, REGION_OF_CUE, Answer, Box, Region, Sighting, State
from vision.report.words import candidate_words, cue_words, percent, years_words

# Probability that a claim is false from which it is said to be contradicted, and true
# from which it is said to be supported. The first is the owner's wish; the second is
# chosen: a wrong tick does less harm than a wrong reproach.
CONTRADICTED_FROM = 0.95
SUPPORTED_FROM = 0.9
# Likelihood ratios that must stand behind either, so that no verdict rests on how common
# variations are: "moderate" and "weak" support of the ENFSI guideline (2015), as
# `vision.estimate.strength` has them.
LEAST_AGAINST, LEAST_FOR = 10.0, 2.0
# The same where one photo says otherwise than the others: "moderately strong" support of all
# of them together, the dissenting one among them.
LEAST_AGAINST_DISPUTED = 100.0
# What is claimed of the engine as a whole, and borne out by no photos of two.
_OF_ALL = (Kind.YEAR, Kind.VARIATION)
_SEVERAL = "the photos disagree with each other and may show two engines"


@dataclass(frozen=True, slots=True)
class Judged:
    """A claim and what the photos say of it.

    Attributes
    ----------
    claim : Claim
    verdict : Verdict
    p_true : float or None
        Probability that the claim is true, from photos and guide; None where nothing
        was seen that speaks of it.
    ratio : float or None
        P(what the photos show | claim true) / P(the same | claim false).
    text : str
        One sentence for a person.
    photo : int or None
        Which photo speaks, from 0.
    where : Box or None
        Where on it, in pixels of the upright photo.
    region : Region or None
        The part of the engine meant, likewise.
    """

    claim: Claim
    verdict: Verdict
    text: str
    p_true: float | None = None
    ratio: float | None = None
    photo: int | None = None
    where: Box | None = None
    region: Region | None = None


def judge(
    claims: tuple[Claim, ...], answer: Answer | None, guide: Guide, *, one_engine: bool = True
) -> tuple[Judged, ...]:
    """Judge every claim of a listing.

    Parameters
    ----------
    claims : tuple of Claim
    answer : Answer or None
        What the photos show, from `vision.pipeline.date_item`; None without any photo.
    guide : Guide
    one_engine : bool
        False where the photos seem to show several engines: nothing is contradicted then, and
        no year or variation borne out.
    """
    if answer is None or answer.estimate is None:
        why = "there is no photo that can be read" if answer is None else "no photo shows an engine"
        return tuple(Judged(claim, Verdict.CANNOT_TELL, why) for claim in claims)
    steps, evidence = take_steps(guide, answer.cues)
    case = Case(
        guide,
        answer,
        {item.factor.name: item for item in evidence},
        by_variation(replay(guide, steps)),
        by_variation(prior(guide)),
    )
    return tuple(_judge(claim, case, one_engine) for claim in claims)


def _judge(claim: Claim, case: Case, one_engine: bool) -> Judged:
    if claim.kind is Kind.CONDITION:
        return Judged(claim, Verdict.CANNOT_TELL, "condition is not judged from photos")
    if claim.kind is Kind.CHECK:
        check = next(c for c in case.guide.checks if c.id == claim.about)
        text = f"no photo can tell; only a look by hand: {check.question}"
        return Judged(claim, Verdict.CANNOT_TELL, text)
    if claim.kind is Kind.ORIGINAL and not claim.about:
        return Judged(claim, Verdict.CANNOT_TELL, _all_original(case))
    weighed = WEIGH[claim.kind](claim, case)
    if weighed is None:
        return Judged(claim, Verdict.CANNOT_TELL, _unseen(claim, case))
    verdict, text = _verdict(claim, weighed, case)
    if verdict is Verdict.SUPPORTED and not one_engine and claim.kind in _OF_ALL:
        verdict, text = Verdict.CANNOT_TELL, _SEVERAL
    if verdict is Verdict.CONTRADICTED:
        hold = _reason_to_hold(claim, case, weighed, one_engine=one_engine)
        if hold:
            verdict, text = Verdict.CANNOT_TELL, hold
    return _with_place(claim, verdict, text, weighed, case)


def _verdict(claim: Claim, weighed: Weighed, case: Case) -> tuple[Verdict, str]:
    against = weighed.p_false >= CONTRADICTED_FROM and weighed.ratio <= 1.0 / LEAST_AGAINST
    if against:
        return Verdict.CONTRADICTED, _shown(claim, weighed, case)
    if claim.kind is Kind.ORIGINAL:
        return Verdict.CANNOT_TELL, _origin(weighed)
    about, sure = _about(claim), percent(weighed.p_true)
    unlike = _unlike_guide(claim, case)
    if weighed.p_true >= SUPPORTED_FROM and weighed.ratio >= LEAST_FOR:
        return Verdict.SUPPORTED, f"{about}the photos agree ({sure}){unlike}"
    return (
        Verdict.CANNOT_TELL,
        f"{about}the photos leave it open ({_between(weighed)} that it is so){unlike}",
    )


def fits_together(answer: Answer | None) -> bool:
    """Whether nothing says that engine and tender never left the works together."""
    estimate = None if answer is None else answer.estimate
    return estimate is None or all(c.kind != "engine_tender" for c in estimate.conflicts)


def _all_original(case: Case) -> str:
    if not fits_together(case.answer):
        return "the photos speak against it: engine and tender do not fit together"
    return "no photo can tell whether everything is original"


def _origin(weighed: Weighed) -> str:
    """Why a tender's origin is left open: a photo shows its kind, never whose it was."""
    if weighed.p_false > weighed.p_true:
        return "the photos speak against it: the tender is rather of another engine"
    return (
        "the tender is of a kind that may belong to the engine; whether it left the works with "
        "it no photo can tell"
    )


def _between(weighed: Weighed) -> str:
    """By the part alone and by everything the photos show: either alone would mislead."""
    low, high = percent(weighed.p_true), percent(1.0 - weighed.p_false)
    return low if low == high else f"{low} to {high}"


def _about(claim: Claim) -> str:
    """What is meant, where the words claim two things, or more than the photos are read for.

    "Red edge" is a part and a colour; of "4-6-2" the driving axles alone are counted.
    """
    if claim.about == DRIVING:
        return f"{_driven(claim.value)}: "
    if claim.kind in (Kind.PART, Kind.COLOUR):
        return f"{cue_words(claim.about)} {claim.value}: "
    return ""


def _unlike_guide(claim: Claim, case: Case) -> str:
    """Where the arrangement that a listing names is none of the guide's, what the guide's has."""
    own = case.guide.driving_axles
    if claim.about != DRIVING or own is None or claim.value == str(own):
        return ""
    return f"; the guide's engine has {_driven(str(own))}"


def _driven(count: str) -> str:
    return f"{count} driving axle{'' if count == '1' else 's'}"


def _limit(claim: Claim, case: Case) -> bool:
    """Whether a claim rules out any variation at all."""
    if claim.kind is not Kind.YEAR:
        return True
    return len(made_then(claim, case.guide)) < len(case.guide.variations)


def _reason_to_hold(claim: Claim, case: Case, weighed: Weighed, *, one_engine: bool) -> str:
    """Why a contradiction is not stated all the same; empty where nothing is in the way."""
    if claim.hedged:
        return "the photos speak against it, but the listing does not say that it is so"
    if claim.kind is Kind.ORIGINAL and fits_together(case.answer):
        return _origin(weighed)
    if claim.tentative:
        return _other_meaning(claim, case)
    if claim.kind is Kind.COLOUR and claim.value.startswith(NOT):
        colour = claim.value.removeprefix(NOT)
        if colour not in {known.lower() for known in case.guide.stripe_colours}:
            return f"{_about(claim)}the guide has no {colour} to tell from what the photos show"
    if not one_engine:
        return _SEVERAL
    estimate = case.answer.estimate
    disputed = {
        name
        for c in (estimate.conflicts if estimate else ())
        if c.kind == "views"
        for name in c.cues
    }
    if disputed.intersection(_cues_of(claim)) and weighed.ratio > 1.0 / LEAST_AGAINST_DISPUTED:
        return "the photos disagree with each other"
    return ""


def _other_meaning(claim: Claim, case: Case) -> str:
    cue = case.cue(claim.about)
    shown = f"the photos show {cue.value}" if cue and cue.value else "the photos fit another"
    return f"{shown}; the listing does not say that {claim.value} is the engine's cab number"


def _cues_of(claim: Claim) -> tuple[str, ...]:
    """Cues that show what a claim is about: a tender is known by its axles and lamps."""
    return {TENDER: ("tender_axles", "tender_lamps")}.get(claim.about, (claim.about,))


# --- words ----------------------------------------------------------------------------


def _shown(claim: Claim, weighed: Weighed, case: Case) -> str:
    """What the photos show, and what the listing says, and nothing of why."""
    name, cue = cue_words(claim.about), weighed.cue
    if claim.kind is Kind.PART:
        if claim.value == PRESENT:
            return f"the photos show no {name}; the listing says there is one"
        return f"the photos show {_a(name)}; the listing says there is none"
    if claim.kind is Kind.COLOUR:
        if cue is not None and cue.state is State.ABSENT:
            return f"the photos show no {name}; the listing says there is {_a(claim.value)} one"
        denied = claim.value.startswith(NOT)
        other = claim.value.removeprefix(NOT) if denied else "another colour"
        seen = (cue.value if cue else None) or other
        return f"the {name} looks {seen} in the photos; the listing says {claim.value}"
    if claim.about == DRIVING:
        said = f"{claim.text} ({_driven(claim.value)})"
        return f"{name}: the photos show {cue and cue.value}; the listing says {said}"
    if claim.kind in (Kind.AXLES, Kind.LAMPS):
        value = "none" if cue is not None and cue.state is State.ABSENT else cue and cue.value
        return f"{name}: the photos show {value}; the listing says {claim.value}"
    if claim.kind is Kind.ORIGINAL:
        return "engine and tender in the photos do not fit together; the listing says they do"
    if claim.kind is Kind.TENDER:
        return f"the tender in the photos looks like another kind than {claim.value}"
    if claim.kind is Kind.NUMBER and cue is not None and cue.name == "cab_number" and cue.value:
        return f"the photos show the number {cue.value}; the listing says {claim.value}"
    estimate = case.answer.estimate
    best = candidate_words(estimate.variations[0]) if estimate else "another"
    said = years_words(claim.value) if claim.kind is Kind.YEAR else claim.value
    return f"the photos fit {best} better; the listing says {said}"


def _a(name: str) -> str:
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


def _unseen(claim: Claim, case: Case) -> str:
    if claim.kind is Kind.YEAR and not made_then(claim, case.guide):
        return "the guide has no engine of that year"
    if claim.kind is Kind.YEAR and not _limit(claim, case):
        return "every variation of the guide would fit"
    if claim.kind in (Kind.YEAR, Kind.VARIATION):
        return "the photos show nothing that would tell"
    if not can_be_counted(claim):
        unlike = _unlike_guide(claim, case)
        return f"no photo is read for the {_driven(claim.value)} of {claim.text}{unlike}"
    names = _cues_of(claim)
    why = next((c.because for c in case.answer.cues if c.name in names and c.because), "")
    told = f" ({why})" if why and not any(case.cue(n) for n in names) else ""
    about = _about(claim) or f"{cue_words(claim.about)}: "
    return f"{about}no photo shows it well enough{told}{_unlike_guide(claim, case)}"


def _with_place(claim: Claim, verdict: Verdict, text: str, weighed: Weighed, case: Case) -> Judged:
    cue = weighed.cue
    region = None
    if cue is not None:
        sighting = case.answer.sightings[cue.photo]
        if isinstance(sighting, Sighting):
            region = sighting.regions.get(REGION_OF_CUE.get(cue.name, ""))
    return Judged(
        claim,
        verdict,
        text,
        p_true=weighed.p_true,
        ratio=weighed.ratio,
        photo=None if cue is None else cue.photo,
        where=None if cue is None else cue.where,
        region=region,
    )


def overall(judged: tuple[Judged, ...], *, fits: bool = True) -> Verdict:
    """One verdict for a listing: a contradiction outweighs any agreement.

    Parameters
    ----------
    judged : tuple of Judged
    fits : bool
        False where engine and tender do not fit together: no agreement makes up for that.
    """
    verdicts = {item.verdict for item in judged}
    if Verdict.CONTRADICTED in verdicts:
        return Verdict.CONTRADICTED
    return Verdict.SUPPORTED if Verdict.SUPPORTED in verdicts and fits else Verdict.CANNOT_TELL
