"""A position in the cells of a table: in one, or latitude and longitude in two."""

from sfn.errors import PlanError
from sfn.geodesy.position import Located, locate
from sfn.plan.rows import Row


def position_of(row: Row) -> tuple[dict[str, str], Located] | None:
    """A position as the document has it, and where it is; None where there is none, or a problem was noted."""
    lat, lon, text = (row.text(key, empty=True) for key in ("lat", "lon", "position"))
    crs = row.text("crs", empty=True) or "EPSG:4326"
    crs = f"EPSG:{crs}" if crs.isdigit() else crs
    if not text and lat and lon:
        text = f"{lat.replace(',', '.')}, {lon.replace(',', '.')}"
    elif not text and (lat or lon):
        row.no(None, "has one of lat and lon", "both, or a position")
    if not text:
        return None
    try:
        return {"text": text, "crs": crs}, locate(text=text, crs=crs, where=row.where())
    except PlanError as error:
        row.problems.extend(error.problems)
        return None
