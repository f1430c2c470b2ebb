"""An answer as JSON, terminal text, an annotated picture, or one HTML page."""

from vision.report.markup import answer_html
from vision.report.overlay import draw_overlay
from vision.report.record import answer_json
from vision.report.terminal import caution_text, terminal_text
from vision.report.words import suggests_touching

__all__ = [
    "answer_html",
    "answer_json",
    "caution_text",
    "draw_overlay",
    "suggests_touching",
    "terminal_text",
]
