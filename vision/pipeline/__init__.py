"""One item, whole: its photos, a guide, and what a person said, to an answer."""

from vision.pipeline.item import (
    Eye,
    LoadTold,
    NetworkEye,
    Seen,
    date_item,
    date_seen,
    load_eye,
    told,
)
from vision.pipeline.views import fuse_views
from vision.pipeline.witnesses import witnesses

__all__ = [
    "Eye",
    "LoadTold",
    "NetworkEye",
    "Seen",
    "date_item",
    "date_seen",
    "fuse_views",
    "load_eye",
    "told",
    "witnesses",
]
