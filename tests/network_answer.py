"""The same question put to pgmpy: a Bayesian network written from the documentation.

It shares no arithmetic with `vision.estimate`: the network has nodes for the engine, for
its casting and, behind that, the driving axles and whether a tender is coupled, for the
state of each part and, behind the tender, for its axles and its lamps as they are today;
readings are soft evidence, as children that were observed. Only two things are taken over:
the constants, and the channel that misreads numbers, which has tests of its own.
"""

import logging

from guides import DRIVEN
from vision.estimate.factors import (
    DRIVING_COUNTS,
    DRIVING_ERRS,
    DRIVING_SHARES,
    FOREIGN_TENDER,
    OTHER_OF_THE_CASTING,
    OTHER_WITH_LISTED_NUMBER,
    STRAY_TENDER,
    TENDER_MAX_RATIO,
    WITH_TENDER,
)
from vision.estimate.numbers import reading_likelihood, unlisted_likelihood
from vision.estimate.reading import (
    AXLE_COUNTS,
    BLUNDER,
    LAMP_COUNTS,
    PERSON_RELIABILITY,
    PHOTO_LIMIT,
)
from vision.records import COUPLED, LETTERING, State

# Whyte notation marks these of DRIVEN as tank engines (common practice, no source).
TANK_ENGINES = ("0-4-4T", "0-6-0PT")


def network_posterior(guide, cues):
    """P(hypothesis | cues) by variable elimination, as a dict of hypothesis id."""
    # pgmpy takes seconds to import and logs while it checks networks.
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    ids = [f"{v.id}@{y}" for v in guide.variations for y in v.years] + ["other"]
    net = DiscreteBayesianNetwork()
    net.add_node("engine")
    output = [v.output for v in guide.variations for _ in v.years]
    outside = guide.rates.other + guide.rates.reproduction
    first = [(1 - outside) * o / sum(output) for o in output] + [outside]
    net.add_cpds(TabularCPD("engine", len(ids), [[p] for p in first]))
    seen = {}

    def add(node, parent, columns):
        net.add_edge(parent, node)
        rows = list(map(list, zip(*columns, strict=True)))
        net.add_cpds(TabularCPD(node, len(rows), rows, [parent], [len(columns)]))

    def observe(node, parent, weights):
        """A reading: a child that came out one way, its chances in these proportions."""
        most = max(weights)
        add(node, parent, [[w / most, 1 - w / most] for w in weights])
        seen[node] = 0

    for cue in cues:
        _add_part(guide, cue, ids, add, observe, net)
    answer = VariableElimination(net).query(["engine"], evidence=seen, show_progress=False)
    return dict(zip(ids, (float(p) for p in answer.values), strict=True))


def _variations(guide, ids):
    by_id = {v.id: v for v in guide.variations}
    return [by_id.get(id.partition("@")[0]) for id in ids]


def _add_part(guide, cue, ids, add, observe, net):
    rows = _variations(guide, ids)
    if cue.name == "cab_number":
        _add_number(guide, cue, rows, add, observe)
    elif cue.name == "driving_axles":
        _add_driving(guide, cue, rows, add, observe, net)
    elif cue.name == COUPLED:
        _add_coupled(guide, cue, rows, add, observe, net)
    elif cue.name.startswith("tender"):
        if guide.tenders:
            _add_tender(guide, cue, rows, add, observe, net)
    else:
        colours = [*guide.stripe_colours, "?"] if cue.name == "edge_stripe" else ["?"]
        add(cue.name, "engine", [_part_today(guide, cue.name, v, colours) for v in rows])
        p = min(max(cue.p_present, PHOTO_LIMIT), 1 - PHOTO_LIMIT)
        said = {c: 0.0 for c in colours}
        for colour, q in cue.values.items():
            said[colour if colour in said else "?"] += q
        rest = 1 - sum(said.values())
        k = len(colours)
        sound = [(1 - BLUNDER) * (said[c] + rest / k) + BLUNDER / k for c in colours]
        observe(f"{cue.name} read", cue.name, [(1 - p) / k, *(p * s for s in sound)])


def _part_today(guide, name, variation, colours):
    """Absent, then each colour; a part without colours has one."""
    rates = guide.rates.of(name)
    made = variation.expects.get(name) if variation else None
    there = {State.PRESENT: 1 - rates.lost, State.ABSENT: rates.added, None: 0.5}[made]
    column = [1 - there]
    for colour in colours:
        if made is State.PRESENT and variation.stripe_colour in colours[:-1]:
            kept = 1 - guide.rates.recoloured
            other = guide.rates.recoloured / (len(colours) - 1)
            column.append(there * (kept if colour == variation.stripe_colour else other))
        else:
            column.append(there / len(colours))
    return column


def _add_casting(guide, rows, add, net):
    """The casting, the guide's or any other: one node, whatever hangs on it."""
    if "casting" in net.nodes:
        return
    other, copies = guide.rates.other, guide.rates.reproduction
    of_casting = (other * OTHER_OF_THE_CASTING + copies) / (other + copies)
    add("casting", "engine", [[1.0, 0.0] if v else [of_casting, 1 - of_casting] for v in rows])


def _add_coupled(guide, cue, rows, add, observe, net):
    """A tender behind a tank engine, for which there is none in the guide."""
    if guide.wheels not in TANK_ENGINES or guide.tenders:
        return
    _add_casting(guide, rows, add, net)
    add(COUPLED, "casting", [[s, 1 - s] for s in (STRAY_TENDER, WITH_TENDER)])
    p = min(max(cue.p_present, PHOTO_LIMIT), 1 - PHOTO_LIMIT)
    observe("coupled read", COUPLED, [p, 1 - p])


def _add_driving(guide, cue, rows, add, observe, net):
    """The driving axles of the casting."""
    own = DRIVEN[guide.wheels]
    if own is None:
        return
    _add_casting(guide, rows, add, net)
    domain = sorted({own, *map(int, DRIVING_COUNTS)})
    k = len(domain)
    made = [1 - DRIVING_ERRS if c == own else DRIVING_ERRS / (k - 1) for c in domain]
    any_engine = dict(zip(map(int, DRIVING_COUNTS), DRIVING_SHARES, strict=True))
    add("driving axles", "casting", [made, [any_engine.get(c, 0.0) for c in domain]])
    said = {int(c): q for c, q in (dict(cue.values) or {cue.value: cue.confidence}).items()}
    rest = 1 - sum(q for c, q in said.items() if c in domain)
    sound = [said.get(c, 0.0) + rest / k for c in domain]
    observe("counted", "driving axles", [(1 - BLUNDER) * s + BLUNDER / k for s in sound])


def _add_number(guide, cue, rows, add, observe):
    listed = sorted({n for v in guide.variations for n in v.numbers})
    columns = []
    for v in rows:
        own = set(v.numbers) if v else set()
        foreign = set(listed) - own
        leaves = guide.rates.number_changed if own else 1.0
        within = (0.5 if v else OTHER_WITH_LISTED_NUMBER) if foreign else 0.0
        column = [
            (1 - leaves) / len(own) if n in own else leaves * within / len(foreign) for n in listed
        ]
        columns.append([*column, leaves * (1 - within)])
    add("number", "engine", columns)
    fit = [reading_likelihood(cue.value, n) for n in listed] + [unlisted_likelihood(cue.value)]
    q, k = cue.confidence, len(fit)
    sound = [q * f / sum(fit) + (1 - q) / k for f in fit]
    observe("number read", "number", [(1 - BLUNDER) * s + BLUNDER / k for s in sound])


def _add_tender(guide, cue, rows, add, observe, net):
    n = len(guide.tenders)
    pool = [(1 - FOREIGN_TENDER) / n] * n + [FOREIGN_TENDER]
    # The least share of swaps at which no tender speaks louder than TENDER_MAX_RATIO.
    floor = 1 / (1 + (TENDER_MAX_RATIO - 1) * min(pool))
    swap = max(guide.rates.tender_swapped, floor)
    if "tender" not in net.nodes:
        columns = []
        for v in rows:
            own = v.tenders if v else ()
            kept = [(t.id in own) / len(own) if own else 0.0 for t in guide.tenders] + [0.0]
            s = swap if own else 1.0
            columns.append([(1 - s) * a + s * b for a, b in zip(kept, pool, strict=True)])
        add("tender", "engine", columns)
    if cue.name == "tender":  # said by a person, who is mistaken now and then
        rest, k = (1 - PERSON_RELIABILITY) / (n + 1), n + 1
        ids = [*(t.id for t in guide.tenders), "other"]
        sound = [PERSON_RELIABILITY * (id == cue.value) + rest for id in ids]
        observe("tender said", "tender", [(1 - BLUNDER) * s + BLUNDER / k for s in sound])
        return
    if cue.name == LETTERING:
        rates = guide.rates.of(LETTERING)
        shares = {True: 1 - rates.lost, False: rates.added, None: 0.5}
        there = [*(shares[t.lettering] for t in guide.tenders), 0.5]
        add(LETTERING, "tender", [[s, 1 - s] for s in there])
        p = min(max(cue.p_present, PHOTO_LIMIT), 1 - PHOTO_LIMIT)
        observe("lettering read", LETTERING, [p, 1 - p])
        return
    axles = cue.name == "tender_axles"
    said = dict(cue.values) or {cue.value: cue.confidence}
    usual = AXLE_COUNTS if axles else LAMP_COUNTS
    made_counts = [t.axles if axles else t.lamps for t in guide.tenders]
    domain = sorted({int(c) for c in (*usual, *said, *made_counts)})
    k = len(domain)
    columns = []
    for tender in guide.tenders:
        made = tender.axles if axles else tender.lamps
        rates = guide.rates.of("tender_lamps")
        lost, added = (0.0, 0.0) if axles else (rates.lost, rates.added)
        fewer, more = sum(c < made for c in domain), sum(c > made for c in domain)
        column = [lost / fewer if c < made else added / more if c > made else 0 for c in domain]
        column[domain.index(made)] = 1 - sum(column)
        columns.append(column)
    columns.append([1 / k] * k)
    add(cue.name, "tender", columns)
    rest = 1 - sum(said.values())
    sound = [said.get(str(c), 0.0) + rest / k for c in domain]
    observe(f"{cue.name} read", cue.name, [(1 - BLUNDER) * s + BLUNDER / k for s in sound])
