"""From nothing to models and looks within a stated time: `python -m tools.produce`."""
