"""The demo's invented site: its ground, instrument, brief and the walk that is played on them."""
