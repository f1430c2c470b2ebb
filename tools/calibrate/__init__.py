"""Fits `models/fusion.json` on looks at pictures that training did not see."""
