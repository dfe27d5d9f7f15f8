"""Whether a source that does not give a tile serves its set at all, and what its refusal (403) means.

A store that forbids listing answers 403 for what it does not have; so does a proxy, or a mirror, that lets nobody
through. Both are asked two things, and only one that passes both is believed: a tile that is there must still be had,
and a file that no source can have must be refused in the same way.
"""

import itertools
import re
from collections.abc import Callable, Iterable, Iterator

import httpx2

from sfn.country.fetch import signed_in
from sfn.country.sets import Wanted, corner, cover_tile, heights_tile, people_tile
from sfn.country.sources import Sources, shown
from sfn.terrain.sea import land_ratio

# So many tiles round one that is not given are asked for, those with the most land first.
MOST_ASKED_N = 24
RINGS_N = 2


def serves(of: httpx2.Client, sources: Sources, candidates: Iterable[Wanted]) -> bool:
    """Whether a source has one of some tiles at this moment; only the answer's head is taken."""
    return any(_status(of, sources.url(tile)) in (200, 206) for tile in itertools.islice(candidates, MOST_ASKED_N))


def refuses_what_cannot_be(of: httpx2.Client, sources: Sources, tile: Wanted) -> bool:
    """Whether a source answers 403, not 404, for a tile of a set that is published nowhere, in mid-ocean."""
    return _status(of, sources.url(nowhere(tile))) == 403


def nowhere(tile: Wanted) -> Wanted:
    """A tile of the same set that no publisher has: of the South Pacific at 49 S, 124 W, far from any land.

    Examples
    --------
    >>> nowhere(heights_tile(36, -85)).file
    'Copernicus_DSM_COG_10_S49_00_W124_00_DEM.tif'
    """
    if tile.of.key == "people":
        return people_tile(14, 6)
    return cover_tile(-51, -126) if tile.of.key == "cover" else _heights(tile)(-49, -124)


def beside(tile: Wanted) -> Iterator[Wanted]:
    """Tiles of the same set round one, the nearest ring first, in it those with the most land.

    Examples
    --------
    >>> [one.file[22:36] for one in beside(heights_tile(36, -85))][:2]
    ['N35_00_W086_00', 'N35_00_W085_00']
    """
    for ring in range(1, RINGS_N + 1):
        steps = [(up, along) for up in range(-ring, ring + 1) for along in range(-ring, ring + 1)]
        made = [_moved(tile, up, along) for up, along in steps if max(abs(up), abs(along)) == ring]
        found = [one for one in made if one is not None and one.lattice is not None]
        yield from sorted(found, key=lambda one: -land_ratio(one.lattice.bounds_deg) if one.lattice else 0.0)


def _moved(tile: Wanted, up: int, along: int) -> Wanted | None:
    """The tile so many rows north and columns east; None beyond a pole, or where a set is not published."""
    if tile.of.key == "people":
        found = re.search(r"_R(\d+)_C(\d+)\.", tile.file)
        assert found is not None
        row, column = int(found[1]) - up, int(found[2]) + along
        return people_tile(row, (column - 1) % 36 + 1) if 1 <= row <= 18 else None
    cover = tile.of.key == "cover"
    side = 3 if cover else 1
    assert tile.lattice is not None
    south, west = (round(edge) for edge in tile.lattice.bounds_deg[:2]) if cover else corner(tile)
    south, west = south + side * up, (west + side * along + 180) % 360 - 180
    if not -90 <= south <= 90 - side:
        return None
    return cover_tile(south, west) if cover else _heights(tile)(south, west)


def _heights(tile: Wanted) -> Callable[[int, int], Wanted]:
    """What names tiles of heights like one."""
    return lambda south, west: heights_tile(south, west, coarse=tile.of.key == "heights-coarse")


def _status(of: httpx2.Client, url: str) -> int:
    """The status of an answer, 0 where there is none; by GET, whose body is not taken, where HEAD is not understood."""
    try:
        status = of.request("HEAD", shown(url), auth=signed_in(url)).status_code
        if status in (400, 405, 501):
            with of.stream("GET", shown(url), auth=signed_in(url)) as answer:
                status = answer.status_code
    except httpx2.HTTPError:
        return 0
    return status
