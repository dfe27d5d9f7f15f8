"""Where a site stands: on a small map beside the others, in the forms people compare, with what is in doubt.

A position is confirmed by a person who looked at that map before it is saved for the first time, or anywhere else than
before. What is confirmed is the place as the map showed it; another place is asked about again.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sfn.check.positions import position_problems, weighed
from sfn.errors import PlanError, Problem, Touch
from sfn.geodesy.line import inverse, travel_time
from sfn.geodesy.position import Forms, Located, locate, three_forms
from sfn.plan import Network, Position, SiteName, read_document
from sfn.report.numbers import km
from sfn.report.over import Over
from sfn.report.position_map import PositionMap, position_map
from sfn.terrain.dem import Terrain
from sfn.timing.tolerated import tolerated_error

# A position that moves by less is the same place, surveyed better.
SAME_PLACE_M = 100.0
CONFIRMED = "the map of the site's page, looked at, and its box ticked"


@dataclass(frozen=True, slots=True)
class Nearest:
    """The site that stands nearest: how far and in which direction it is seen from here."""

    name: str
    ground_m: float
    travel_us: float
    bearing_deg: float


@dataclass(frozen=True, slots=True)
class Standing:
    """One site's place, to be looked at by whoever typed it."""

    located: Located
    forms: Forms
    drawing: PositionMap
    nearest: Nearest | None
    doubts: tuple[Problem, ...]
    """Errors where they are worth more than the tolerated launch error."""
    moved_m: float | None
    """How far from where it stood in the revision before; None where it stood nowhere. [m]"""
    to_confirm: bool
    """Whether it is a place that nobody has confirmed."""
    confirms: str
    """What a form sends to say that it stands there."""


def place_of(position: object) -> Located | None:
    """A position of a document as the engine understands it, or None; the check says why."""
    try:
        return locate(**Position.model_validate(position).model_dump(exclude_none=True))
    except (PlanError, ValueError):
        return None


def position_doubts(network: Network) -> tuple[Problem, ...]:
    """Every doubt about where the sites of a network stand, for the answer to whoever saved it without the map."""
    placed = {site.id: at for site in network.sites if (at := place_of(site.position)) is not None}
    return position_problems(network, placed)


def standing(
    document: Mapping[str, Any],
    index: int,
    *,
    before: Mapping[str, Any] | None,
    tolerated_us: float,
    terrain: Terrain | None = None,
    across_km: float | None = None,
    over: Sequence[Over] = (),
) -> Standing | None:
    """Where a site of a draft stands; None where its position cannot be read.

    Parameters
    ----------
    document : mapping
        The draft; its other sites may be incomplete.
    index : int
        The site's place in it.
    before : mapping or None
        The document that the draft was made from; None where there is none.
    tolerated_us : float
        Launch error that may stay. [us]
    terrain : Terrain, optional
        The network's.
    across_km : float, optional
        How much ground the map shows round the site; all sites where not given.
    over : sequence of Over
        Lines and names that lie over the map.
    """
    site = document["sites"][index]
    at = place_of(site.get("position"))
    if at is None:
        return None
    others = sorted(_others(document, index, at), key=lambda other: other[0].ground_m)
    stood = _stood(before, document, index)
    moved_m = None if stood is None else _apart(stood, at)
    name = str(site.get("name") or site.get("id") or "this site")
    return Standing(
        located=at,
        forms=three_forms(at.lat_deg, at.lon_deg),
        drawing=position_map(
            (name, at.lat_deg, at.lon_deg),
            [(n.name, p.lat_deg, p.lon_deg) for n, p in others],
            terrain=terrain,
            across_km=across_km,
            over=over,
        ),
        nearest=others[0][0] if others else None,
        doubts=_doubts(at, site, index, tolerated_us),
        moved_m=moved_m,
        to_confirm=moved_m is None or moved_m > SAME_PLACE_M,
        confirms=_confirms(at),
    )


def where_to_stand(
    document: Mapping[str, Any], index: int, *, terrain: Terrain | None = None, over: Sequence[Over] = ()
) -> PositionMap | None:
    """The other sites of a draft, to click where a new one stands; None where none of them can be placed."""
    sites = enumerate(document.get("sites") or ())
    placed = [(site, at) for n, site in sites if n != index and (at := place_of(site.get("position"))) is not None]
    others = [(str(site.get("name") or site.get("id")), at.lat_deg, at.lon_deg) for site, at in placed]
    return position_map(None, others, terrain=terrain, over=over) if others else None


def unconfirmed(
    document: Mapping[str, Any], *, before: Mapping[str, Any] | None, confirmed: Mapping[int, str]
) -> tuple[Problem, ...]:
    """A problem for each site that stands at a new place which nobody has confirmed.

    Parameters
    ----------
    document : mapping
        What is to be saved.
    before : mapping or None
        What it was made from; None for the first.
    confirmed : mapping of int to str
        By a site's place in the document: what the form sent, `Standing.confirms` of the map that was looked at.
    """
    problems = []
    for index, site in enumerate(document.get("sites") or ()):
        at = place_of(site.get("position"))
        stood = _stood(before, document, index)
        if at is None or (stood is not None and _apart(stood, at) <= SAME_PLACE_M):
            continue
        if confirmed.get(index) != _confirms(at):
            name = site.get("name") or site.get("id") or f"site {index + 1}"
            what = f"site {name}: nobody has confirmed on the map that it stands at {_confirms(at)}"
            problems.append(
                Problem(
                    f"sites[{index}].position",
                    what,
                    CONFIRMED,
                    code="position-unconfirmed",
                    touches=(Touch(str(site.get("id", ""))),),
                    fields=("position",),
                )
            )
    return tuple(problems)


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a table puts a site: in words, beside the others, with what is in doubt."""

    words: str
    doubts: tuple[Problem, ...]


def newly_placed(
    document: Mapping[str, Any], *, before: Mapping[str, Any], own_services: str = ""
) -> dict[str, Placed]:
    """Every site that stands elsewhere than before, or is new, by its id.

    Parameters
    ----------
    document : mapping
        What would be saved.
    before : mapping
        What it was made from.
    own_services : str
        Text of the user's file of services that it is read under.
    """
    try:
        tolerated_us = tolerated_error(read_document(before, own_services=own_services))
    except PlanError:
        tolerated_us = 0.0
    old = {site.get("id"): site.get("position") for site in before["sites"]}
    sites = [(n, s, at) for n, s in enumerate(document["sites"]) if (at := place_of(s.get("position"))) is not None]
    lat = np.array([at.lat_deg for _, _, at in sites])
    lon = np.array([at.lon_deg for _, _, at in sites])
    found = {}
    for k, (index, site, at) in enumerate(sites):
        if old.get(site["id"]) == site.get("position"):
            continue
        words = f"it stands at {at.lat_deg:.5f}, {at.lon_deg:.5f}"
        words += f" ({at.read_as})" if at.read_as else ""
        if len(sites) > 1:
            away_m = np.where(np.arange(len(sites)) == k, np.inf, inverse(at.lat_deg, at.lon_deg, lat, lon)[0])
            nearest = int(away_m.argmin())
            name = SiteName(sites[nearest][1].get("name") or sites[nearest][1]["id"])
            words += f", {km(float(away_m[nearest]), 2)} from the nearest site, {name}"
        found[str(site["id"])] = Placed(words, _doubts(at, site, index, tolerated_us))
    return found


def _doubts(at: Located, site: Mapping[str, Any], index: int, tolerated_us: float) -> tuple[Problem, ...]:
    """What is doubtful about a site's position, as grave as it is worth."""
    called, touches = str(site.get("name") or ""), (Touch(str(site.get("id", ""))),)
    name = SiteName(called) if called else str(site.get("id") or "this site")
    found = (doubt.problem(f"sites[{index}].position", name=name, touches=touches) for doubt in at.doubts)
    return tuple(weighed(problem, tolerated_us) for problem in found)


def _confirms(at: Located) -> str:
    """A place as it is confirmed: to a ten-thousandth of a degree, so that the same place is the same text."""
    return f"{at.lat_deg + 0.0:.4f}, {at.lon_deg + 0.0:.4f}"


def _apart(a: Located, b: Located) -> float:
    """Distance between two places. [m]"""
    return float(inverse(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg)[0])


def _stood(before: Mapping[str, Any] | None, document: Mapping[str, Any], index: int) -> Located | None:
    """Where a site stood before: the site of its id, or the one in its place whose id is gone (it was renamed)."""
    old = list((before or {}).get("sites") or ())
    ids = {site.get("id") for site in document["sites"]}
    site_id = document["sites"][index].get("id")
    same = [site for site in old if site.get("id") == site_id]
    if not same and index < len(old) and old[index].get("id") not in ids:
        same = [old[index]]
    return place_of(same[0].get("position")) if same else None


def _others(document: Mapping[str, Any], index: int, at: Located) -> Iterator[tuple[Nearest, Located]]:
    """The other sites that can be placed, as they are seen from here."""
    for number, site in enumerate(document.get("sites") or ()):
        other = place_of(site.get("position")) if number != index else None
        if other is None:
            continue
        ground_m, bearing_deg, _ = inverse(at.lat_deg, at.lon_deg, other.lat_deg, other.lon_deg)
        name = str(site.get("name") or site.get("id") or f"site {number + 1}")
        yield Nearest(name, float(ground_m), float(travel_time(ground_m)), float(bearing_deg)), other
