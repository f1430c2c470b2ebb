"""A folder of photos: looked at once, dated, tagged with sidecars, searched."""

from vision.archive.groups import By
from vision.archive.index import EngineRow, Index
from vision.archive.order import Order, Summary, Watcher, index_path
from vision.archive.run import tag_archive
from vision.archive.undo import Undone, undo_archive

__all__ = [
    "By",
    "EngineRow",
    "Index",
    "Order",
    "Summary",
    "Undone",
    "Watcher",
    "index_path",
    "tag_archive",
    "undo_archive",
]
