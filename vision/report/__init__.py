"""An answer as JSON, terminal text, an annotated picture, or one HTML page."""

from vision.report.markup import answer_html
from vision.report.overlay import draw_overlay
from vision.report.record import answer_json
from vision.report.terminal import terminal_text

__all__ = ["answer_html", "answer_json", "draw_overlay", "terminal_text"]
