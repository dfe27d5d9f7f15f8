"""A place found by what somebody types: a site, a town, or a position as people write it."""

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from sfn.errors import PlanError
from sfn.geodesy.position import Located, locate
from sfn.plan import Network, Place

MOST_N = 12


@dataclass(frozen=True, slots=True)
class FoundPlace:
    """A place by its name. `people` is None for what is no town. [degrees]"""

    name: str
    kind: Literal["site", "place", "position"]
    lat_deg: float
    lon_deg: float
    people: float | None


def find_place(
    network: Network, text: str, *, placed: Mapping[str, Located], places: Sequence[Place]
) -> tuple[FoundPlace, ...]:
    """Sites and towns whose name holds what is typed, and the position that it spells.

    Parameters
    ----------
    network : Network
    text : str
        Accents and capitals do not matter.
    placed : mapping of site id to Located
    places : sequence of Place
        Towns that people are counted in.

    Returns
    -------
    found : tuple of FoundPlace
        At most 12: a position first, then sites, then towns; names that begin so before others, larger towns first.
    """
    wanted = _plain(text)
    if not wanted:
        return ()
    made = []
    for site in network.sites:
        if site.id in placed and wanted in (name := _plain(f"{site.name} {site.id}")):
            at = placed[site.id]
            found = FoundPlace(site.name, "site", at.lat_deg, at.lon_deg, None)
            made.append(((0, not name.startswith(wanted), 0.0, name), found))
    for place in places:
        if wanted in (name := _plain(place.name)):
            found = FoundPlace(place.name, "place", place.lat, place.lon, place.people)
            made.append(((1, not name.startswith(wanted), -place.people, name), found))
    made.sort(key=lambda one: one[0])
    return (*_position(text), *(found for _, found in made))[:MOST_N]


def _position(text: str) -> tuple[FoundPlace, ...]:
    """The position that a text spells, if it does."""
    if not any(sign.isdigit() for sign in text):
        return ()
    try:
        at = locate(text=text, where="q")
    except PlanError:
        return ()
    return (FoundPlace(text.strip(), "position", at.lat_deg, at.lon_deg, None),)


def _plain(text: str) -> str:
    """Without accents, capitals and outer blanks."""
    parts = unicodedata.normalize("NFKD", text.strip().casefold())
    return "".join(sign for sign in parts if not unicodedata.combining(sign))
