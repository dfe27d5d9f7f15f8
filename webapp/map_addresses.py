"""Every URL of the overlap map, its people and its points; `webapp.addresses` has them with all others."""

from collections.abc import Sequence
from urllib.parse import quote, urlencode


def zones(
    network_id: int,
    *,
    bounds: str = "",
    pixel_m: str = "",
    streets: bool = False,
    layer: str = "",
    tries: Sequence[tuple[str, str]] = (),
) -> str:
    """The overlap map, of the usual area or a given one; `tries` as `webapp.tries.query_of` gives them."""
    asked = {"bounds": bounds, "pixel_m": pixel_m, "streets": "true" if streets else "", "layer": layer}
    query = urlencode([*((key, value) for key, value in asked.items() if value), *tries])
    return f"/networks/{network_id}/map" + (f"?{query}" if query else "")


def map_levels(network_id: int, query: str = "") -> str:
    """Starts computing the levels of a map; `query` says what is tried on it."""
    return f"/networks/{network_id}/map/levels" + (f"?{query}" if query else "")


def map_part(network_id: int, key: str) -> str:
    """Where the map's script finds layers, legends, lines and the summary of one coverage."""
    return f"/networks/{network_id}/map/{quote(key, safe='')}"


def keep_offsets(network_id: int) -> str:
    """Saves the offsets that were tried."""
    return f"/networks/{network_id}/map/keep"


def contours(network_id: int, key: str) -> str:
    """Contours at a field strength over a map's levels."""
    return f"{map_part(network_id, key)}/contours"


def licence(network_id: int, key: str) -> str:
    """Takes a licence's contour and says what reaches out of it."""
    return f"{map_part(network_id, key)}/licence/upload"


def layer_file(network_id: int, key: str, name: str, form: str, query: str = "") -> str:
    """A layer as a file; `query` says what is tried."""
    return f"{map_part(network_id, key)}/file/{quote(name, safe='')}.{form}" + (f"?{query}" if query else "")


def layer_lines(network_id: int, key: str, name: str, form: str, query: str = "") -> str:
    """The lines of a layer as a file."""
    return f"{map_part(network_id, key)}/lines/{quote(name, safe='')}.{form}" + (f"?{query}" if query else "")


def wavefronts(network_id: int, key: str, form: str, query: str = "") -> str:
    """The wavefronts of all pairs as a file."""
    return f"{map_part(network_id, key)}/wavefronts.{form}" + (f"?{query}" if query else "")


def map_files(network_id: int, key: str, query: str = "") -> str:
    """All of them in one archive."""
    return f"{map_part(network_id, key)}/files.zip" + (f"?{query}" if query else "")


def map_layer(network_id: int, key: str, name: str, clocks: Sequence[str] = ()) -> str:
    """A layer of a map as a picture, with clock errors tried."""
    query = f"?{urlencode([('clock', one) for one in clocks])}" if clocks else ""
    return f"{map_part(network_id, key)}/layer/{quote(name, safe='')}.png{query}"


def map_legend(network_id: int, key: str, name: str) -> str:
    """What that layer's colours mean."""
    return f"{map_part(network_id, key)}/legend/{quote(name, safe='')}.svg"


def point(network_id: int, at: str = "", rx_height_m: str = "", tries: Sequence[tuple[str, str]] = ()) -> str:
    """Every signal at one receiving point; `tries` as `webapp.tries.query_of` gives them."""
    asked = {"at": at, "rx_height_m": rx_height_m}
    query = urlencode([*((key, value) for key, value in asked.items() if value), *tries])
    return f"/networks/{network_id}/point" + (f"?{query}" if query else "")


def hear(network_id: int, tries: Sequence[tuple[str, str]] = ()) -> str:
    """Starts playing a programme as it is heard at a point."""
    return f"/networks/{network_id}/point/hear/upload?{urlencode([*tries])}"


def heard(network_id: int, job_id: str, sound: str = "") -> str:
    """What a programme sounds like at a point: the page, or one of its two sounds."""
    page = f"/networks/{network_id}/point/hear/{quote(job_id, safe='')}"
    return f"{page}/{sound}.wav" if sound else page


def point_part(network_id: int) -> str:
    """The same for the map's side: a piece of a page."""
    return f"/networks/{network_id}/point/part"


def point_direct(
    network_id: int, lat_deg: float, lon_deg: float, rx_height_m: str = "", tries: Sequence[tuple[str, str]] = ()
) -> str:
    """FM: the direct simulation at a point."""
    asked = [("lat", f"{lat_deg:.7f}"), ("lon", f"{lon_deg:.7f}"), ("rx_height_m", rx_height_m), *tries]
    return f"/networks/{network_id}/point/direct?{urlencode(asked)}"


def others(network_id: int) -> str:
    """Transmitters of other programmes."""
    return f"/networks/{network_id}/others"


def others_upload(network_id: int) -> str:
    """Takes a table of them into the form."""
    return f"/networks/{network_id}/others/upload"


def people(network_id: int, file: str = "") -> str:
    """Who is counted; with a file's name, what that file holds."""
    return f"/networks/{network_id}/people" + (f"?{urlencode({'file': file})}" if file else "")


def people_upload(network_id: int) -> str:
    """Takes a file of people."""
    return f"/networks/{network_id}/people/upload"
