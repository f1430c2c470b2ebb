"""A collector's variation guide: read, check, write. Knows nothing of pixels."""

from vision.guide.apart import Pair, confusable, pairs
from vision.guide.build import base_tender, build_guide
from vision.guide.check import check_guide
from vision.guide.read import (
    EXAMPLE_GUIDE,
    builtin_names,
    builtin_text,
    guide_text,
    load_guide,
    read_text,
    starter_text,
)
from vision.guide.trade import GAUGES, find_gauge, gauge_objections
from vision.guide.values import (
    Finding,
    Guide,
    HandsOnCheck,
    PartRates,
    Rates,
    Tender,
    Variation,
)
from vision.guide.whyte import driving_axles, names_tank_engine, whyte_to_uic
from vision.guide.years import covered_years, write_years, year_bounds, years_of

__all__ = [
    "EXAMPLE_GUIDE",
    "GAUGES",
    "Finding",
    "Guide",
    "HandsOnCheck",
    "Pair",
    "PartRates",
    "Rates",
    "Tender",
    "Variation",
    "base_tender",
    "build_guide",
    "builtin_names",
    "builtin_text",
    "check_guide",
    "confusable",
    "covered_years",
    "driving_axles",
    "find_gauge",
    "gauge_objections",
    "guide_text",
    "load_guide",
    "names_tank_engine",
    "pairs",
    "read_text",
    "starter_text",
    "whyte_to_uic",
    "write_years",
    "year_bounds",
    "years_of",
]
