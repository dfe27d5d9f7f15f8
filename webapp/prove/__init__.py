"""Prove: measurements, recordings, drive tests, the timeline, how old and how sure every figure is."""
