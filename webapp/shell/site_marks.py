"""Sites as the maps' scripts draw them."""

from typing import Any

from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.report.colours import site_colours


def site_marks(network: Network) -> list[dict[str, Any]]:
    """Every site with its place, its offset and its colour.

    Raises
    ------
    PlanError
        If a position cannot be read.
    """
    placed, colours, heard = place(network), site_colours(len(network.sites)), network.transmitting
    return [
        {
            "id": site.id,
            "name": site.name,
            "lat": placed[site.id].lat_deg,
            "lon": placed[site.id].lon_deg,
            "on_air": site.id in heard,
            "offset_us": site.offset_us,
            "colour": colours[i],
        }
        for i, site in enumerate(network.sites)
    ]
