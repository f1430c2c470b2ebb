"""A table of the trade, nominal gauges, and what a suffix marks.

NEM 010 (MOROP, edition 2011) and NMRA S-1 where it differs; the scale of 7 mm to the
foot is the one NEM 010 mentions in its note 3.4. The NMRA figures are from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vision.guide.build import base_tender
from vision.guide.values import Tender


@dataclass(frozen=True, slots=True)
class NominalGauge:
    """One nominal size: track gauges in mm and scales 1:n, each as (source, figure)."""

    names: tuple[str, ...]
    track_mm: tuple[tuple[str, float], ...]
    scales: tuple[tuple[str, float], ...]


GAUGES = (
    NominalGauge(("Z",), (("NEM 010", 6.5),), (("NEM 010", 220.0),)),
    NominalGauge(("N",), (("NEM 010", 9.0),), (("NEM 010", 160.0), ("British", 148.0))),
    NominalGauge(("TT",), (("NEM 010", 12.0),), (("NEM 010", 120.0),)),
    NominalGauge(("H0", "HO"), (("NEM 010", 16.5),), (("NEM 010", 87.0), ("NMRA S-1", 87.1))),
    NominalGauge(("S",), (("NEM 010", 22.5), ("NMRA S-1", 22.45)), (("NEM 010", 64.0),)),
    NominalGauge(
        ("0", "O"),
        (("NEM 010", 32.0), ("NMRA S-1", 31.75)),
        (("NEM 010", 45.0), ("7 mm to the foot", 43.5), ("NMRA S-1", 48.0)),
    ),
    NominalGauge(
        ("1", "I"), (("NEM 010", 45.0),), (("NEM 010", 32.0), ("10 mm to the foot", 30.5))
    ),
    NominalGauge(("2", "II"), (("NEM 010", 64.0),), (("NEM 010", 22.5),)),
    NominalGauge(("3", "III"), (("NEM 010", 89.0),), (("NEM 010", 16.0),)),
)

# Half a millimetre: what a rule on tinplate track can tell. Chosen.
TRACK_TOLERANCE_MM = 0.5
# Half a unit in the last place that scales are commonly written with (43.5, 87.1).
SCALE_TOLERANCE = 0.5


def find_gauge(name: str) -> NominalGauge | None:
    """Return the nominal size called `name` ("0", "O", "I" ...), or None."""
    return next((gauge for gauge in GAUGES if name.strip().upper() in gauge.names), None)


def gauge_objections(name: str, gauge_mm: float, scale: float) -> tuple[str, ...]:
    """Say what does not fit between a gauge's name, its track and its scale.

    Returns
    -------
    tuple of str
        Empty where all fit, or where the name is in no table.

    Examples
    --------
    >>> gauge_objections("0", 32.0, 45.0)
    ()
    >>> gauge_objections("1", 32.0, 32.0)
    ('gauge 1 is 45 mm (NEM 010) between the rails, not 32 mm',)
    """
    gauge = find_gauge(name)
    if gauge is None:
        return ()
    objections = []
    if all(abs(figure - gauge_mm) > TRACK_TOLERANCE_MM for _, figure in gauge.track_mm):
        known = " or ".join(f"{figure:g} mm ({source})" for source, figure in gauge.track_mm)
        objections.append(f"gauge {name} is {known} between the rails, not {gauge_mm:g} mm")
    if all(abs(figure - scale) > SCALE_TOLERANCE for _, figure in gauge.scales):
        known = " or ".join(f"1:{figure:g} ({source})" for source, figure in gauge.scales)
        objections.append(f"gauge {name} is built to {known}, not 1:{scale:g}")
    return tuple(objections)


def suffix_objections(tenders: Sequence[Tender]) -> list[tuple[int, str]]:
    """Tenders whose suffix marks more than lettering: place in the guide, and what is odd.

    A dash number or suffix marks lettering alone (common practice, no source).
    """
    found = []
    for index, tender in enumerate(tenders):
        others = {other.id: other for other in tenders if other.id != tender.id}
        plain = others.get(base_tender(tender.id, others) or "")
        if plain and (plain.axles, plain.lamps) != (tender.axles, tender.lamps):
            objection = (
                f'tender "{tender.id}": a suffix marks lettering alone, but its axles and lamps '
                f'are not those of "{plain.id}"'
            )
            found.append((index, objection))
    return found
