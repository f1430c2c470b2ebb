"""A folder of photos: looked at once, dated, tagged with sidecars, searched."""

from vision.archive.groups import By
from vision.archive.guides import Choice, choose_guide, place_of
from vision.archive.index import EngineRow, Index
from vision.archive.order import Order, Summary, Watcher, index_path
from vision.archive.run import tag_archive
from vision.archive.undo import Undone, undo_archive

__all__ = [
    "By",
    "Choice",
    "EngineRow",
    "Index",
    "Order",
    "Summary",
    "Undone",
    "Watcher",
    "choose_guide",
    "index_path",
    "place_of",
    "tag_archive",
    "undo_archive",
]
