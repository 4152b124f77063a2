"""A virtual instrument on a given ground: its physics, its protocols, and the ports it is played on."""
