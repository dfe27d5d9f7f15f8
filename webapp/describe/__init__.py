"""Describe: sites, chains, antennas, terrain, people, relays, revisions."""
