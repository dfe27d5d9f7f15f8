"""Masts where a transmitter might stand, out of a table that somebody brings.

`sfn.answer.site_files` reads the file.
"""

import math
from collections.abc import Mapping

from sfn.errors import PlanError, Problem, at_most
from sfn.geodesy.cells import COLUMNS as PLACE_COLUMNS, UNITS as PLACE_UNITS, position_of
from sfn.geodesy.position import Located
from sfn.plan import Network, Power, Site
from sfn.plan.columns import LENGTHS, TIMES, Known, columns_of, rows_under
from sfn.plan.rows import Row
from sfn.plan.sheets import SheetTable
from sfn.report.numbers import number
from sfn.study.mast import Mast, neighbour
from sfn.terrain.ground import Ground, ground_at

# What people call a column: the first name is ours.
COLUMNS: dict[str, tuple[str, ...]] = {
    "name": ("name", "site", "site name", "mast", "station", "id", "site id"),
    **PLACE_COLUMNS,
    "ground_m": ("ground_m", "ground", "ground height", "site height", "elevation", "amsl"),
    "antenna_m": ("antenna_m", "antenna", "antenna height", "height above ground", "agl"),
    "erp_kw": ("erp_kw", "erp"),
    "erp_h_kw": ("erp_h_kw", "erp h", "erp horizontal"),
    "erp_v_kw": ("erp_v_kw", "erp v", "erp vertical"),
    "pattern": ("pattern", "antenna pattern"),
    "azimuth_deg": ("azimuth_deg", "azimuth", "bearing"),
    "feed_us": ("feed_us", "feed", "feed latency", "latency"),
}
_KILOWATTS = {"kw": 1.0, "w": 1e-3}
_UNITS: dict[str, Mapping[str, float]] = {
    **PLACE_UNITS,
    "ground_m": LENGTHS,
    "antenna_m": LENGTHS,
    "erp_kw": _KILOWATTS,
    "erp_h_kw": _KILOWATTS,
    "erp_v_kw": _KILOWATTS,
    "azimuth_deg": {"deg": 1.0, "degrees": 1.0, "\u00b0": 1.0},
    "feed_us": TIMES,
}
_KNOWN = Known(COLUMNS, _UNITS)
# As a document has them, and in words: least, greatest, unit.
RANGES = {
    "ground_m": (-500.0, 9000.0, "m"),
    "antenna_m": (1.0, 1000.0, "m"),
    "erp_kw": (1e-6, 10_000.0, "kW"),
    "erp_h_kw": (0.0, 10_000.0, "kW"),
    "erp_v_kw": (0.0, 10_000.0, "kW"),
    "azimuth_deg": (-180.0, 360.0, "degrees"),
    "feed_us": (0.0, 60_000_000.0, "us"),
}
MOST_MASTS_N = 100
TEMPLATE = 'name,position,antenna_m,erp_kw,pattern,azimuth_deg,feed_us\nOld quarry,"36.3010, -84.2400",30,0.1,,,\n'


def masts_of(
    table: SheetTable,
    network: Network,
    *,
    placed: Mapping[str, Located],
    ground: Ground,
    antenna_m: float | None = None,
    erp_kw: float | None = None,
    like: str = "",
) -> tuple[Mast, ...]:
    """Every mast of a table.

    Parameters
    ----------
    table : SheetTable
    network : Network
    placed : mapping of site id to Located
    ground : Ground
        Gives the ground's height where no cell does.
    antenna_m, erp_kw : float, optional
        Of masts without cells of their own; the e.r.p. is of the stronger plane. [m, kW]
    like : str
        As in `sfn.study.placing_found.AskedPlacing`: how an e.r.p. is shared between the planes.

    Raises
    ------
    PlanError
        With every cell that cannot be used or is lacking.
    """
    columns = columns_of(table, _KNOWN)
    if len(table.lines) > MOST_MASTS_N:
        what = f"has {len(table.lines)} masts"
        raise PlanError([Problem(table.source, what, f"{MOST_MASTS_N} at most", code="too-many-masts")])
    made, problems = [], []
    for row in rows_under(table, columns, _KNOWN):
        if not any(row.cells.values()):
            continue
        mast = _mast(row, network, placed, ground, antenna_m, erp_kw, like)
        problems += row.problems
        if mast is not None:
            made.append(mast)
    if problems:
        raise PlanError(at_most(problems, source=table.source))
    return tuple(made)


def _mast(
    row: Row,
    network: Network,
    placed: Mapping[str, Located],
    ground: Ground,
    antenna_m: float | None,
    erp_kw: float | None,
    like: str,
) -> Mast | None:
    """One line; None, with a problem noted, where it cannot be used."""
    name, before = row.text("name"), len(row.problems)
    at = position_of(row)
    if at is None and len(row.problems) == before:
        row.no("position", "is lacking", "where the mast stands", code="position-missing")
    given = {key: _number(row, key) for key in RANGES}
    given["antenna_m"] = antenna_m if given["antenna_m"] is None else given["antenna_m"]
    if given["antenna_m"] is None and not row.cells.get("antenna_m"):
        row.no("antenna_m", f"{name or 'it'} has no height of its antenna", "a height, here or for all of them",
               code="antenna-height-missing")  # fmt: skip
    pattern = row.text("pattern", empty=True)
    if pattern and pattern != "-":
        known = [site.id for site in network.sites if pattern in (site.id, site.name)]
        if len(known) != 1:
            row.no("pattern", f"{pattern!r} is no site of the network", "one whose pattern it has, or -",
                   code="pattern-unknown")  # fmt: skip
        pattern = known[0] if known else pattern
    if given["azimuth_deg"] is not None and pattern in ("", "-"):
        row.no("azimuth_deg", "does nothing without a pattern", "the pattern that points there", code="option-idle")
    both = given["erp_h_kw"] is not None or given["erp_v_kw"] is not None
    kw = erp_kw if given["erp_kw"] is None else given["erp_kw"]
    if both and given["erp_kw"] is not None:
        row.no("erp_kw", "stands beside e.r.p. of each plane", "one of the two", code="erp-twice")
    if not both and kw is None and not row.cells.get("erp_kw"):
        row.no("erp_kw", f"{name or 'it'} has no e.r.p.", "an e.r.p., here or for all of them", code="erp-missing")
    if both and not max(given["erp_h_kw"] or 0.0, given["erp_v_kw"] or 0.0) > 0.0:
        row.no("erp_h_kw", "nothing is radiated", "an e.r.p. above 0 in one plane", code="out-of-range")
    if at is None or len(row.problems) > before:
        return None
    beside = neighbour(network, placed, at[1].lat_deg, at[1].lon_deg, like)
    power = Power(h=given["erp_h_kw"] or 0.0, v=given["erp_v_kw"] or 0.0) if both else power_like(kw or 0.0, beside)
    said = [doubt.what for doubt in at[1].doubts] + ([] if both else [shared_says(beside)])
    ground_m = given["ground_m"]
    if ground_m is None:
        ground_m = ground_at(ground, at[1].lat_deg, at[1].lon_deg)
        if ground_m is None:
            row.no("ground_m", f"{name} has no height of its ground, and the terrain has none there", "a height",
                   code="ground-height-missing")  # fmt: skip
            return None
        said.append(f"its ground of {number(ground_m, 0)} m is the terrain's")
    antenna = given["antenna_m"]
    assert antenna is not None
    return Mast(
        name, at[0], at[1], ground_m, antenna, power, pattern, given["azimuth_deg"], given["feed_us"], tuple(said)
    )


def _number(row: Row, key: str) -> float | None:
    """A cell's number; None where there is none."""
    least, greatest, unit = RANGES[key]
    value = row.number(key, least=least, greatest=greatest, unit=unit, empty=True)
    return None if math.isnan(value) else value


def power_like(erp_kw: float, site: Site) -> Power:
    """An e.r.p. of the stronger plane, shared between the planes as another site's is."""
    most_kw = max(site.erp_kw.h, site.erp_kw.v)
    if not most_kw > 0.0:
        return Power(h=erp_kw)
    return Power(**{plane: float(f"{erp_kw * getattr(site.erp_kw, plane) / most_kw:.12g}") for plane in "hv"})


def shared_says(site: Site) -> str:
    """How an e.r.p. is shared, in words."""
    return f"its e.r.p. is that of the stronger plane, shared between the planes as that of {site.name} is"
