"""Every URL of the road page; `webapp.addresses` has them with all others."""

from collections.abc import Sequence
from urllib.parse import quote, urlencode


def road(network_id: int, job_id: str = "", tries: Sequence[tuple[str, str]] = ()) -> str:
    """Reception along a road; with what is tried, of a line that was sent."""
    query = urlencode([*([("job", job_id)] if job_id else []), *tries])
    return f"/networks/{network_id}/road" + (f"?{query}" if query else "")


def road_upload(network_id: int) -> str:
    """Takes a line, and a log of levels."""
    return f"{road(network_id)}/upload"


def road_again(network_id: int) -> str:
    """Computes levels along a line that was sent before, as the network is now."""
    return f"{road(network_id)}/again"


def road_file(network_id: int, job_id: str, form: str, tries: Sequence[tuple[str, str]] = ()) -> str:
    """The road as a table, as lines, or as a chart."""
    query = urlencode([*tries])
    return f"{road(network_id)}/{quote(job_id, safe='')}/road.{form}" + (f"?{query}" if query else "")
