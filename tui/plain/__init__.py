"""The walk without a screen: one full line an event, the important word first, for screen readers, speech and logs."""
