"""Levels and travel times of all sites over one grid: computed once, redrawn from at every change of delay."""

import hashlib
import json
from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem, Touch
from sfn.field.indoors import indoor_loss_db
from sfn.field.raster import LevelRaster
from sfn.field.rasters import CacheFolder, SiteProgress, level_rasters
from sfn.field.shift import site_shift
from sfn.field.transmitter import Plane, Transmitter, transmitter
from sfn.geodesy.grid import Grid
from sfn.geodesy.line import direct, sphere_bearing
from sfn.geodesy.position import Located
from sfn.geodesy.travel import travel_times
from sfn.plan import Network
from sfn.plan.record import SiteName
from sfn.reception.other_network import others_of, others_placed
from sfn.terrain.ground import Ground, averaged_says, coarsest
from sfn.terrain.treetops import on_treetops_grid
from sfn.units import grouped

# A map without given bounds shows the sites and this much around them, at least, in this many pixels or so.
MARGIN_OF_SPAN_RATIO = 0.25
LEAST_MARGIN_M = 12_000.0
USUAL_PIXELS_N = 160_000


@dataclass(frozen=True, slots=True)
class Coverage:
    """Signals of S sites over the M pixels of a grid, row by row from the north-west.

    Parameters
    ----------
    grid : Grid
    sites : tuple of str
        Site ids, in the order of the arrays' first axis: all sites of the network, on air or not.
    level_dbuvm, level_1pct_dbuvm : ndarray of float32, shape (S, M)
        Exceeded for 50 % and 1 % of time, median over places. [dB(uV/m)]
    travel_us : ndarray, shape (S, M)
        Travel time from antenna to antenna. [us]
    rx_ground_m : ndarray of float32, shape (M,)
        Ground above sea level. [m]
    covered : ndarray of bool, shape (M,)
        False where the terrain has a gap at the pixel or on the way to it from some site.
    smooth : bool
        No terrain was used: the earth counted as smooth.
    averaged : tuple of int
        Samples along a side of each height, and of each cover height or zone, that some site's levels rest on: 1
        where they are as in the files. `averaged_says` puts it in words.
    tx_elevation_deg : ndarray of float32, shape (S, M)
        Elevation at which each ray leaves its site: what an antenna turns on, so that another can be tried. A fifth of
        the memory of all; bearings are worked out anew instead. [degrees]
    radiating : tuple of Transmitter
        What the levels are of, site by site; empty where they were made by hand, and cannot follow a try.
    gains : dict
        What `sfn.reception.aimed` keeps of roof antennas, by the sites on air. [dB]
    """

    grid: Grid
    sites: tuple[str, ...]
    level_dbuvm: NDArray[np.float32]
    level_1pct_dbuvm: NDArray[np.float32]
    travel_us: NDArray[np.float64]
    rx_ground_m: NDArray[np.float32]
    covered: NDArray[np.bool_]
    smooth: bool
    tx_elevation_deg: NDArray[np.float32] = field(default_factory=lambda: np.zeros((0, 0), np.float32))
    radiating: tuple[Transmitter, ...] = ()
    gains: dict[tuple[int, ...], NDArray[np.float32]] = field(default_factory=dict, compare=False, repr=False)
    bearings: dict[int, NDArray[np.float32]] = field(default_factory=dict, compare=False, repr=False)
    """Bearings of the pixels from sites whose antenna was tried otherwise, by their place; never copied. [degrees]"""
    retried: bool = False
    """Whether its levels follow another power or antenna than they were computed with, in arrays of their own."""
    averaged: tuple[int, int, int] = (1, 1, 1)
    others: "Coverage | None" = None
    """Levels of transmitters of other programmes; None where none is listed."""
    beyond_terrain: tuple[str, ...] = ()
    """Names of other programmes' transmitters that reach pixels over a smooth earth: the terrain leaves them out."""
    on_treetops: NDArray[np.bool_] | None = None
    """Where heights of treetops count as bare ground, shape (M,) (`sfn.terrain.treetops`); None: not looked at."""

    @property
    def averaged_says(self) -> str:
        """What must be said where the ground was made coarser; empty where it was not."""
        return averaged_says(*self.averaged)

    @property
    def kept_bytes(self) -> int:
        """Memory of its largest arrays."""
        levels = self.level_dbuvm.nbytes + self.level_1pct_dbuvm.nbytes
        kept = sum(one.nbytes for one in (*self.gains.values(), *self.bearings.values()))
        return levels + kept + self.travel_us.nbytes + self.tx_elevation_deg.nbytes

    def area_km2(self) -> NDArray[np.float64]:
        """Ground area of each pixel, shape (M,). [km2]"""
        return np.asarray(np.repeat(self.grid.pixel_area_km2, self.grid.columns_n))

    def judged(self, on_air: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Where the levels of all these sites are known, shape (M,): a signal that is not known is not none."""
        known, lost = np.ones(self.covered.shape, dtype=bool), np.flatnonzero(~self.covered)
        known[lost] = np.isfinite(self.level_dbuvm[np.ix_(on_air, lost)]).all(axis=0)
        return known

    def uncovered_by(self) -> tuple[tuple[str, float], ...]:
        """Whose level is not known at places whose ground is, and on how many km2, the most first.

        One such site is enough for a place not to be judged.
        """
        at = np.flatnonzero(~self.covered & np.isfinite(self.rx_ground_m))  # few, or none, and maps follow each key
        lost_km2 = (np.isnan(self.level_dbuvm[:, at]) @ self.area_km2()[at]).tolist()
        lost = ((name, km2) for name, km2 in zip(self.sites, lost_km2, strict=True) if km2 > 0)
        return tuple(sorted(lost, key=lambda one: -one[1]))

    def uncovered_says(self, network: Network, people: float | None = None) -> str:
        """What the terrain does not cover, at the place or on the way from whom, and how many `people` live there."""
        lost = ~self.covered
        if not lost.any():
            return ""
        area_km2, beyond = self.area_km2(), np.isnan(self.rx_ground_m)
        names = {site.id: format(SiteName(site.name)) for site in network.sites}
        by = ", ".join(f"{names[name]} ({grouped(round(km2))} km2)" for name, km2 in self.uncovered_by())
        at_km2, all_km2 = float(area_km2[lost & beyond].sum()), float(area_km2[lost].sum())
        parts = (
            f"on the way from {by}" if by else "",
            f"at the place on {grouped(round(at_km2))} km2" if at_km2 else "",
            "over small gaps that were filled from their rim" if not by and not at_km2 else "",
        )
        told = ", and ".join(part for part in parts if part)
        who = f" with {grouped(round(people))} people" if people else ""
        return f"not covered by the terrain {told}; in all {grouped(round(all_km2))} km2{who} are not judged"

    def on_air(self, network: Network) -> NDArray[np.intp]:
        """Places in the first axis of the sites that radiate in a network: none behind a parent that does not."""
        radiating = network.transmitting
        return np.array([i for i, name in enumerate(self.sites) if name in radiating], dtype=np.intp)

    def arrivals(self, launches: Mapping[str, float]) -> NDArray[np.float64]:
        """Arrival times, launch plus travel, shape (S, M). [us]"""
        return np.asarray(self.travel_us + np.array([launches[name] for name in self.sites])[:, None])


def received_plane(network: Network) -> Plane | None:
    """The plane that the network's receiver takes; None where it is the stronger one."""
    plane = network.receiver.polarisation
    return None if plane == "stronger" else plane


def transmitters(network: Network, placed: Mapping[str, Located]) -> tuple[Transmitter, ...]:
    """What every site radiates, in document order.

    Raises
    ------
    PlanError
        If a figure lies outside what the propagation model covers, with the site.
    """
    made, problems = [], []
    for site in network.sites:
        at = placed[site.id]
        try:
            made.append(transmitter(site, network, lat_deg=at.lat_deg, lon_deg=at.lon_deg))
        except ValueError as error:
            problems.append(
                Problem(
                    f"sites[{network.places[site.id]}]",
                    f"site {site.name}: {error}",
                    "a figure in that range (ITU-R P.1812)",
                    code="outside-propagation-model",
                    touches=(Touch(site.id),),
                )
            )
    if problems:
        raise PlanError(problems)
    return tuple(made)


def coverage(
    network: Network,
    grid: Grid,
    *,
    placed: Mapping[str, Located],
    ground: Ground,
    executor: Executor,
    cache: CacheFolder | None = None,
    progress: SiteProgress | None = None,
    cancelled: Callable[[], bool] | None = None,
    finished: Callable[[str, LevelRaster], None] | None = None,
) -> Coverage:
    """Levels and travel times of all sites over a grid.

    Parameters
    ----------
    network : Network
    grid : Grid
    placed : mapping of site id to Located
    ground : Ground
        From `sfn.terrain.ground.open_ground`.
    executor : Executor
        Runs one call a site.
    cache : CacheFolder, optional
        Where rasters are kept on disk.
    progress, cancelled : callable, optional
        As in `sfn.field.rasters.level_rasters`.
    finished : callable(site id, raster), optional
        Told of every site as it is finished, in this thread.

    Raises
    ------
    PlanError
        If a site cannot be computed, with its name.
    sfn.propagation.link.SweepCancelled
        If `cancelled` said so.
    """
    radiating = transmitters(network, placed)
    count, pixels = len(radiating), grid.pixels_n
    level, level_1pct, rises = (np.empty((count, pixels), dtype=np.float32) for _ in range(3))
    covered = np.ones(pixels, dtype=bool)
    rx_ground = np.full(pixels, np.nan, dtype=np.float32)
    smooth, averaged = True, (1, 1, 1)
    height_m, inside_db = network.receiver.height_m, np.float32(indoor_loss_db(network))
    made = level_rasters(
        radiating,
        grid,
        ground=ground,
        rx_height_m=height_m,
        receiver_polarisation=received_plane(network),
        executor=executor,
        cache=cache,
        progress=progress,
        cancelled=cancelled,
    )
    for i, raster in made:
        level[i], level_1pct[i] = raster.level_dbuvm.ravel(), raster.level_1pct_dbuvm.ravel()
        rises[i] = raster.tx_elevation_deg.ravel()
        shift_db = shift_on(network, radiating[i], grid) - inside_db
        if np.any(shift_db):
            level[i] += np.ravel(shift_db)
            level_1pct[i] += np.ravel(shift_db)
            raster = replace(
                raster, level_dbuvm=level[i].reshape(grid.shape), level_1pct_dbuvm=level_1pct[i].reshape(grid.shape)
            )
        covered &= raster.covered.ravel()
        rx_ground = np.where(np.isnan(rx_ground), raster.rx_ground_m.ravel(), rx_ground)
        smooth &= raster.smooth
        averaged = coarsest(averaged, raster.averaged)
        if finished is not None:
            finished(radiating[i].id, raster)
    travel = travel_times(
        grid,
        lat_deg=[t.lat_deg for t in radiating],
        lon_deg=[t.lon_deg for t in radiating],
        antenna_asl_m=[t.ground_m + t.antenna_m for t in radiating],
        receiver_asl_m=np.nan_to_num(rx_ground.astype(np.float64), nan=0.0).reshape(grid.shape) + height_m,
        refractivity_n=network.refractivity_n,
        executor=executor,
    )
    ids = tuple(site.id for site in network.sites)
    theirs = others_of(network)
    others = None
    if theirs is not None:
        at = others_placed(theirs)
        others = coverage(
            theirs, grid, placed=at, ground=ground, executor=executor, cache=cache, progress=progress,
            cancelled=cancelled,
        )  # fmt: skip
        short = np.isnan(others.level_dbuvm)
        if ground.terrain is not None and short.any():  # what disturbs must not be forgotten
            rows = np.flatnonzero(short.any(axis=1))
            some = theirs.of_sites([theirs.sites[row] for row in rows]).model_copy(update={"terrain": None})
            flat = coverage(some, grid, placed=at, ground=Ground(), executor=executor, cache=cache, cancelled=cancelled)
            for row, smooth_50, smooth_1 in zip(rows, flat.level_dbuvm, flat.level_1pct_dbuvm, strict=True):
                np.copyto(others.level_dbuvm[row], smooth_50, where=short[row])
                np.copyto(others.level_1pct_dbuvm[row], smooth_1, where=short[row])
            others = replace(others, beyond_terrain=tuple(site.name for site in some.sites))
    return Coverage(
        grid,
        ids,
        level,
        level_1pct,
        travel.reshape(count, pixels),
        rx_ground,
        covered,
        smooth,
        rises,
        radiating,
        averaged=averaged,
        others=others,
        on_treetops=on_treetops_grid(ground, grid.lat_deg, grid.lon_deg, rx_ground.reshape(grid.shape)).ravel(),
    )


def bearings(of: Transmitter, grid: Grid) -> NDArray[np.float64]:
    """Bearing of every pixel seen from a site, on the sphere: see `sfn.geodesy.line.sphere_bearing`.

    Returns
    -------
    bearing_deg : ndarray, shape (M,)
        [degrees]
    """
    return sphere_bearing(of.lat_deg, of.lon_deg, grid.lat_deg[:, None], grid.lon_deg).ravel() % 360.0


def shift_on(network: Network, of: Transmitter, grid: Grid) -> NDArray[np.float32]:
    """What a site's accepted level shift adds to each pixel, shape (rows, columns); one zero without any. [dB]"""
    site = next(site for site in network.sites if site.id == of.id)
    if site.level_shift is None:
        return np.zeros((1, 1), dtype=np.float32)
    return np.asarray(site_shift(site, bearings(of, grid)), dtype=np.float32).reshape(grid.shape)


def usual_bounds(placed: Mapping[str, Located], *, ground: Ground) -> tuple[float, float, float, float]:
    """The area that a map shows when none is given.

    Parameters
    ----------
    placed : mapping of site id to Located
    ground : Ground
        Terrain that does not reach so far bounds the area, as long as every site stands in it.

    Returns
    -------
    bounds_deg : tuple of float
        South, west, north, east of an area with all sites and some room around them. [degrees]
    """
    lats, lons = [at.lat_deg for at in placed.values()], [at.lon_deg for at in placed.values()]
    if max(lons) - min(lons) > 180:  # across the date line
        lons = [lon % 360 for lon in lons]
    south, west, north, east = min(lats), min(lons), max(lats), max(lons)
    middle = (south + north) / 2
    span_m = max((north - south) * 111_000, (east - west) * 111_000 * np.cos(np.radians(middle)))
    margin = max(LEAST_MARGIN_M, MARGIN_OF_SPAN_RATIO * span_m)
    up, _ = direct(north, west, azimuth_deg=0.0, ground_m=margin)
    down, _ = direct(south, west, azimuth_deg=180.0, ground_m=margin)
    widen = margin / (111_320.0 * np.cos(np.radians(middle)))
    wide = max(-85.0, float(down)), west - widen, min(85.0, float(up)), east + widen
    if ground.terrain is None:
        return wide
    edge = ground.terrain.bounds_deg
    held = edge[0] <= south and edge[1] <= west and edge[2] >= north and edge[3] >= east
    if not held:
        return wide
    return max(wide[0], edge[0]), max(wide[1], edge[1]), min(wide[2], edge[2]), min(wide[3], edge[3])


def usual_pixel_m(bounds_deg: tuple[float, float, float, float]) -> float:
    """A round pixel size that makes a map of about `USUAL_PIXELS_N` pixels of an area. [m]"""
    south, west, north, east = bounds_deg
    height_m = (north - south) * 111_000
    width_m = (east - west) * 111_320 * float(np.cos(np.radians((south + north) / 2)))
    side = max(0.0, height_m * width_m / USUAL_PIXELS_N) ** 0.5  # bounds that are no area are refused by the grid
    return float(
        next((s for s in (25, 50, 75, 100, 150, 200, 300, 400, 500, 750, 1000, 1500, 2000) if s >= side), 5000)
    )


def coverage_key(network: Network, grid: Grid, *, ground: Ground) -> str:
    """What a `Coverage` depends on, as a short key: no delay, no offset, not what is on air.

    Parameters
    ----------
    network : Network
    grid : Grid
    ground : Ground
        Its digest changes with the files' content.
    """
    return levels_key(network, repr(grid), ground=ground)


def levels_key(network: Network, where: str, *, ground: Ground) -> str:
    """The same for levels at any places, `where` being what tells these apart."""
    sites = [
        site.model_dump(
            mode="json", include={"id", "position", "ground_m", "antenna_m", "erp_kw", "antenna", "level_shift"}
        )
        for site in (*network.sites, *(one for one in network.other_transmitters or () if one.on_air))
    ]
    about = network.model_dump(
        mode="json",
        include={
            "frequency_mhz",
            "refractivity_n",
            "delta_n",
            "surface_refractivity_n0",
            "receiver",
            "terrain",
            "cover",
            "zones",
        },
    )
    text = json.dumps([sites, about, where, ground.digest], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:20]
