"""The ground round a network's sites: what of the open sets it takes, what stands of it, and getting it."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from sfn.country.gather import Gathered, Tell, gather, on_shelf, settled
from sfn.country.made import Made, make
from sfn.country.sets import CHOICES, Bounds, OpenSet, Wanted, wanted
from sfn.country.shelf import Shelf
from sfn.country.sources import Sources
from sfn.errors import PlanError, Problem, Touch
from sfn.geodesy.extent import extent_says
from sfn.geodesy.position import Located, on_globe
from sfn.plan import Network, TerrainSource, read
from sfn.reception.reach import bounds_to_the_edge
from sfn.terrain.dem import heights, terrain_from_folder
from sfn.terrain.ground import Ground

# Tiles end within a sample of whole degrees: the area reaches a little over its edges.
BEYOND_DEG = 0.02
# A side of an area that somebody types: some hundred squares, gigabytes of heights.
MOST_DEG = 20.0
# What something is made of; lines of coast, borders and roads are kept, and the map draws them as they are.
USUAL = ("heights", "cover", "people", "names")


@dataclass(frozen=True, slots=True)
class OfferLine:
    """One set, and what of it an area takes.

    Parameters
    ----------
    of : OpenSet
    base : str
        Where it would come from.
    files : tuple of str
        Addresses under it that would be asked for: all that leaves the machine.
    held_n : int
        Tiles that are here already, or known to be sea.
    about_mb : float
        How much would come, from memory.
    """

    of: OpenSet
    base: str
    files: tuple[str, ...]
    held_n: int
    about_mb: float


@dataclass(frozen=True, slots=True)
class Offer:
    """What would be fetched for an area."""

    bounds_deg: Bounds
    lines: tuple[OfferLine, ...]
    tiles: tuple[Wanted, ...]
    allowed: bool

    @property
    def extent_says(self) -> str:
        """How large the area is, as it stands beside every figure that counts over it."""
        return extent_says(self.bounds_deg)

    @property
    def missing_n(self) -> int:
        """Files that would be asked for."""
        return sum(len(line.files) for line in self.lines)

    @property
    def about_mb(self) -> float:
        """How much would come."""
        return sum(line.about_mb for line in self.lines)


@dataclass(frozen=True, slots=True)
class Country:
    """What became of it.

    Parameters
    ----------
    gathered : Gathered
    made : Made
    doubts : tuple of Problem
        Sites that stand where there is no tile of heights.
    """

    gathered: Gathered
    made: Made
    doubts: tuple[Problem, ...]

    @property
    def credits(self) -> tuple[str, ...]:
        """Whose data they are."""
        return tuple(dict.fromkeys(tile.of.attribution for tile, _ in self.gathered.held))


def read_for_ground(text: bytes, *, own_services: str = "") -> tuple[Network, tuple[str, ...]]:
    """A network whose sites may lack the one thing that the ground will tell: their height.

    Parameters
    ----------
    text : bytes
        The document.
    own_services : str
        As for `sfn.plan.read`.

    Returns
    -------
    network : Network
        Sites without ``ground_m`` stand at 0 m: good for the area, and for nothing else.
    without : tuple of str
        Their ids.

    Raises
    ------
    PlanError
        If anything else is wrong with the document: then with all of it.
    """
    try:
        return read(text, own_services=own_services), ()
    except PlanError as refused:
        if any(one.code != "key-missing" or one.fields != ("ground_m",) for one in refused.problems):
            raise
        without = tuple(str(site) for one in refused.problems for site in one.sites)
    document = json.loads(text.decode("utf-8-sig"))
    for site in document["sites"]:
        site.setdefault("ground_m", 0.0)
    return read(json.dumps(document), own_services=own_services), without


def ground_told(folder: Path, without: Sequence[str], network: Network, placed: Mapping[str, Located]) -> list[str]:
    """What fetched heights say of sites that had none: a sentence each.

    Parameters
    ----------
    folder : Path
        Of the heights.
    without : sequence of str
        Ids.
    network : Network
    placed : mapping of site id to a position on WGS84
    """
    there = [site for site in network.sites if site.id in without and site.id in placed]
    lat, lon = (np.array([getattr(placed[site.id], key) for site in there]) for key in ("lat_deg", "lon_deg"))
    found = heights(terrain_from_folder(folder), lat, lon)
    return [
        f"{site.name} has no ground_m: the ground there is {height:.1f} m by these heights, which are those of "
        "treetops and roofs; type what the site's own papers say"
        if np.isfinite(height)
        else f"{site.name} has no ground_m, and these heights do not reach it"
        for site, height in zip(there, found, strict=True)
    ]


def area(network: Network, placed: Mapping[str, Located]) -> Bounds:
    """South, west, north and east of what a map of the network will show over terrain: its sites, and as far as usable.

    A network that names no terrain yet is taken as one that does: over it antennas count as higher, and the map is
    larger than over a smooth earth. [degrees]

    Parameters
    ----------
    network : Network
    placed : mapping of site id to a position on WGS84

    Raises
    ------
    PlanError
        If no site is placed, or the service cannot be used.
    """
    if not placed:
        expected = "a network of which one site at least has a position"
        raise PlanError([Problem("sites", "none has a position that can be read", expected, code="no-site-placed")])
    named = network.model_copy(update={"terrain": network.terrain or TerrainSource(folder="fetched")})
    south, west, north, east = bounds_to_the_edge(named, placed, ground=Ground(), over_terrain=True)
    return south - BEYOND_DEG, west - BEYOND_DEG, north + BEYOND_DEG, east + BEYOND_DEG


def cut(bounds_deg: Bounds, *, where: str) -> Bounds:
    """An area that somebody asks for instead: as it is, where it is one.

    Parameters
    ----------
    bounds_deg : tuple of float
        South, west, north, east; east may lie beyond 180. [degrees]
    where : str
        The field or option that it stands in.

    Raises
    ------
    PlanError
        If a corner is no place on the globe, the area is turned round, or is more than `MOST_DEG` a side.

    Examples
    --------
    >>> cut((36.0, -85.0, 36.5, -84.0), where="bounds")
    (36.0, -85.0, 36.5, -84.0)
    """
    south, west, north, east = bounds_deg
    on_globe(south, west, where=where, lat_field="S", lon_field="W")
    on_globe(north, (east + 180.0) % 360.0 - 180.0, where=where, lat_field="N", lon_field="E")
    if not (0.0 < north - south <= MOST_DEG and 0.0 < east - west <= MOST_DEG):
        what = f"is {north - south:g} degrees high and {east - west:g} wide"
        expected = f"south,west,north,east, {MOST_DEG:g} degrees a side at most; east of 180 as 181"
        raise PlanError([Problem(where, what, expected, code="bounds-unreadable", fields=(where,))])
    return bounds_deg


def choices(text: str, *, where: str) -> tuple[str, ...]:
    """Some of the sets, commas between; `USUAL` where the text is empty.

    Raises
    ------
    PlanError
        If one is none of them.
    """
    named = tuple(dict.fromkeys(filter(None, (part.strip() for part in text.split(",")))))
    if strange := [one for one in named if one not in CHOICES]:
        expected = f"some of {', '.join(CHOICES)}, commas between"
        raise PlanError([Problem(where, f"cannot be {strange[0]!r}", expected, code="not-on-offer", fields=(where,))])
    return named or USUAL


def offer(bounds_deg: Bounds, keys: Sequence[str], *, shelf: Shelf, sources: Sources) -> Offer:
    """What of some sets an area takes, and what of that is not here; nobody is asked."""
    tiles = wanted(tuple(keys), bounds_deg)
    lines = []
    for key in dict.fromkeys(tile.of.key for tile in tiles):
        mine = [tile for tile in tiles if tile.of.key == key]
        missing = [tile for tile in mine if not settled(tile, shelf)]
        lines.append(
            OfferLine(
                mine[0].of, sources.shown_base(mine[0].of), tuple(tile.address for tile in missing),
                len(mine) - len(missing), sum(tile.about_mb for tile in missing),
            )
        )  # fmt: skip
    return Offer(bounds_deg, tuple(lines), tiles, sources.allowed)


def get(
    offered: Offer,
    *,
    shelf: Shelf,
    sources: Sources,
    place: Callable[[str], Path],
    placed: Mapping[str, Located],
    version: str,
    tell: Tell,
    ask_nobody: bool = False,
) -> Country:
    """Fetch what is not here, and make of it what a network names.

    Parameters
    ----------
    offered : Offer
    shelf : Shelf
    sources : Sources
    place : callable(str)
        As in `sfn.country.made.make`.
    placed : mapping of site id to a position on WGS84
    version : str
        Of the program.
    tell : callable(str, int, int)
        Told what is done, and how many tiles of how many.
    ask_nobody : bool
        Go by what is here alone.

    Raises
    ------
    PlanError
        If fetching is forbidden and something is missing, or the folder cannot be written.
    """
    if ask_nobody:
        gathered = on_shelf(offered.tiles, shelf)
    else:
        gathered = gather(offered.tiles, shelf=shelf, sources=sources, version=version, tell=tell)
    done = len(offered.tiles)
    try:
        made = make(
            gathered, shelf=shelf, bounds_deg=offered.bounds_deg, place=place,
            tick=lambda what: tell(f"making {what} ready", done, done),
        )  # fmt: skip
    except OSError as error:
        what = f"{error.filename or 'the folder'} cannot be written ({error.strerror})"
        raise PlanError([Problem("country", what, "a folder with room that can", code="file-unwritable")]) from None
    return Country(gathered, made, tuple(_at_sea(gathered, placed)))


def document_with(
    document: Mapping[str, Any], keys: Mapping[str, Any], *, ours: Callable[[str], bool]
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """A document that stands on what was made; and which keys it names otherwise already, which are kept.

    Parameters
    ----------
    document : mapping
    keys : mapping
        `sfn.country.made.document_keys`.
    ours : callable(str)
        Whether a folder or file of that name was made here before: then it is exchanged, unless it is the very same,
        beside which somebody may have changed the rest.
    """
    out, kept = dict(document), []
    for key, value in keys.items():
        held = out.get(key)
        named = _named(held)
        if not held or (named and ours(named) and named != _named(value)):
            out[key] = value
        elif named != _named(value):
            kept.append(key)
    return out, tuple(kept)


def _named(value: Any) -> str:
    """The folder or file that a key of a document names; empty for none."""
    return str(value.get("folder") or value.get("file") or "") if isinstance(value, Mapping) else ""


def _at_sea(gathered: Gathered, placed: Mapping[str, Located]) -> list[Problem]:
    """Sites where no set has a tile of heights: they count as standing in the sea."""
    found = []
    for tile in gathered.absent:
        if tile.of.key != "heights" or tile.lattice is None:
            continue
        south, west, north, east = tile.lattice.bounds_deg
        for site, at in placed.items():
            if south <= at.lat_deg < north and (at.lon_deg - west) % 360.0 < east - west:
                what = f"site {site} stands where there is no tile of heights ({tile.file}): at sea level"
                expected = "a platform at sea, or another position"
                touched = (Touch(site),)
                found.append(Problem(site, what, expected, "warning", code="site-at-sea", touches=touched))
    return found
