"""telltale: reads dating cues from photos of model steam locomotives."""

__version__ = "0.1.0"
