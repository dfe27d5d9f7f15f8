"""Sites as a table: out as CSV, GeoJSON and KML; in from CSV or XLSX, with what was understood row by row.

Nothing is applied by reading: the answer says of every row what it would do, and makes the document that would be
saved. A site that is new gets delay fields and chains like those of a site that is there, marked as assumed.
"""

import copy
import csv
import io
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from sfn.answer.standing import Placed, newly_placed
from sfn.errors import PlanError, Problem
from sfn.geodesy.cells import COLUMNS as PLACE_COLUMNS, UNITS as PLACE_UNITS, position_of
from sfn.geodesy.line import inverse
from sfn.geodesy.position import locate
from sfn.geodesy.sites import place
from sfn.plan import Network, Site
from sfn.plan.columns import LENGTHS, TIMES, Column, Known, columns_of, rows_under
from sfn.plan.rows import Row
from sfn.plan.sheets import SheetTable
from sfn.report.numbers import km
from sfn.report.vector import collection, point_feature

# What people call a column: the first name is ours. Case, blanks and the unit in brackets do not matter.
COLUMNS: dict[str, tuple[str, ...]] = {
    "id": ("id", "site id", "short name", "code"),
    "name": ("name", "site", "site name", "station"),
    **PLACE_COLUMNS,
    "ground_m": ("ground_m", "ground", "ground height", "site height", "elevation", "amsl"),
    "antenna_m": ("antenna_m", "antenna", "antenna height", "height above ground", "agl"),
    "erp_h_kw": ("erp_h_kw", "erp h", "erp horizontal"),
    "erp_v_kw": ("erp_v_kw", "erp v", "erp vertical"),
    "on_air": ("on_air", "on air", "active"),
    "offset_us": ("offset_us", "offset", "timing offset"),
    "remote": ("remote", "remote control"),
}
_UNITS: dict[str, dict[str, float]] = {
    **PLACE_UNITS,
    "ground_m": LENGTHS,
    "antenna_m": LENGTHS,
    "erp_h_kw": {"kw": 1.0, "w": 1e-3},
    "erp_v_kw": {"kw": 1.0, "w": 1e-3},
    "offset_us": TIMES,
}
_KNOWN = Known(COLUMNS, _UNITS)
# As in `sfn.plan.document`; an antenna at 0 m is refused there.
_RANGES = {
    "ground_m": (-500.0, 9000.0),
    "antenna_m": (0.0, 1000.0),
    "erp_h_kw": (0.0, 10_000.0),
    "erp_v_kw": (0.0, 10_000.0),
    "offset_us": (-1e6, 1e6),
}
_YES, _NO = ("yes", "y", "true", "1", "on", "x"), ("no", "n", "false", "0", "off")
MOST_SITES_N = 500  # as in `sfn.plan.document`
_PARTS_OF_A_PLACE = ("lat", "lon", "easting_m", "northing_m", "easting_ft", "northing_ft")
WRITTEN = tuple(name for name in COLUMNS if name not in _PARTS_OF_A_PLACE)
TEMPLATE = (
    "id,name,position,ground_m,antenna_m,erp_h_kw,erp_v_kw,on_air,offset_us\n"
    'north,North hill,"36.3500, -84.2500",620,45,1.0,1.0,yes,0\n'
)


@dataclass(frozen=True, slots=True)
class SiteRow:
    """One row: its line, the site it is about, what it would do, and what is wrong with it."""

    line: int
    id: str
    name: str
    does: str
    """``new``, ``changes``, ``nothing`` or ``refused``."""
    says: tuple[str, ...]
    problems: tuple[Problem, ...]
    doubts: tuple[Problem, ...] = ()
    """What is doubtful about where it would stand; it can be used all the same."""


@dataclass(frozen=True, slots=True)
class Understood:
    """A table of sites as it was understood."""

    source: str
    columns: tuple[Column, ...]
    rows: tuple[SiteRow, ...]
    document: dict[str, Any] = field(repr=False)
    """The network's document with every row that was not refused."""

    @property
    def changes_n(self) -> int:
        """Rows that would do something."""
        return sum(row.does in ("new", "changes") for row in self.rows)

    @property
    def refused_n(self) -> int:
        """Rows that cannot be used."""
        return sum(row.does == "refused" for row in self.rows)


def understood_sites(table: SheetTable, document: Mapping[str, Any], *, like: str = "") -> Understood:
    """What a table of sites would do to a network.

    Parameters
    ----------
    table : SheetTable
    document : mapping
        The network's document.
    like : str
        Site whose delay fields and chains new sites get; the first where empty.

    Raises
    ------
    PlanError
        If no column tells sites apart, or one is there twice.
    """
    columns = columns_of(table, _KNOWN)
    if not {"id", "name"} & {c.taken_for for c in columns}:
        where, titles = f"{table.source} line {table.head_line}", ", ".join(filter(None, table.head)) or "nothing"
        raise PlanError([Problem(where, f"has {titles}", "a column id or name, by which sites are known")])
    if like and all(site["id"] != like for site in document["sites"]):
        raise PlanError([Problem("like", f"there is no site {like!r}", "a site of the network")])
    made = copy.deepcopy(dict(document))
    rows, seen = [], set[str]()
    for given in rows_under(table, columns):
        row = _row(given, made, document, like, seen)
        rows.append(row)
        if row.does != "refused":
            seen.add(row.id)
    if len(made["sites"]) > MOST_SITES_N:
        what = f"would make {len(made['sites'])} sites of the network's {len(document['sites'])}"
        raise PlanError([Problem(table.source, what, f"{MOST_SITES_N} at most")])
    placed = newly_placed(made, before=document)
    return Understood(table.source, columns, tuple(_standing(row, placed) for row in rows), made)


def _standing(row: SiteRow, placed: Mapping[str, Placed]) -> SiteRow:
    """A row with where it puts its site, and what is doubtful about that."""
    at = placed.get(row.id)
    if at is None or row.does not in ("new", "changes"):
        return row
    return replace(row, says=(*row.says, at.words), doubts=at.doubts)


def sites_csv(network: Network) -> str:
    """Every site as a line that `understood_sites` reads again."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(WRITTEN)
    for site in network.sites:
        at = site.position
        power = (f"{site.erp_kw.h:.12g}", f"{site.erp_kw.v:.12g}")
        flags = ["yes" if flag else "no" for flag in (site.on_air, site.remote)]
        heights = (f"{site.ground_m:.12g}", f"{site.antenna_m:.12g}")
        writer.writerow(
            [site.id, site.name, at.typed, at.crs, *heights, *power, flags[0], f"{site.offset_us:.12g}", flags[1]]
        )
    return out.getvalue()


def sites_document(network: Network) -> dict[str, Any]:
    """Every site as GeoJSON, on WGS84."""
    placed = place(network)
    return collection(point_feature(placed[s.id].lon_deg, placed[s.id].lat_deg, _properties(s)) for s in network.sites)


def _properties(site: Site) -> dict[str, Any]:
    """What is told of a site."""
    return {
        "label": site.name,
        "id": site.id,
        "ground_m": site.ground_m,
        "antenna_m": site.antenna_m,
        "erp_h_kw": site.erp_kw.h,
        "erp_v_kw": site.erp_kw.v,
        "on_air": site.on_air,
        "offset_us": site.offset_us,
        "fed_off_air_from": site.fed_off_air_from,
    }


def _row(given: Row, made: dict[str, Any], before: Mapping[str, Any], like: str, seen: set[str]) -> SiteRow:
    """One row; what it changes is changed in `made`, once nothing speaks against it."""
    name, site_id = (given.text(key, empty=True) for key in ("name", "id"))
    line, problems = given.line, given.problems
    known = _known(before, site_id, name)
    values = _values(given)
    where = given.where()
    if not site_id and not name:
        problems.append(Problem(where, "names no site", "an id or a name"))
    if known:
        site_id = str(known[0]["id"])
    elif not site_id:
        site_id = _id_of(name)
    if site_id in seen:
        problems.append(Problem(where, f"site {site_id} stands in the table twice", "each site once"))
    lacking = [] if known else [k for k in ("position", "ground_m", "antenna_m", "erp_kw") if k not in values]
    if lacking and not problems:
        what = f"site {name or site_id} is new and has no {', '.join(lacking)}"
        problems.append(Problem(where, what, "what a new site needs"))
    if not known and not before["sites"]:
        problems.append(Problem(where, "there is no site yet to be like", "a first site, made in its form"))
    if problems:
        return SiteRow(line, site_id, name, "refused", (), tuple(problems))
    says = []
    if known:
        site = next(s for s in made["sites"] if s["id"] == site_id)
    else:
        pattern = next((s for s in before["sites"] if s["id"] == like), before["sites"][0])
        site = _like(made, pattern, site_id, name or site_id)
        says.append(f"delay fields and chains like those of {pattern.get('name') or pattern['id']}, assumed")
    if known and name and name != site.get("name"):
        values["name"] = name
    for key, value in values.items():
        old = site.get(key, False if key == "remote" else None)
        new_value = {**old, **value} if key == "erp_kw" and isinstance(old, dict) else value
        if not _alike(key, old, new_value):
            says.append(f"{key}: {_shown(old)} → {_shown(new_value)}" if known else f"{key}: {_shown(new_value)}")
            if known and key == "position":
                says.append(_moved(old, new_value))
            site[key] = new_value
    does = "changes" if known and says else "nothing" if known else "new"
    return SiteRow(line, site_id, str(site["name"]), does, tuple(says), ())


def _known(document: Mapping[str, Any], site_id: str, name: str) -> list[Mapping[str, Any]]:
    """The site that a row is about, if there is one: by id, else by name; capitals count only where two are alike."""
    key, given = ("id", site_id) if site_id else ("name", name)
    exact = [s for s in document["sites"] if given and s.get(key) == given]
    alike = [s for s in document["sites"] if given and str(s.get(key)).casefold() == given.casefold()]
    return exact or (alike if len(alike) == 1 else [])


def _moved(old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """How far a site moves: latitude and longitude the wrong way round show here."""
    try:
        was, now = locate(**old), locate(**new)
    except (PlanError, TypeError):
        return "how far that is cannot be told"
    far_m = float(inverse(was.lat_deg, was.lon_deg, now.lat_deg, now.lon_deg)[0])
    return f"it moves by {km(far_m, 1)}" if far_m >= 1000 else f"it moves by {far_m:.1f} m"


def _alike(key: str, old: Any, given: Any) -> bool:
    """Whether two values of a site mean the same: none in a plane is 0 kW, a place may be written in many ways."""
    if old == given:
        return True
    if key == "erp_kw" and isinstance(old, dict):
        return all((old.get(plane) or 0.0) == (given.get(plane) or 0.0) for plane in "hv")
    if key != "position" or not isinstance(old, dict) or old.get("crs", "EPSG:4326") != given["crs"]:
        return False
    try:
        was, now = locate(**old), locate(**given)
    except (PlanError, TypeError):
        return False
    return abs(was.lat_deg - now.lat_deg) < 1e-8 and abs(was.lon_deg - now.lon_deg) < 1e-8


def _like(document: dict[str, Any], pattern: Mapping[str, Any], site_id: str, name: str) -> dict[str, Any]:
    """A site added to a document: fields and chains of another; stages that only that one uses are copied."""
    site: dict[str, Any] = copy.deepcopy(dict(pattern))
    for key in ("antenna", "level_shift", "fed_off_air_from", "off_air", "lock"):
        site.pop(key, None)
    site |= {"id": site_id, "name": name, "offset_us": 0.0, "on_air": False, "erp_kw": {}}
    others = {n for s in document["sites"] if s["id"] != pattern["id"] for c in s["chains"] for n in c["stages"]}
    own = dict.fromkeys(n for chain in site["chains"] for n in chain["stages"] if n not in others)
    taken = {stage["id"] for stage in document["stages"]}
    renamed: dict[str, str] = {}
    for stage_id in own:
        stage = copy.deepcopy(next(stage for stage in document["stages"] if stage["id"] == stage_id))
        renamed[stage_id] = f"{site_id}-{stage_id}"[:60]
        while renamed[stage_id] in taken:
            renamed[stage_id] = f"{renamed[stage_id]}x"
        for key in ("date", "changed", "stream_plan"):
            stage.pop(key, None)
        note = f"copied from {pattern.get('name') or pattern['id']}"
        document["stages"].append(stage | {"id": renamed[stage_id], "source": "assumed", "note": note})
    for chain in site["chains"]:
        chain["stages"] = [renamed.get(n, n) for n in chain["stages"]]
    document["sites"].append(site)
    return site


def _values(row: Row) -> dict[str, Any]:
    """The cells as the document has them."""
    values = dict[str, Any]()

    def number(key: str) -> float | None:
        """A number in the document's unit; None where there is none."""
        least, greatest = _RANGES[key]
        unit = {"kw": "kW", "us": "us", "m": "m"}[next(iter(_UNITS[key]))]
        value = row.number(key, least=least, greatest=greatest, unit=unit, empty=True)
        return None if math.isnan(value) else round(value, 9) + 0.0

    for key in ("ground_m", "antenna_m", "offset_us"):
        if (value := number(key)) is not None:
            values[key] = value
    power = {plane: value for plane in "hv" if (value := number(f"erp_{plane}_kw")) is not None}
    if power:
        values["erp_kw"] = power
    for key in ("on_air", "remote"):
        text = row.text(key, empty=True)
        if text.lower() in _YES or text.lower() in _NO:
            values[key] = text.lower() in _YES
        elif text:
            row.no(key, f"cannot be {text!r}", "yes or no", code="not-yes-or-no")
    at = position_of(row)
    if at is not None:
        values["position"] = at[0]
    return values


def _id_of(name: str) -> str:
    """A short name out of a name for people."""
    plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in name.lower()).strip("-")
    return "-".join(filter(None, plain.split("-")))[:60] or "site"


def _shown(value: Any) -> str:
    """A value in words."""
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"{k} {_shown(v)}" for k, v in value.items())
    return f"{value:g}" if isinstance(value, int | float) else str(value)
