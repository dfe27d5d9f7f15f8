"""Sites as a table: out as CSV, GeoJSON and KML; in from CSV or XLSX, with what was understood row by row.

Nothing is applied by reading: the answer says of every row what it would do, and makes the document that would be
saved. A site that is new gets delay fields and chains like those of a site that is there, marked as assumed.
"""

import copy
import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import locate
from sfn.geodesy.sites import place
from sfn.plan import Network, Site
from sfn.plan.sheets import SheetTable
from sfn.report.vector import collection, point_feature

FOOT_M = 0.3048
# What people call a column: the first name is ours. Case, blanks and the unit in brackets do not matter.
COLUMNS: dict[str, tuple[str, ...]] = {
    "id": ("id", "site id", "short name", "code"),
    "name": ("name", "site", "site name", "station"),
    "position": ("position", "coordinates", "location"),
    "lat": ("lat", "latitude", "lat deg"),
    "lon": ("lon", "long", "longitude", "lng", "lon deg"),
    "crs": ("crs", "datum", "epsg"),
    "ground_m": ("ground_m", "ground", "ground height", "site height", "elevation", "amsl"),
    "antenna_m": ("antenna_m", "antenna", "antenna height", "height above ground", "agl"),
    "erp_h_kw": ("erp_h_kw", "erp h", "erp horizontal"),
    "erp_v_kw": ("erp_v_kw", "erp v", "erp vertical"),
    "on_air": ("on_air", "on air", "active"),
    "offset_us": ("offset_us", "offset", "timing offset"),
    "remote": ("remote", "remote control"),
}
_UNITS: dict[str, dict[str, float]] = {
    "ground_m": {"m": 1.0, "ft": FOOT_M, "feet": FOOT_M},
    "antenna_m": {"m": 1.0, "ft": FOOT_M, "feet": FOOT_M},
    "erp_h_kw": {"kw": 1.0, "w": 1e-3},
    "erp_v_kw": {"kw": 1.0, "w": 1e-3},
    "offset_us": {"us": 1.0, "\u00b5s": 1.0, "\u03bcs": 1.0, "ms": 1000.0, "ns": 1e-3},
}
_YES, _NO = ("yes", "y", "true", "1", "on", "x"), ("no", "n", "false", "0", "off")
WRITTEN = tuple(name for name in COLUMNS if name not in ("lat", "lon"))
TEMPLATE = (
    "id,name,position,ground_m,antenna_m,erp_h_kw,erp_v_kw,on_air,offset_us\n"
    'north,North hill,"36.3500, -84.2500",620,45,1.0,1.0,yes,0\n'
)


@dataclass(frozen=True, slots=True)
class Column:
    """One column: as it is called in the file, what it was taken for (empty: nothing), and the unit read into it."""

    title: str
    taken_for: str
    unit: str


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line, the site it is about, what it would do, and what is wrong with it."""

    line: int
    id: str
    name: str
    does: str
    """``new``, ``changes``, ``nothing`` or ``refused``."""
    says: tuple[str, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Understood:
    """A table of sites as it was understood."""

    source: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
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
    columns = tuple(_column(title) for title in table.head)
    taken = [c.taken_for for c in columns if c.taken_for]
    twice = sorted({name for name in taken if taken.count(name) > 1})
    where = f"{table.source} line 1"
    if twice:
        raise PlanError([Problem(where, f"two columns are taken for {', '.join(twice)}", "each once")])
    if "id" not in taken and "name" not in taken:
        titles = ", ".join(filter(None, table.head)) or "nothing"
        raise PlanError([Problem(where, f"has {titles}", "a column id or name, by which sites are known")])
    if like and all(site["id"] != like for site in document["sites"]):
        raise PlanError([Problem("like", f"there is no site {like!r}", "a site of the network")])
    made = copy.deepcopy(dict(document))
    rows = []
    for line, cells in table.lines:
        row, made = _row(table, line, cells, columns, made, document, like)
        rows.append(row)
    return Understood(table.source, columns, tuple(rows), made)


def sites_csv(network: Network) -> str:
    """Every site as a line that `understood_sites` reads again."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(WRITTEN)
    for site in network.sites:
        at = site.position
        text = at.text if at.text is not None else f"{at.easting_m:.12g} {at.northing_m:.12g}"
        power = (f"{site.erp_kw.h:.12g}", f"{site.erp_kw.v:.12g}")
        flags = ["yes" if flag else "no" for flag in (site.on_air, site.remote)]
        heights = (f"{site.ground_m:.12g}", f"{site.antenna_m:.12g}")
        writer.writerow(
            [site.id, site.name, text, at.crs, *heights, *power, flags[0], f"{site.offset_us:.12g}", flags[1]]
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


def _column(title: str) -> Column:
    """What a column is taken for, and its unit: ``antenna height (ft)``, ``erp_h_w``."""
    plain = " ".join(title.lower().replace("_", " ").replace(".", " ").split())
    name, _, unit = plain.partition("(") if "(" in plain else plain.partition("[")
    name, unit = name.strip(), unit.strip(" )]")
    for key, names in COLUMNS.items():
        known = {one.replace("_", " ") for one in names}
        units = _UNITS.get(key, {})
        if name in known and (not unit or unit in units or not units):
            return Column(title, key, unit or next(iter(units), ""))
        words = name.split()
        if not unit and len(words) > 1 and words[-1] in units and " ".join(words[:-1]) in known | _bare(key):
            return Column(title, key, words[-1])
    return Column(title, "", "")


def _bare(key: str) -> set[str]:
    """Our own name without its unit."""
    return {" ".join(key.split("_")[:-1])}


def _row(
    table: SheetTable, line: int, cells: tuple[str, ...], columns: tuple[Column, ...], made: dict[str, Any],
    before: Mapping[str, Any], like: str,
) -> tuple[Row, dict[str, Any]]:  # fmt: skip
    """One row, and the document with it."""
    given = {c.taken_for: (cell, c) for cell, c in zip(cells, columns, strict=True) if c.taken_for and cell}
    name, site_id = (given[key][0] if key in given else "" for key in ("name", "id"))
    problems: list[Problem] = []
    known = [s for s in before["sites"] if (site_id and s["id"] == site_id) or (not site_id and s.get("name") == name)]
    values = _values(table, line, given, problems)
    where = f"{table.source} line {line}"
    if not site_id and not name:
        problems.append(Problem(where, "names no site", "an id or a name"))
    if known:
        site_id = str(known[0]["id"])
    elif not site_id:
        site_id = _id_of(name)
    if any(row["id"] == site_id for row in made["sites"]) and not known:
        problems.append(Problem(where, f"site {site_id} stands in the table twice", "each site once"))
    lacking = [] if known else [k for k in ("position", "ground_m", "antenna_m", "erp_kw") if k not in values]
    if lacking and not problems:
        what = f"site {name or site_id} is new and has no {', '.join(lacking)}"
        problems.append(Problem(where, what, "what a new site needs"))
    if not known and not before["sites"]:
        problems.append(Problem(where, "there is no site yet to be like", "a first site, made in its form"))
    if problems:
        return Row(line, site_id, name, "refused", (), tuple(problems)), made
    after, says = copy.deepcopy(made), []
    if known:
        site = next(s for s in after["sites"] if s["id"] == site_id)
    else:
        pattern = next((s for s in before["sites"] if s["id"] == like), before["sites"][0])
        site = _like(after, pattern, site_id, name or site_id)
        says.append(f"delay fields and chains like those of {pattern.get('name') or pattern['id']}, assumed")
    if known and name and name != site.get("name"):
        values["name"] = name
    for key, value in values.items():
        old = site.get(key, False if key == "remote" else None)
        new_value = {**old, **value} if key == "erp_kw" and isinstance(old, dict) else value
        if not _alike(key, old, new_value):
            says.append(f"{key}: {_shown(old)} → {_shown(new_value)}" if known else f"{key}: {_shown(new_value)}")
            site[key] = new_value
    does = "changes" if known and says else "nothing" if known else "new"
    return Row(line, site_id, str(site["name"]), does, tuple(says), ()), after


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


def _values(
    table: SheetTable, line: int, given: Mapping[str, tuple[str, Column]], problems: list[Problem]
) -> dict[str, Any]:
    """The cells as the document has them."""
    source, values = table.source, dict[str, Any]()

    def number(key: str) -> float | None:
        """A number in the document's unit."""
        text, column = given[key]
        where = f"{source} line {line} column {column.title}"
        plain = text.replace("\u2212", "-").replace("\u202f", "").replace("\xa0", "")
        try:
            # Among commas a comma may part thousands as well as decimals: that is not for us to guess.
            value = float(plain if table.separator == "," else plain.replace(",", "."))
        except ValueError:
            problems.append(Problem(where, f"{text!r} is no number", f"a number in {column.unit or 'its unit'}"))
            return None
        return round(value * _UNITS.get(key, {}).get(column.unit, 1.0), 9) + 0.0

    for key in ("ground_m", "antenna_m", "offset_us"):
        if key in given and (value := number(key)) is not None:
            values[key] = value
    power = {
        plane: value
        for plane in "hv"
        if f"erp_{plane}_kw" in given and (value := number(f"erp_{plane}_kw")) is not None
    }
    if power:
        values["erp_kw"] = power
    for key in ("on_air", "remote"):
        if key in given:
            text = given[key][0].lower()
            if text in _YES or text in _NO:
                values[key] = text in _YES
            else:
                where = f"{source} line {line} column {given[key][1].title}"
                problems.append(Problem(where, f"cannot be {given[key][0]!r}", "yes or no"))
    position = _position(source, line, given, problems)
    if position is not None:
        values["position"] = position
    return values


def _position(
    source: str, line: int, given: Mapping[str, tuple[str, Column]], problems: list[Problem]
) -> dict[str, str] | None:
    """A position out of one cell, or of two."""
    crs = given["crs"][0] if "crs" in given else "EPSG:4326"
    crs = f"EPSG:{crs}" if crs.isdigit() else crs
    if "position" in given:
        text = given["position"][0]
    elif "lat" in given and "lon" in given:
        text = f"{given['lat'][0].replace(',', '.')}, {given['lon'][0].replace(',', '.')}"
    elif "lat" in given or "lon" in given:
        problems.append(Problem(f"{source} line {line}", "has one of lat and lon", "both, or a position"))
        return None
    else:
        return None
    try:
        locate(text=text, crs=crs, where=f"{source} line {line}")
    except PlanError as error:
        problems.extend(error.problems)
        return None
    return {"text": text, "crs": crs}


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
