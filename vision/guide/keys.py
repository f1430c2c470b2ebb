"""What may stand in a guide: the keys of each of its tables, and the kind of each."""

from __future__ import annotations

from vision.records import BINARY_CUES, LETTERING

TOP_REQUIRED = {"title": str, "gauge": str, "gauge_mm": float, "scale": float, "wheels": str}
TOP_OPTIONAL = {"maker": str, "version": str, "lever_at": float}
TABLES = ("rates", "tender", "variation", "check")
TENDER_KEYS = {"id": str, "axles": int, "lamps": int, "lettering": bool, "text": str}
CHECK_KEYS = {
    "id": str,
    "question": str,
    "instruction": str,
    "caution": str,
    "lost": float,
    "added": float,
}
VARIATION_KEYS = {"id": str, "years": str, "edge_stripe_colour": str, "output": float, "text": str}
RATES = ("other", "reproduction", "tender_swapped", "number_changed", "recoloured")
RATED_PARTS = (*BINARY_CUES, "tender_lamps", LETTERING)
# What the answer itself uses as a name, so that nothing in a guide may.
RESERVED = ("other",)
