"""Everything a person sees in a terminal: the command line and the full-screen app."""
