"""A place found by what somebody types: a site, a town, or a position as people write it."""

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from sfn.errors import PlanError
from sfn.geodesy.position import Located, locate
from sfn.plan import Network, Place

MOST_N = 12
SITES, PEOPLE, TYPED = "sites of the network", "places where people are counted", "position as typed"
# Two lists name one place where its name is the same and both put it within this.
ONE_PLACE_DEG = 0.03


@dataclass(frozen=True, slots=True)
class FoundPlace:
    """A place by its name, and which list has it. `people` is None for what is no town. [degrees]"""

    name: str
    kind: Literal["site", "place", "position", "name"]
    lat_deg: float
    lon_deg: float
    people: float | None
    source: str = ""


@dataclass(frozen=True, slots=True)
class NamedPlace:
    """A name on a map; `people` is None where nobody counted. [degrees]"""

    name: str
    lat_deg: float
    lon_deg: float
    people: float | None = None


@dataclass(frozen=True, slots=True)
class PlaceList:
    """Names of one list, and what the list is called."""

    label: str
    places: tuple[NamedPlace, ...]


def find_place(
    network: Network,
    text: str,
    *,
    placed: Mapping[str, Located],
    places: Sequence[Place],
    lists: Sequence[PlaceList] = (),
) -> tuple[FoundPlace, ...]:
    """Sites, towns and names of other lists that hold what is typed, and the position that it spells.

    Parameters
    ----------
    network : Network
    text : str
        Accents and capitals do not matter.
    placed : mapping of site id to Located
    places : sequence of Place
        Towns that people are counted in.
    lists : sequence of PlaceList
        Further names: of fetched places, of lines and places of one's own over the map.

    Returns
    -------
    found : tuple of FoundPlace
        At most 12: a position first, then sites, then towns, then other names; names that begin so before others,
        larger towns first. What two lists have stands once, with both.
    """
    wanted = _plain(text)
    if not wanted:
        return ()
    made = []
    for site in network.sites:
        if site.id in placed and wanted in (name := _plain(f"{site.name} {site.id}")):
            at = placed[site.id]
            found = FoundPlace(site.name, "site", at.lat_deg, at.lon_deg, None, SITES)
            made.append(((0, not name.startswith(wanted), 0.0, name), found))
    for place in places:
        if wanted in (name := _plain(place.name)):
            found = FoundPlace(place.name, "place", place.lat, place.lon, place.people, PEOPLE)
            made.append(((1, not name.startswith(wanted), -place.people, name), found))
    for listed in lists:
        for one in listed.places:
            if wanted in (name := _plain(one.name)):
                kind: Literal["place", "name"] = "place" if one.people else "name"
                found = FoundPlace(one.name, kind, one.lat_deg, one.lon_deg, one.people or None, listed.label)
                made.append(((2 - (kind == "place"), not name.startswith(wanted), -(one.people or 0.0), name), found))
    made.sort(key=lambda one: one[0])
    return (*_position(text), *_once([found for _, found in made]))[:MOST_N]


def _once(found: Sequence[FoundPlace]) -> list[FoundPlace]:
    """Each place once, as the first list has it, with the names of all lists that have it."""
    kept: dict[str, list[FoundPlace]] = {}
    for one in found:
        alike = kept.setdefault(_plain(one.name), [])
        for n, other in enumerate(alike):
            apart = abs(one.lat_deg - other.lat_deg), abs((one.lon_deg - other.lon_deg + 180.0) % 360.0 - 180.0)
            if max(apart) <= ONE_PLACE_DEG and "site" not in (one.kind, other.kind):
                if one.source not in other.source.split("; "):
                    alike[n] = replace(other, source=f"{other.source}; {one.source}")
                break
        else:
            alike.append(one)
    # Dictionaries keep the order of names, not of places that share one.
    order = {(one.name, one.kind, one.lat_deg, one.lon_deg): n for n, one in reversed(list(enumerate(found)))}
    every = [one for alike in kept.values() for one in alike]
    return sorted(every, key=lambda one: order[(one.name, one.kind, one.lat_deg, one.lon_deg)])


def _position(text: str) -> tuple[FoundPlace, ...]:
    """The position that a text spells, if it does."""
    if not any(sign.isdigit() for sign in text):
        return ()
    try:
        at = locate(text=text, where="q")
    except PlanError:
        return ()
    return (FoundPlace(text.strip(), "position", at.lat_deg, at.lon_deg, None, TYPED),)


def _plain(text: str) -> str:
    """Without accents, capitals and outer blanks."""
    parts = unicodedata.normalize("NFKD", text.strip().casefold())
    return "".join(sign for sign in parts if not unicodedata.combining(sign))
