"""Sites from a table (`sfn.answer.site_files` reads and writes the files), with what was understood row by row.

Nothing is applied by reading: the answer says of every row what it would do, and makes the document that would be
saved. A site that is new gets delay fields and chains like those of a site that is there, marked as assumed.
"""

import copy
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.geodesy.cells import COLUMNS as PLACE_COLUMNS, UNITS as PLACE_UNITS, position_of
from sfn.geodesy.line import inverse
from sfn.geodesy.position import locate
from sfn.plan.columns import LENGTHS, TIMES, Column, Known, columns_of, rows_under
from sfn.plan.rows import Row
from sfn.plan.sheets import SheetTable
from sfn.report.numbers import km
from sfn.study.standing import Placed, newly_placed

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
    "fed_off_air_from": ("fed_off_air_from", "fed off air from", "fed from", "parent"),
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
    "offset_us": (-60e6, 60e6),
}
_YES, _NO = ("yes", "y", "true", "1", "on", "x"), ("no", "n", "false", "0", "off")
STUDIO = "(studio)"
"""What stands for no parent: an empty cell changes nothing. No id looks like it."""
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


def understood_sites(
    table: SheetTable, document: Mapping[str, Any], *, like: str = "", own_services: str = ""
) -> Understood:
    """What a table of sites would do to a network.

    Parameters
    ----------
    table : SheetTable
    document : mapping
        The network's document.
    like : str
        Site whose delay fields and chains new sites get; the first where empty.
    own_services : str
        Text of the user's file of services that the document is read under.

    Raises
    ------
    PlanError
        If no column tells sites apart, or one is there twice.
    """
    columns = columns_of(table, _KNOWN)
    if not {"id", "name"} & {c.taken_for for c in columns}:
        where, titles = f"{table.source} line {table.head_line}", ", ".join(filter(None, table.head)) or "nothing"
        expected = "a column id or name, by which sites are known"
        raise PlanError([Problem(where, f"has {titles}", expected, code="column-missing", fields=("id", "name"))])
    if like and all(site["id"] != like for site in document["sites"]):
        what = f"there is no site {like!r}"
        raise PlanError([Problem("like", what, "a site of the network", code="unknown-site", fields=("like",))])
    made = copy.deepcopy(dict(document))
    rows, seen = [], set[str]()
    table_rows = rows_under(table, columns, _KNOWN)
    names = _names(document, table_rows)
    for given in table_rows:
        _parent(given, names)
        row = _row(given, made, document, like, seen)
        rows.append(row)
        if row.does != "refused":
            seen.add(row.id)
    if len(made["sites"]) > MOST_SITES_N:
        what = f"would make {len(made['sites'])} sites of the network's {len(document['sites'])}"
        raise PlanError([Problem(table.source, what, f"{MOST_SITES_N} at most", code="too-many-sites")])
    placed = newly_placed(made, before=document, own_services=own_services)
    return Understood(table.source, columns, tuple(_standing(row, placed) for row in rows), made)


def _standing(row: SiteRow, placed: Mapping[str, Placed]) -> SiteRow:
    """A row with where it puts its site, and what is doubtful about that."""
    at = placed.get(row.id)
    if at is None or row.does not in ("new", "changes"):
        return row
    return replace(row, says=(*row.says, at.words), doubts=at.doubts)


def _row(given: Row, made: dict[str, Any], before: Mapping[str, Any], like: str, seen: set[str]) -> SiteRow:
    """One row; what it changes is changed in `made`, once nothing speaks against it."""
    name, site_id = (given.text(key, empty=True) for key in ("name", "id"))
    line, problems = given.line, given.problems
    known = _known(before, site_id, name)
    values = _values(given)
    if not site_id and not name:
        given.no(None, "names no site", "an id or a name", code="site-unnamed")
    if known:
        site_id = str(known[0]["id"])
    elif not site_id:
        site_id = _id_of(name)
    if site_id in seen:
        given.no(None, f"site {site_id} stands in the table twice", "each site once", code="site-twice")
    lacking = [] if known else [k for k in ("position", "ground_m", "antenna_m", "erp_kw") if k not in values]
    if lacking and not problems:
        what = f"site {name or site_id} is new and has no {', '.join(lacking)}"
        given.no(None, what, "what a new site needs", code="new-site-incomplete")
    if not known and not before["sites"]:
        given.no(None, "there is no site yet to be like", "a first site, made in its form", code="no-site-to-be-like")
    if problems:
        return SiteRow(line, site_id, name, "refused", (), tuple(problems))
    says = []
    if known:
        site = next(s for s in made["sites"] if s["id"] == site_id)
    else:
        pattern = next((s for s in before["sites"] if s["id"] == like), before["sites"][0])
        site = _like(made, pattern, site_id, name or site_id)
        says.append(f"delay fields and chains like those of {pattern.get('name') or pattern['id']}, assumed")
        says.append("what its delay fields are set to now is not known: it is to be read at the site")
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
    if not known and not site["on_air"]:
        why = "as the table says" if "on_air" in values else "as the table does not say whether it is on air"
        says.append(f"not transmitting, {why}: maps and reception leave it out")
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
    for holder in (*site["delay_fields"], *site["chains"]):
        holder.pop("set", None)  # nobody has read this site's: no sheet may roll back to another site's value
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
    if parent := row.cells.get("fed_off_air_from", ""):
        values["fed_off_air_from"] = None if parent == STUDIO else parent
    return values


def _names(document: Mapping[str, Any], rows: Sequence[Row]) -> dict[str, list[str]]:
    """Ids of the sites that will be there, under their ids and under their names."""
    found: dict[str, list[str]] = {}
    sites = [(str(site["id"]), str(site.get("name") or "")) for site in document["sites"]]
    for row in rows:
        name, site_id = (row.cells.get(key, "") for key in ("name", "id"))
        known = _known(document, site_id, name)
        sites.append((str(known[0]["id"]) if known else site_id or _id_of(name), name))
    ids = {site_id for site_id, _ in sites}
    for site_id, name in sites:
        found.setdefault(site_id, [site_id])
        if name and name not in ids and name != STUDIO and site_id not in found.setdefault(name, []):
            found[name].append(site_id)
    return found


def _parent(row: Row, names: Mapping[str, Sequence[str]]) -> None:
    """The parent by its id, where a cell has its name; a problem where there is no such site, or there are two."""
    given = row.cells.get("fed_off_air_from", "")
    meant = names.get(given, ())
    if len(meant) == 1:
        row.cells["fed_off_air_from"] = meant[0]
    elif given and given != STUDIO:
        what = f"{given!r} is {'the name of two sites' if meant else 'no site'}"
        expected = f"the id of a site of the network or the table, or {STUDIO!r} for a site fed from the studio"
        row.no("fed_off_air_from", what, expected, code="name-of-two-sites" if meant else "unknown-site")


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
