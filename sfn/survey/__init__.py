"""Measurements: recordings, delays on air, and what they say about the sites' launch times."""
