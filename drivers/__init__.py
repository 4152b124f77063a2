"""Instrument bytes to readings: knows nothing of stations, sessions or steps."""
