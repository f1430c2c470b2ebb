"""What a collection holds, lacks and should have seen to, against a guide."""

from vision.shelf.lists import Want, is_of_guide, read_wants, wants_of, wants_text, work_text
from vision.shelf.page import stock_page
from vision.shelf.stock import take_stock
from vision.shelf.text import stock_text
from vision.shelf.values import Doubt, Holding, ShelfEngine, Status, Stock, Work

__all__ = [
    "Doubt",
    "Holding",
    "ShelfEngine",
    "Status",
    "Stock",
    "Want",
    "Work",
    "is_of_guide",
    "read_wants",
    "stock_page",
    "stock_text",
    "take_stock",
    "wants_of",
    "wants_text",
    "work_text",
]
