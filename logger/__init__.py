"""Readings to a session, a profile, steps, set-out, quantities and the as-built check: knows no terminal."""
