"""Addresses of the search for offsets, of the sliders and of what counts; `webapp.addresses` gives them on."""

from urllib.parse import quote, urlencode


def offsets(network_id: int, job_id: str = "") -> str:
    """The search for offsets; with a job's id, what that job found."""
    return f"/networks/{network_id}/offsets" + (f"?{urlencode({'found': job_id})}" if job_id else "")


def find_offsets(network_id: int) -> str:
    """Starts the search."""
    return f"/networks/{network_id}/offsets/find"


def accept_offsets(network_id: int) -> str:
    """Saves offsets, found or set by hand."""
    return f"/networks/{network_id}/offsets/accept"


def offset_weights(network_id: int) -> str:
    """Saves what counts more or less when offsets are chosen."""
    return f"/networks/{network_id}/offsets/weights"


def offsets_part(network_id: int, key: str) -> str:
    """Where the sliders find numbers, curves, maps of two offsets, gains and losses."""
    return f"/networks/{network_id}/offsets/{quote(key, safe='')}"
