"""What levels rest on: zones where a sea is near, terrain of treetops, the air. Delays do not rest on it."""

from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np

from sfn.errors import PlanError, Problem, Touch
from sfn.field.over_smooth import smooth_parts, smooth_says
from sfn.field.path import LEAST_STEP_M
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.coverage import usual_bounds
from sfn.reception.reach import bounds_to_the_edge
from sfn.terrain.dem import Terrain
from sfn.terrain.ground import DEEPEST_VOID_M, Ground, averaged_parts, averaged_says, window_averaged
from sfn.terrain.heights import METRES_PER_DEGREE_M
from sfn.terrain.laid import TURNS_DEG, overlaps
from sfn.terrain.sea import COAST_KM, sea_km
from sfn.terrain.tile import Tile
from sfn.units import counted

# Within this of the equator the ITU's maps have other air than the document's usual figures.
WARM_DEG = 35.0
USUAL_DELTA_N, USUAL_N0 = 45.0, 325.0
# From so far above the lowest site a mast over a smooth earth is asked about: pages say it from 100 m on.
FAR_ABOVE_M = 500.0
# Places a side at which it is asked whether the cover's files reach so far.
LOOKED_N = 100
Bounds = tuple[float, float, float, float]


def ground_basis_problems(network: Network, placed: Mapping[str, Located], ground: Ground) -> tuple[Problem, ...]:
    """Doubts about what levels rest on.

    Parameters
    ----------
    network : Network
    placed : mapping of site id to a position on WGS84
    ground : Ground

    Returns
    -------
    problems : tuple of Problem
        Warnings.
    """
    near = {s.id: sea_km(placed[s.id].lat_deg, placed[s.id].lon_deg) for s in network.sites if s.id in placed}
    coastal = {site: km for site, km in near.items() if km <= COAST_KM}
    found = []
    if coastal and ground.zones is None:
        least = min(coastal.values())
        found.append(
            Problem(
                "zones",
                f"{len(coastal)} of {len(network.sites)} sites stand within {COAST_KM:g} km of a sea and no zones are "
                "named: all counts as inland, and signals over the sea come out too weak for 1 % of the time (17 dB at "
                "40 km)",
                "zones of sea, coast and inland: python -m sfn coast makes them, or the page Terrain",
                "warning",
                code="sea-without-zones",
                touches=tuple(Touch(site) for site in coastal),
                fields=("zones",),
                values={"least_km": least, "sites_n": float(len(coastal))},
                said={"all_n": len(network.sites), "coast_km": COAST_KM},
            )
        )
    if ground.surface and ground.cover is None:
        found.append(
            Problem(
                "cover",
                "the terrain has heights of treetops and roofs and no ground cover is named: receivers count as "
                "standing on them, and levels come out too strong",
                "ground cover, which is taken off the terrain",
                "warning",
                code="surface-without-cover",
                touches=tuple(Touch(site.id) for site in network.sites),
                fields=("cover",),
            )
        )
    averaged_n = window_averaged(ground, usual_bounds(placed, ground=ground)) if placed else (1, 1, 1)
    if said := averaged_says(*averaged_n):
        found.append(
            Problem(
                "terrain",
                f"the usual map of the network is too large for its ground as it is. {said}",
                "a map of a smaller area, or coarser files that were made with care for ridges",
                "warning",
                code="terrain-averaged",
                touches=tuple(Touch(site) for site in placed),
                fields=("terrain", "cover", "zones"),
                said=averaged_parts(*averaged_n),
            )
        )
    found += [
        *_beyond_cover(network, placed, ground),
        *_voids(placed, ground),
        *_far_above_the_plain(network),
        *_finer(placed, ground),
    ]
    warm = [site for site in near if abs(placed[site].lat_deg) < WARM_DEG]
    if warm and (network.delta_n, network.surface_refractivity_n0) == (USUAL_DELTA_N, USUAL_N0):
        by_sea = "50 to 80 N-units/km and 340 to 390 N-units by the sea" if coastal else "40 to 60 N-units/km inland"
        found.append(
            Problem(
                "delta_n",
                f"the air is taken as in temperate countries ({USUAL_DELTA_N:g} N-units/km, {USUAL_N0:g} N-units) "
                f"within {WARM_DEG:g} degrees of the equator",
                f"the ITU's maps DN50 and N050 of P.1812 (python -m sfn refractivity reads them); {by_sea} are usual "
                "(from memory)",
                "warning",
                code="refractivity-usual",
                touches=tuple(Touch(site) for site in warm),
                fields=("delta_n", "surface_refractivity_n0"),
                values={"delta_n": network.delta_n, "n0": network.surface_refractivity_n0},
                said={"warm_deg": WARM_DEG, "by_sea": "yes" if coastal else None},
            )
        )
    return tuple(found)


def _beyond_cover(network: Network, placed: Mapping[str, Located], ground: Ground) -> Iterator[Problem]:
    """Where the usual map shows terrain of treetops, and the ground cover that is taken off it ends or has no value."""
    terrain, cover = ground.terrain, ground.cover
    if not ground.surface or terrain is None or cover is None or not placed:
        return
    try:
        bounds_deg = bounds_to_the_edge(network, placed, ground=ground)
    except PlanError:  # of the service: said by itself
        bounds_deg = usual_bounds(placed, ground=ground)
    bare_ratio, shown_km2 = _uncovered(bounds_deg, cover)
    if bare_ratio <= 0.0:
        return
    about_pct, bare_km2 = max(100.0 * bare_ratio, 0.1), bare_ratio * shown_km2
    yield Problem(
        "cover",
        f"the terrain has heights of treetops and roofs, and on about {about_pct:.1f} % of the usual map "
        f"({bare_km2:.0f} of {shown_km2:.0f} km2, sea included) no ground cover is known that would be taken off them: "
        "receivers count as standing on them there, and levels come out too strong, by 10 dB and more in woods of 15 m "
        "20 km from an FM site",
        "ground cover of all the area; the map says how many km2 and people it concerns",
        "warning",
        code="surface-beyond-cover",
        touches=tuple(Touch(site) for site in placed),
        fields=("cover",),
        values={"bare_km2": bare_km2, "shown_km2": shown_km2},
        said={"about_pct": f"{about_pct:.1f}", "bare_said": f"{bare_km2:.0f}", "shown_said": f"{shown_km2:.0f}"},
    )


def _uncovered(bounds_deg: Bounds, cover: Terrain) -> tuple[float, float]:
    """On which part of an area no cover is known, by its files' rectangles and their voids; and the area. [km2]"""
    south, west, north, east = bounds_deg
    lat, lon = (
        low + (high - low) * (np.arange(LOOKED_N) + 0.5) / LOOKED_N for low, high in ((south, north), (west, east))
    )
    bare = np.ones((LOOKED_N, LOOKED_N))
    for part in cover.parts:
        low, left, high, right = part.bounds_deg
        in_it = ((lat >= low) & (lat <= high))[:, None] & ((lon - left) % 360.0 <= right - left)[None, :]
        bare[in_it] *= getattr(part, "void_pct", 0.0) / 100.0
    width = np.broadcast_to(np.cos(np.radians(lat))[:, None], bare.shape)
    km2 = (north - south) * (east - west) * (METRES_PER_DEGREE_M / 1000.0) ** 2 * float(width.mean())
    return float((bare * width).sum() / width.sum()), km2


def _voids(placed: Mapping[str, Located], ground: Ground) -> Iterator[Problem]:
    """Files of terrain on the usual map that lack heights, with nothing coarser below them."""
    terrain = ground.terrain
    if terrain is None or not placed:
        return
    bounds_deg = usual_bounds(placed, ground=ground)
    lacking = [
        tile
        for tile in terrain.tiles
        if tile.void_pct > 0.0
        and any(overlaps(tile.bounds_deg, bounds_deg, turn_deg) for turn_deg in TURNS_DEG)
        and not _underlaid(tile, terrain)
    ]
    if not lacking:
        return
    worst = max(lacking, key=lambda tile: tile.void_pct)
    file, void_pct, wide_km = Path(worst.path).name, max(worst.void_pct, 0.1), f"{2.0 * DEEPEST_VOID_M / 1000.0:g}"
    yield Problem(
        "terrain",
        f"{len(lacking)} of the terrain's files on the usual map lack heights, most {file} (about {void_pct:.1f} % of "
        f"it): unless the zones say sea there, no place in a void wider than {wide_km} km is judged, nor one behind "
        "it as seen from a site",
        "heights of those places too, of a coarser file if need be; the map says how many km2 it does not judge",
        "warning",
        code="terrain-voids",
        touches=tuple(Touch(site) for site in placed),
        fields=("terrain",),
        values={"void_pct": worst.void_pct, "files_n": float(len(lacking))},
        said={"file": file, "about_pct": f"{void_pct:.1f}", "wide_km": wide_km},
    )


def _underlaid(tile: Tile, terrain: Terrain) -> bool:
    """Whether one coarser part without voids lies under all of a file."""
    parts = terrain.parts
    south, west, north, east = tile.bounds_deg
    return any(
        part.bounds_deg[0] <= south and part.bounds_deg[1] <= west and part.bounds_deg[2] >= north
        and part.bounds_deg[3] >= east and getattr(part, "void_pct", 0.0) == 0.0
        for part in parts[: parts.index(tile)]
    )  # fmt: skip


def _far_above_the_plain(network: Network) -> Iterator[Problem]:
    """Sites far above the lowest where a smooth earth stands in the place of terrain: one slip lowers the country."""
    if network.terrain is not None:
        return
    high = [site for site in network.sites if site.ground_m - network.plain_m >= FAR_ABOVE_M]
    if not high:
        return
    yield Problem(
        "terrain",
        f"{smooth_says(network)}; {counted(len(high), 'site')} {'stands' if len(high) == 1 else 'stand'} "
        f"{FAR_ABOVE_M:g} m and more above it",
        "a terrain; or the lowest site's ground looked at again",
        "warning",
        code="far-above-the-plain",
        touches=tuple(Touch(site.id) for site in high),
        fields=("terrain", "ground_m"),
        values={"plain_m": network.plain_m, "sites_n": float(len(high))},
        said=smooth_parts(network) | {"above_said": f"{FAR_ABOVE_M:g}"},
    )


def _finer(placed: Mapping[str, Located], ground: Ground) -> tuple[Problem, ...]:
    """A remark where profiles step over samples of the terrain."""
    if ground.terrain is None or not placed:
        return ()
    spacing_m = max(ground.terrain.step_m(at.lat_deg) for at in placed.values())
    if spacing_m >= 0.9 * LEAST_STEP_M:
        return ()
    return (
        Problem(
            "terrain",
            f"the terrain has a height every {spacing_m:.3g} m, and profiles take one every {LEAST_STEP_M:g} m: maps "
            "and paths step over the others",
            "nothing to do where hills are wider than that; terrain of 20 to 30 m is read sooner",
            "warning",
            code="terrain-finer-than-steps",
            touches=tuple(Touch(site) for site in placed),
            fields=("terrain",),
            values={"spacing_m": spacing_m, "step_m": LEAST_STEP_M},
            said={"spacing_said": f"{spacing_m:.3g}"},
        ),
    )
