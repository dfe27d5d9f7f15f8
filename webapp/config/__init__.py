"""What is set before anything runs: settings, limits, addresses."""
