"""One item, whole: its photos, a guide, and what a person said, to an answer."""

from vision.pipeline.item import Eye, NetworkEye, date_item, load_eye
from vision.pipeline.views import fuse_views
from vision.pipeline.witnesses import witnesses

__all__ = [
    "ENGINE_WIDTH_PX",
    "Eye",
    "NetworkEye",
    "date_item",
    "fuse_views",
    "load_eye",
    "witnesses",
]
