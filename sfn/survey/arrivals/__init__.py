"""Arrivals of several sites in one recording of I and Q."""
