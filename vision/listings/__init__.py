"""Sellers' claims against what their photos show."""

from vision.listings.fetch import Fetcher
from vision.listings.markup import listings_page
from vision.listings.ranking import Weights
from vision.listings.run import Brief, Ranked, judge_listings
from vision.listings.sheet import sheet

__all__ = ["Brief", "Fetcher", "Ranked", "Weights", "judge_listings", "listings_page", "sheet"]
