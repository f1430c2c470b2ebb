"""An answer as JSON, terminal text, an annotated picture, or one HTML page."""

from vision.report.guide_html import guide_page
from vision.report.guide_rows import hard_pairs
from vision.report.guide_terminal import guide_text
from vision.report.markup import answer_html
from vision.report.overlay import draw_overlay
from vision.report.record import answer_json
from vision.report.terminal import caution_text, terminal_text
from vision.report.words import suggests_touching
from vision.report.worth import sight_text, worth_text

__all__ = [
    "answer_html",
    "answer_json",
    "caution_text",
    "draw_overlay",
    "guide_page",
    "guide_text",
    "hard_pairs",
    "sight_text",
    "suggests_touching",
    "terminal_text",
    "worth_text",
]
