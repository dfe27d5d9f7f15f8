"""Broadcast systems: what each mode tolerates, and what a list of signals gives in it."""
