"""Names of our own beside people's files."""

from __future__ import annotations

# What is kept between runs lies in this folder of the one that is worked on, a run's over an
# archive and a run's over listings side by side.
OWN_FOLDER = ".telltale"
