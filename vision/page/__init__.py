"""The page that a phone opens: a small server on the laptop, and what it serves.

Photos are read in memory and forgotten with the answer. Needs the extra `page`.
"""

from vision.page.app import build_app
from vision.page.door import Door
from vision.page.keep import Keeper
from vision.page.limits import PageLimits
from vision.page.serve import Addresses, find_lan_address, listen, serve

__all__ = [
    "Addresses",
    "Door",
    "Keeper",
    "PageLimits",
    "build_app",
    "find_lan_address",
    "listen",
    "serve",
]
