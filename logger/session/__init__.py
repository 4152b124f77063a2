"""The session file: append-only events, each carrying the digest of the one before."""
