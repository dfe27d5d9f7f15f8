"""Loss from a transmitter to many places at once: the sweep laid over the ground that a network has."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.field.crossed import crossed
from sfn.field.path import SYMBOL, default_step_m, smooth_surface_m
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.line import inverse
from sfn.propagation import link
from sfn.propagation.share import Share
from sfn.propagation.smooth_table import BEARINGS_N, smooth_losses_around
from sfn.propagation.sweep import losses_around
from sfn.terrain.ground import GroundWindow
from sfn.terrain.heights import HeightGrid, sample_nearest

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]

TIME_PCT = (50.0, 1.0)
# The sweep's reach; farther places get no level.
GREATEST_RANGE_M = 1_000_000.0
# Over a smooth earth receivers are read off a table of so many losses a step of distance, when they are more than it.
READ_OFF_N = BEARINGS_N


def losses(
    transmitter: Transmitter,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    *,
    ground: GroundWindow,
    rx_height_m: float,
    rx_ground_m: ArrayLike | None,
    receiver_polarisation: Plane | None,
    step_m: float | None,
    pixel_m: float,
    share: Share | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> tuple[link.Losses, NDArray[np.bool_]]:
    """Loss at 50 % and 1 % of time at places, and where all the ground on the way is known.

    Parameters
    ----------
    transmitter : Transmitter
    lat_deg, lon_deg : array_like, one shape or shapes that broadcast
        Places. [degrees]
    ground : GroundWindow
        Ground round the site and all places.
    rx_height_m : float
        Receiving antenna above ground. [m]
    rx_ground_m : array_like, optional
        Ground at the places, NaN where not given. [m]
    receiver_polarisation, step_m
        As in `sfn.field.path.path_levels`.
    pixel_m : float
        Size that a place stands for. [m]
    share, progress, cancelled : optional
        As in `sfn.propagation.sweep.losses_around`; over a smooth earth, which takes no time, there are no shares.

    Returns
    -------
    losses : sfn.propagation.link.Losses
        NaN beyond 1000 km and where the ground is not known.
    covered : ndarray of bool
        False also where a small void of the terrain was filled on the way.

    Raises
    ------
    ValueError
        If a share of a smooth earth is asked for.
    """
    if share is not None and ground.terrain is None:
        raise ValueError("share must be None over a smooth earth")
    lat, lon = np.broadcast_arrays(np.asarray(lat_deg, dtype=np.float64), np.asarray(lon_deg, dtype=np.float64))
    given_m = np.broadcast_to(np.asarray(np.nan if rx_ground_m is None else rx_ground_m, dtype=np.float64), lat.shape)
    if ground.terrain is None:
        return _over_smooth_earth(
            transmitter, lat, lon, given_m, ground, rx_height_m, receiver_polarisation, step_m, pixel_m, progress,
            cancelled,
        )  # fmt: skip

    found = losses_around(
        transmitter.lat_deg,
        transmitter.lon_deg,
        rx_lat_deg=lat,
        rx_lon_deg=lon,
        rx_ground_m=given_m,
        link=_link(transmitter, transmitter.ground_m, transmitter.antenna_m, rx_height_m, receiver_polarisation),
        terrain=link.Terrain(
            _raster(ground.terrain), _maybe(ground.cover), _maybe(ground.zones), _maybe(ground.clutter)
        ),
        step_m=step_m or default_step_m(ground, lat_deg=transmitter.lat_deg),
        pixel_m=pixel_m,
        radius_km=reach_km(transmitter, lat, lon),
        share=share,
        progress=progress,
        cancelled=cancelled,
    )
    covered = np.isfinite(found.loss_db[0])
    if ground.filled is not None:
        covered &= ~crossed(
            ground.filled, ground.terrain, lat_deg=transmitter.lat_deg, lon_deg=transmitter.lon_deg,
            distance_km=found.distance_km, azimuth_deg=found.azimuth_deg, reach_km=share.edge_km if share else None,
        )  # fmt: skip
    return found, covered


def _over_smooth_earth(
    transmitter: Transmitter, lat: Floats, lon: Floats, given_m: Floats, ground: GroundWindow, rx_height_m: float,
    plane: Plane | None, step_m: float | None, pixel_m: float, progress: Progress | None,
    cancelled: Callable[[], bool] | None,
) -> tuple[link.Losses, NDArray[np.bool_]]:  # fmt: skip
    """The same model where no terrain is known; one sweep for each height of the surface (one, mostly)."""
    shape = lat.shape
    surface_m = np.broadcast_to(smooth_surface_m(transmitter, given_m), shape)
    at_m = np.where(np.isnan(given_m), surface_m, given_m)
    if lat.size and at_m.min() == at_m.max() and surface_m.min() == surface_m.max():
        part = _over_level_ground(
            transmitter, lat, lon, (float(surface_m.flat[0]), float(at_m.flat[0])), ground, rx_height_m, plane, step_m,
            pixel_m, progress, cancelled,
        )  # fmt: skip
        return replace(part, ground_m=at_m), np.isfinite(part.loss_db[0])
    loss = np.full((len(TIME_PCT), *shape), np.nan)
    distance, azimuth, elevation = (np.full(shape, np.nan) for _ in range(3))
    sight = np.zeros(shape, dtype=np.bool_)
    pairs, member = np.unique(np.stack([surface_m.ravel(), at_m.ravel()]), axis=1, return_inverse=True)
    for n, (surface, own_m) in enumerate(pairs.T):
        chosen = (member == n).reshape(shape)
        part = _over_level_ground(
            transmitter, lat[chosen], lon[chosen], (float(surface), float(own_m)), ground, rx_height_m, plane, step_m,
            pixel_m, progress, cancelled,
        )  # fmt: skip
        loss[:, chosen], sight[chosen] = part.loss_db, part.line_of_sight
        distance[chosen], azimuth[chosen], elevation[chosen] = (
            part.distance_km, part.azimuth_deg, part.tx_elevation_deg
        )  # fmt: skip
    return link.Losses(loss, distance, azimuth, at_m, sight, elevation), np.isfinite(loss[0])


def _over_level_ground(
    transmitter: Transmitter, lat: Floats, lon: Floats, heights_m: tuple[float, float], ground: GroundWindow,
    rx_height_m: float, plane: Plane | None, step_m: float | None, pixel_m: float, progress: Progress | None,
    cancelled: Callable[[], bool] | None,
) -> link.Losses:  # fmt: skip
    """Losses over one height of the surface; `heights_m` are those of the surface and of the receivers' ground."""
    surface, own_m = heights_m
    tx_m = transmitter.ground_m + transmitter.antenna_m - surface
    over = _link(transmitter, surface, tx_m, max(own_m + rx_height_m - surface, 1.0), plane)
    step = step_m or default_step_m(ground, lat_deg=transmitter.lat_deg)
    reach = reach_km(transmitter, lat, lon)
    if ground.cover is None and ground.zones is None and lat.size > READ_OFF_N * reach * 1000.0 / step:
        if progress is not None:
            progress(0, lat.size)
        found = smooth_losses_around(
            transmitter.lat_deg, transmitter.lon_deg, rx_lat_deg=lat, rx_lon_deg=lon, link=over, step_m=step,
            radius_km=reach,
        )  # fmt: skip
        if progress is not None:
            progress(lat.size, lat.size)
        return found

    def sampled(a: Floats, b: Floats) -> tuple[Floats, Floats, NDArray[np.int8]]:
        """Level ground, with the cover and zones that are named."""
        zone = _nearest(ground.zones, a, b).astype(np.int8)
        return np.full(a.shape, surface), _nearest(ground.cover, a, b), zone

    return losses_around(
        transmitter.lat_deg, transmitter.lon_deg, rx_lat_deg=lat, rx_lon_deg=lon, link=over, terrain=sampled,
        step_m=step, pixel_m=pixel_m, radius_km=reach, progress=progress, cancelled=cancelled,
    )  # fmt: skip


def _link(
    transmitter: Transmitter, ground_m: float, tx_height_m: float, rx_height_m: float, plane: Plane | None
) -> link.Link:
    """The transmitter's quantities as the sweep takes them."""
    return link.Link(
        tx_ground_m=ground_m,
        tx_height_m=tx_height_m,
        rx_height_m=rx_height_m,
        frequency_mhz=transmitter.frequency_mhz,
        polarisation=SYMBOL[transmitter.received_plane(plane)],
        delta_n=transmitter.delta_n,
        surface_refractivity_n0=transmitter.surface_refractivity_n0,
        time_pct=TIME_PCT,
    )


def reach_km(transmitter: Transmitter, lat: Floats, lon: Floats) -> float:
    """Distance of the farthest place, at most the sweep's reach. [km]

    Of a table of places only its rim is asked: what lies within is nearer than the farthest of the rim.
    """
    if lat.ndim == 2:
        lat, lon = (np.concatenate([v[0], v[-1], v[:, 0], v[:, -1]]) for v in (lat, lon))
    if not lat.size:
        return 0.2
    farthest_m = float(np.nanmax(inverse(transmitter.lat_deg, transmitter.lon_deg, lat, lon)[0], initial=0.0))
    return min(max(farthest_m * 1.001 + 10.0, 200.0), GREATEST_RANGE_M) / 1000.0


def _raster(grid: HeightGrid) -> link.LatLonRaster:
    """A grid as the sweep takes it: rows run southwards."""
    return link.LatLonRaster(grid.height_m, grid.north_deg, grid.west_deg, -grid.step_lat_deg, grid.step_lon_deg)


def _maybe(grid: HeightGrid | None) -> link.LatLonRaster | None:
    """A grid that may be missing, as the sweep takes it."""
    return None if grid is None else _raster(grid)


def _nearest(grid: HeightGrid | None, lat: Floats, lon: Floats) -> Floats:
    """Nearest values of a grid; 0 where it has none."""
    return np.zeros(lat.shape) if grid is None else np.nan_to_num(sample_nearest(grid, lat, lon), nan=0.0)
