"""Whether the positions of a network's sites make sense together.

A sign lost, latitude and longitude swapped or a wrong UTM zone moves a site by hundreds of kilometres; nothing about
it looks wrong by itself. Beside the other sites it does, and the slip that brings it back can be named.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from pyproj import Transformer

from sfn.errors import PlanError, Problem, Touch
from sfn.geodesy.datum import (
    WGS84_CODE,
    WGS84_NAME,
    coordinate_system,
    epsg_code,
    own_degrees,
    to_utm,
    to_wgs84,
)
from sfn.geodesy.doubt import worth
from sfn.geodesy.line import inverse
from sfn.geodesy.position import Located
from sfn.units import grouped

# A gap that no network has: the position is mistyped, most likely, and somebody must answer for it.
MISTYPED_M = 300_000.0
# A relay hears its parent: one this much further from every site than the others from their nearest is mistyped.
RELAY_LEAST_M, RELAY_RATIO = 10_000.0, 2.0
# Sites further than this from every other are questioned: no single-frequency network has gaps that wide.
FAR_M = 200_000.0
# Datums that PROJ takes as one (NAD83 or ETRS89 as WGS 84): their transformation's own accuracy is said by itself.
SAME_DATUM_M = 0.05
# Two sites nearer than this stand where the same numbers were typed.
SAME_PLACE_M = 0.01
# A slip is named only when undoing it brings the site this near to the others.
NEAR_M = 120_000.0


@dataclass(frozen=True, slots=True)
class Standing:
    """A site's place among the document's sites, its id and name, and where it stands."""

    index: int
    id: str
    name: str
    located: Located
    is_relay: bool = False
    """Whether it is fed off air from another site."""
    mast: str = ""
    """Name of the mast that it shares with another site; empty where none is named."""


def implausible(sites: Sequence[Standing]) -> tuple[Problem, ...]:
    """What is doubtful about the positions of a network taken together, site by site.

    Parameters
    ----------
    sites : sequence of Standing
        Every site that can be placed, in the order of the document.

    Returns
    -------
    problems : tuple of Problem
        All warnings, at ``sites[i].position``: sites hundreds of kilometres from all others, with the slip that
        would explain it; sites out of the scale of the others that an exchange or a sign brings among them; relays
        out of that scale; sites at one place that name no mast; sites whose datum is not that of most.
    """
    apart_m = _apart(sites)
    far = tuple(_far_away(sites, apart_m))
    told = {problem.touches for problem in far}
    strays = tuple(_strays(apart_m))
    exchanged = tuple(problem for problem in _exchanged(sites, strays) if problem.touches not in told)
    told |= {problem.touches for problem in exchanged}
    off_scale = (problem for problem in _off_scale(sites, strays) if problem.touches not in told)
    return (*far, *exchanged, *off_scale, *_at_one_place(sites, apart_m), *_mixed_datums(sites))


def _far_away(sites: Sequence[Standing], apart_m: np.ndarray) -> Iterator[Problem]:
    """Sites that belong to no group with most of the others."""
    if len(sites) < 2:
        return
    lat = np.array([site.located.lat_deg for site in sites])
    lon = np.array([site.located.lon_deg for site in sites])
    group = _groups(apart_m <= FAR_M)
    if group.max() == 0:
        return
    counts = np.bincount(group)
    home = int(counts.argmax())  # of equal groups, the one that comes first in the document
    majority = counts[home] > len(sites) / 2
    # without a majority any site may be the stray one: the slips decide
    suspects = [index for index in range(len(sites)) if not majority or group[index] != home]
    slips = {
        index: _slip(sites[index].located, lat[others], lon[others])
        for index in suspects
        if (others := group == home if majority else group != group[index]).any()
    }
    if not majority:
        slips = {index: slip for index, slip in slips.items() if slip[0]} or dict.fromkeys(
            (index for index in suspects if group[index] != home), NO_SLIP
        )
    for index, (slip, moved_m, said) in slips.items():
        site = sites[index]
        away_m = float(apart_m[index][group != group[index]].min())
        away = f"{grouped(away_m / 1000, '.0f')} km from the nearest of the other sites"
        likely = ": the position is likely mistyped" if not slip and away_m > MISTYPED_M else ""
        what = f"{site.name} is {away}, at {_degrees(site.located)}{likely}"
        yield Problem(
            f"sites[{site.index}].position",
            what,
            slip or "a position near the other sites",
            "warning",
            code="position-slip" if slip else "position-mistyped" if away_m > MISTYPED_M else "position-far",
            touches=(Touch(site.id),),
            fields=("position",),
            values={"away_m": away_m} | ({"doubt_m": moved_m, "doubt_us": worth(moved_m)} if slip else {}),
            said={"away_km": grouped(away_m / 1000, ".0f"), "at": _degrees(site.located), **said},
        )


def _apart(sites: Sequence[Standing]) -> np.ndarray:
    """Distance between every two sites; infinite from each to itself. [m]"""
    lat = np.array([site.located.lat_deg for site in sites])
    lon = np.array([site.located.lon_deg for site in sites])
    apart_m = np.asarray(inverse(lat[:, None], lon[:, None], lat[None, :], lon[None, :])[0], dtype=float)
    np.fill_diagonal(apart_m, np.inf)
    return apart_m


@dataclass(frozen=True, slots=True)
class _Stray:
    """A site much further from every other than any of these from its nearest: its place in the list, and how far.

    `scale_m` is the greatest of the others' distances to their nearest, `away_m` its own to its nearest. [m]
    """

    n: int
    others: np.ndarray
    scale_m: float
    away_m: float


def _strays(apart_m: np.ndarray) -> Iterator[_Stray]:
    """Sites out of the scale of the others; none of two."""
    count = len(apart_m)
    for n in range(count) if count > 2 else ():
        others = np.flatnonzero(np.arange(count) != n)
        scale_m = float(apart_m[np.ix_(others, others)].min(axis=1).max())
        away_m = float(apart_m[n].min())
        if away_m > max(RELAY_LEAST_M, RELAY_RATIO * scale_m):
            yield _Stray(n, others, scale_m, away_m)


def _exchanged(sites: Sequence[Standing], strays: Sequence[_Stray]) -> Iterator[Problem]:
    """Sites further from all others than any of these from its nearest, which an exchange or a sign brings among them.

    Where latitude and longitude are alike, or a grid's area is wide, an exchange moves a site by far less than the
    hundreds of kilometres that are questioned by themselves.
    """
    for stray in strays:
        site, scale_m, away_m = sites[stray.n], stray.scale_m, stray.away_m
        others = [sites[int(i)].located for i in stray.others]
        lat, lon = (np.array([getattr(other, key) for other in others]) for key in ("lat_deg", "lon_deg"))
        slip, moved_m, said = _slip(site.located, lat, lon, near_m=max(RELAY_LEAST_M, scale_m))
        if not slip:
            continue
        yield Problem(
            f"sites[{site.index}].position",
            f"{site.name} is {grouped(away_m / 1000, '.0f')} km from the nearest of the other sites, which stand at "
            f"most {grouped(scale_m / 1000, '.0f')} km from theirs, at {_degrees(site.located)}",
            slip,
            "warning",
            code="position-slip",
            touches=(Touch(site.id),),
            fields=("position",),
            values={"away_m": away_m, "scale_m": scale_m, "doubt_m": moved_m, "doubt_us": worth(moved_m)},
            said={**_scaled(stray, site), **said},
        )


def _at_one_place(sites: Sequence[Standing], apart_m: np.ndarray) -> Iterator[Problem]:
    """Two sites at exactly one position, which are not said to share a mast: one may be a copy of the other."""
    for n, site in enumerate(sites):
        for i in range(n + 1, len(sites)):
            other = sites[i]
            if apart_m[n, i] >= SAME_PLACE_M:
                continue
            if site.mast.strip() and site.mast.strip().casefold() == other.mast.strip().casefold():
                continue
            yield Problem(
                f"sites[{other.index}].position",
                f"{site.name} and {other.name} stand at exactly one position, {_degrees(site.located)}, and are not "
                "said to share a mast: one position may be a copy of the other",
                f"the position of each; where they share a mast, its name as mast at {site.name} and {other.name}",
                "warning",
                code="position-shared",
                touches=(Touch(site.id), Touch(other.id)),
                fields=("position", "mast"),
                values={"apart_m": float(apart_m[n, i])},
                said={"at": _degrees(site.located)},
            )


def _off_scale(sites: Sequence[Standing], strays: Sequence[_Stray]) -> Iterator[Problem]:
    """Relays that stand much further from every site than any of the others from its nearest."""
    for stray in strays:
        site, scale_m, away_m = sites[stray.n], stray.scale_m, stray.away_m
        if not site.is_relay:
            continue
        away, scale = (f"{grouped(length_m / 1000, '.0f')} km" for length_m in (away_m, scale_m))
        yield Problem(
            f"sites[{site.index}].position",
            f"{site.name} is a relay {away} from the nearest of the other sites, which stand at most {scale} from "
            f"theirs, at {_degrees(site.located)}: the position is likely mistyped",
            "the position checked digit by digit, or a name that answers for it",
            "warning",
            code="position-mistyped",
            touches=(Touch(site.id),),
            fields=("position",),
            values={"away_m": away_m, "scale_m": scale_m},
            said=_scaled(stray, site),
        )


def _groups(linked: np.ndarray) -> np.ndarray:
    """Number of the group of each site, groups being linked through their members; numbered as they come."""
    group = np.full(len(linked), -1)
    for start in range(len(linked)):
        if group[start] >= 0:
            continue
        number, waiting = group.max() + 1, [start]
        while waiting:
            site = waiting.pop()
            if group[site] < 0:
                group[site] = number
                waiting += list(np.flatnonzero(linked[site]))
    return group


_Slip = tuple[str, float, dict[str, str | None]]
"""A slip of the pen in words, how far it moved a site [m], and the pieces of the words."""
NO_SLIP: _Slip = ("", 0.0, {})


def _slip(located: Located, others_lat_deg: np.ndarray, others_lon_deg: np.ndarray, *, near_m: float = NEAR_M) -> _Slip:
    """The slip of the pen that would bring a site back nearest to the others, and how far: empty if none does. [m]"""
    best, found = near_m, NO_SLIP
    for lat, lon, what, pieces in _slips(located):
        if abs(lat) > 90 or abs(lon) > 180:
            continue
        away_m = float(inverse(lat, lon, others_lat_deg, others_lon_deg)[0].min())
        if away_m < best:
            best = away_m
            km, back_at = grouped(away_m / 1000, ".0f"), f"{lat:.4f}, {lon:.4f}"
            words = f"{what} would put it {km} km from the nearest of them, at {back_at}"
            moved_m = float(inverse(located.lat_deg, located.lon_deg, lat, lon)[0])
            found = (words, moved_m, {**pieces, "back_km": km, "back_at": back_at})
    return found


# The usual slips in degrees and in grids, by what a catalogue calls them.
SLIPS = {
    "grid_order": "easting and northing exchanged",
    "lon_sign": "east and west exchanged (the sign of the longitude)",
    "lat_sign": "north and south exchanged (the sign of the latitude)",
    "both_signs": "both signs changed",
    "degrees_order": "latitude and longitude exchanged",
    "order_and_sign": "latitude and longitude exchanged and a sign changed",
    "order_and_signs": "latitude and longitude exchanged and both signs changed",
}


def _slips(located: Located) -> Iterator[tuple[float, float, str, dict[str, str]]]:
    """Where the usual slips would have moved a position from: latitude, longitude, the slip in words and in pieces."""
    lat, lon = located.lat_deg, located.lon_deg
    exchanged = _other_order(located)
    if exchanged:
        yield *exchanged, SLIPS["grid_order"], {"slip_keys": "grid_order"}
        return
    if located.utm_zone is None:
        for at, key in (
            ((lat, -lon), "lon_sign"),
            ((-lat, lon), "lat_sign"),
            ((-lat, -lon), "both_signs"),
            ((lon, lat), "degrees_order"),
            ((-lon, lat), "order_and_sign"),
            ((lon, -lat), "order_and_sign"),
            ((-lon, -lat), "order_and_signs"),
        ):
            yield *at, SLIPS[key], {"slip_keys": key}
        return
    zone, north = int(located.utm_zone[:-1]), located.utm_zone.endswith("N")
    for step in (-1, 1, -2, 2):
        # the same easting and northing in the next zone lies 6 degrees further, on the same parallel
        meant = f"{(zone + step - 1) % 60 + 1}"
        yield lat, lon + 6.0 * step, f"UTM zone {meant}, not {zone}", {"meant_zone": meant, "typed_zone": f"{zone}"}
    other = _other_half(lat, lon, zone=zone, north=north)
    if other:
        half, key = ("southern", "southern_zone") if north else ("northern", "northern_zone")
        yield *other, f"the {half} half of UTM zone {zone}", {key: f"{zone}"}


def _other_order(located: Located) -> tuple[float, float] | None:
    """Where a position of a grid lies with easting and northing exchanged; None in degrees and where nothing lies."""
    code = epsg_code(located.crs)
    system = coordinate_system(code)
    if located.utm_zone is not None or not system.is_projected:
        return None
    there = Transformer.from_crs("EPSG:4326", system, always_xy=True)
    easting, northing = there.transform(located.lon_deg, located.lat_deg)
    lat, lon, _ = own_degrees(code, northing, easting)
    return None if lat is None or lon is None else (lat, lon)


def _other_half(lat_deg: float, lon_deg: float, *, zone: int, north: bool) -> tuple[float, float] | None:
    """Where the same easting and northing lies in the other hemisphere; datum shifts do not matter here."""
    try:
        easting_m, northing_m = to_utm(lat_deg, lon_deg, zone=zone, north=north)
        shifted = to_wgs84(WGS84_CODE, easting_m, northing_m, zone=zone, north=not north)
    except PlanError:
        return None
    return shifted.lat_deg, shifted.lon_deg


def _mixed_datums(sites: Sequence[Standing]) -> Iterator[Problem]:
    """Sites whose datum is not that of most, with what it would cost to overlook it."""
    datums = [site.located.datum for site in sites]
    if len(set(datums)) < 2:
        return
    usual = max(dict.fromkeys(datums), key=lambda datum: (datums.count(datum), datum == WGS84_NAME))
    for site in sites:
        located = site.located
        if located.datum == usual or located.datum_shift_m < SAME_DATUM_M:
            continue
        shift_us = worth(located.datum_shift_m)
        cost = f"read as WGS 84 it would lie {grouped(located.datum_shift_m, '.1f')} m off, {shift_us:.3f} us"
        what = f"{site.name} is given in {located.datum}, most sites in {usual}; {cost}"
        yield Problem(
            f"sites[{site.index}].position.crs",
            what,
            "one datum for all sites, or a second look",
            "warning",
            code="position-datum-differs",
            touches=(Touch(site.id),),
            fields=("crs",),
            values={"shift_m": located.datum_shift_m, "shift_us": shift_us, "doubt_us": shift_us},
            said={
                "datum": located.datum,
                "usual": usual,
                "shift_said": f"{grouped(located.datum_shift_m, '.1f')} m",
                "worth_said": f"{shift_us:.3f} us",
            },
        )


def _scaled(stray: _Stray, site: Standing) -> dict[str, str]:
    """How far a site is off, and how far the others are, as it is said."""
    km = (grouped(length_m / 1000, ".0f") for length_m in (stray.away_m, stray.scale_m))
    return dict(zip(("away_km", "scale_km"), km, strict=True)) | {"at": _degrees(site.located)}


def _degrees(located: Located) -> str:
    """The position to four decimals."""
    return f"{located.lat_deg:.4f}, {located.lon_deg:.4f}"
