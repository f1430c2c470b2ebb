"""Renders pictures of sampled engines in sampled rooms, with exact truth beside each."""
