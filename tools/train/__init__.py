"""Trains the three kinds of network from rendered pictures; torch lives only under tools."""
