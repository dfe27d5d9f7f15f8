"""A raster of receivers by ITU-R P.1812, from radials: the fast form.

Each receiver belongs to its nearest radial, or lies between two, with its own distance and its own ground height.
Radials are geodesics from the site, so close that the arc between two at the edge is a fifth of a pixel at most; what
a radial has learnt of its terrain serves every receiver further out. `p1812.path_loss` over the same profile gives the
same loss to 1e-9 dB.

What a receiver's path consists of: the radial's points every `step_km` from the transmitter, but none nearer to the
receiver than half a step, then the receiver with its own ground height and zone. Cover ends at the clutter distance
before the receiver, with the cover of its own place (`near_cover`), and begins as far from the transmitter.
"""

import math
from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import in_range
from sfn.geodesy.around import SiteMap, site_map
from sfn.propagation import kernels, radials
from sfn.propagation.link import LEAST_STEPS, NEAR_STEP_M, Link, Losses, Sampler, SweepCancelled, Terrain
from sfn.propagation.near_cover import CLUTTER_DISTANCE_M
from sfn.propagation.share import Share, greatest_of
from sfn.propagation.sources import reach_km_of, source
from sfn.propagation.sweep_model import model_of, percentages_of

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]
# Radials of one call into compiled code: small, so that a busy core stalls nobody and a cancel is heard soon.
BLOCK_RADIALS = 64
# Of a pixel, between neighbouring radials at the edge. The ridge country mirrored to 100 km, a million pixels of 100 m,
# beside 1000 exact paths: 0.10 dB rms at 50 % and 0.14 at 1 % of time (a quarter: 0.15 and 0.26).
GREATEST_ARC = 0.2
# A short sweep is given more, since they cost it little: as many as a long one, down to a sixteenth of a pixel.
FINEST_ARC, USUAL_RADIALS, LEAST_RADIALS = 1 / 16, 14_400, 360
# A receiver that asks the radial on either side may have them farther apart. Hills at one arc-second, 220 km, beside
# 3000 exact paths: 0.16 dB rms at 50 % and 0.24 at 1 %, 99.8 % within 1.5 dB (half a pixel: 0.24 and 0.33, 99.4 %).
# What is left is single places whose level changes by 10 dB within 2 m across the path.
BETWEEN_ARC = 0.3
# A receiver costs as much as so many points of a radial.
BETWEEN_POINTS = 60.0
# Pieces of a radial in which a parabola is as good as its polynomial.
PIECE_M, MOST_PIECE = 2000.0, 64


def losses_around(
    lat_deg: float,
    lon_deg: float,
    *,
    rx_lat_deg: ArrayLike,
    rx_lon_deg: ArrayLike,
    rx_ground_m: ArrayLike | None = None,
    link: Link,
    terrain: Terrain | Sampler,
    step_m: float,
    pixel_m: float,
    radius_km: float | None = None,
    share: Share | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Losses:
    """P.1812 at many receivers round one site.

    Parameters
    ----------
    lat_deg, lon_deg : float
        The site, at most 85 degrees from the equator with the radius. [degrees]
    rx_lat_deg, rx_lon_deg : array_like, shapes that broadcast together
        Receivers, any order. [degrees]
    rx_ground_m : array_like, broadcast with them, optional
        Ground at the receivers; NaN or None: sampled from `terrain`. [m]
    link : Link
    terrain : Terrain, or a function
        A function gets latitudes and longitudes (arrays of one shape) and gives ground, cover and zone index.
    step_m : float
        Spacing of the points along radials: half a pixel of the terrain, or one for speed. [m] Receivers nearer than
        three and a half steps, where the model would have too few points, get 30 m at most.
    pixel_m : float
        Size that one receiver stands for: sets how close the radials are. [m]
    radius_km : float, optional
        Receivers farther off get NaN, at most 1000. [km]  None: reach the farthest.
    share : Share, optional
        Only the receivers of some blocks of radials: `share.own` is filled with which they are, and the answer has
        one axis. A radial has the receivers it has without a share: laid together these are the whole, bit for bit.
    executor : Executor, optional
        Threads (never processes) for the blocks of radials; compiled code releases the interpreter.
    progress : callable(done, total), optional
        Called in this thread after each block, with numbers of receivers.
    cancelled : callable() -> bool, optional
        Asked before each block.

    Returns
    -------
    Losses

    Raises
    ------
    ValueError
        If a quantity is outside its range, with its name.
    SweepCancelled
        If `cancelled` said so.

    References
    ----------
    .. [1] ITU-R P.1812, Annex 1. How a running maximum and a convex hull replace a scan: `kernels`.
    """
    in_range("step_m", step_m, least=1.0, greatest=5000.0, unit="m")
    in_range("pixel_m", pixel_m, least=1.0, greatest=100_000.0, unit="m")
    lat, lon = np.broadcast_arrays(np.asarray(rx_lat_deg, dtype=np.float64), np.asarray(rx_lon_deg, dtype=np.float64))
    shape = lat.shape
    reach_km = reach_km_of(lat_deg, lon_deg, lat, lon) if radius_km is None else radius_km
    around = site_map(lat_deg, lon_deg, radius_m=1000.0 * min(max(reach_km, 0.2), 1000.0))
    site = np.array([around.lat_deg, around.lon_deg, around.lat_scale_deg, around.lon_scale_deg])
    step_km = step_m / 1000.0

    def located(lat: Floats, lon: Floats) -> tuple[Floats, Floats]:
        distance, azimuth, room = np.empty(lat.size), np.empty(lat.size), np.empty((2, around.degree + 1))
        radials.locate(lat, lon, site, around.plane_m, around.degree, reach_km, distance, azimuth, room)
        return distance, azimuth

    def laid(edge_km: float, receivers_n: int) -> tuple[bool, int]:
        """Whether receivers lie between radials, and how many of these there are.

        Where walking the radials costs far more than their receivers do, there are fewer, and each receiver asks two.
        """
        pixels_round = 2.0 * math.pi * edge_km * 1000.0 / pixel_m
        between = receivers_n * BETWEEN_POINTS < 1.6 * pixels_round * edge_km / step_km
        arc = BETWEEN_ARC if between else GREATEST_ARC
        return between, math.ceil(max(pixels_round / arc, min(pixels_round / FINEST_ARC, USUAL_RADIALS), LEAST_RADIALS))

    ground = np.full(shape, np.nan) if rx_ground_m is None else np.broadcast_to(rx_ground_m, shape)
    whole, everywhere = None, (lat, lon)
    if share is not None:
        whole = share.take(
            lat, lon, located=located, laid=laid, near_km=LEAST_STEPS * step_km, step_km=step_km, block=BLOCK_RADIALS
        )
        at = np.unravel_index(whole.taken, shape)
        lat, lon, ground, shape = lat[at], lon[at], ground[at], whole.taken.shape
    lat, lon = np.ascontiguousarray(lat).ravel(), np.ascontiguousarray(lon).ravel()
    ground = np.array(ground, dtype=np.float64).ravel()
    distance, azimuth = located(lat, lon)
    zone = np.zeros(lat.size, dtype=np.int8)
    cover_m, clear_km = np.empty(0, dtype=np.float32), np.full(1, CLUTTER_DISTANCE_M / 1000.0)
    farthest_km: float | None = None
    if isinstance(terrain, Terrain):
        sources = [source(r, lat_deg, lon_deg) for r in (terrain.ground, terrain.cover, terrain.zone)]
        radials.sample_places(lat, lon, site, *sources[0], *sources[2], ground, zone)
        if terrain.cover is not None:
            cover_m = np.empty(lat.size, dtype=np.float32)
            radials.sample_nearest(lat, lon, site, *sources[1], 0.0, cover_m)
        if terrain.clutter is not None:
            clear_km = np.empty(lat.size)
            apart = source(terrain.clutter, lat_deg, lon_deg)
            radials.sample_nearest(lat, lon, site, *apart, CLUTTER_DISTANCE_M, clear_km)
            clear_km /= 1000.0
            if share is not None:  # of all, for what is laid before whom hangs on it
                farthest_km = greatest_of(
                    *everywhere, partial(radials.sample_nearest, site=site, values=apart[0], at=apart[1],
                                         outside=CLUTTER_DISTANCE_M)
                ) / 1000.0  # fmt: skip
    else:
        sampled, covers, zones = terrain(lat, lon)
        cover_m = np.array(np.broadcast_to(covers, lat.shape), dtype=np.float32)
        ground = np.where(np.isnan(ground), sampled, ground)
        zone = np.array(np.broadcast_to(zones, lat.shape), dtype=np.int8)
        sources = []
    edge_km = float(np.nanmax(distance, initial=0.0)) if whole is None else whole.edge_km
    between, count = laid(edge_km, lat.size if whole is None else whole.receivers_n)
    coefficients = around.along(np.arange(count) * (360.0 / count))
    bare_n = math.ceil(CLUTTER_DISTANCE_M / step_m)
    piece = max(1, min(int(PIECE_M / step_m), MOST_PIECE))

    def fill(first: int, lengths: NDArray[np.int64]) -> tuple[Floats, Floats, NDArray[np.int8]]:
        points = int(lengths.max())
        # The one after the last is the first.
        chosen = np.ascontiguousarray(coefficients.take(range(first, first + len(lengths)), axis=0, mode="wrap"))
        if not sources:
            h, cover, zones = _sampled(terrain, around, chosen, points, step_m)  # type: ignore[arg-type] # a function
            cover[:, :bare_n] = 0.0
            return h, cover, zones
        shape = len(lengths), points
        h, cover = np.empty(shape), np.empty(shape if sources[1][0].size else (0, 0))
        zones = np.empty(shape if sources[2][0].size else (0, 0), dtype=np.int8)
        radials.sample_radials(
            chosen,
            lengths,
            step_m / around.radius_m,
            piece,
            *sources[0],
            *sources[1],
            *sources[2],
            h,
            cover,
            zones,
            np.empty((2, points)),
        )
        cover[:, :bare_n] = 0.0
        return h, cover, zones

    places = _Places(distance, azimuth, ground, zone, cover_m, clear_km, count, step_km)
    loss, sight, elevation = _swept(
        link, places, fill, between=between, lat_deg=lat_deg, firsts=None if whole is None else whole.firsts,
        farthest_km=farthest_km, executor=executor, progress=progress, cancelled=cancelled,
    )  # fmt: skip
    near = distance < LEAST_STEPS * step_km
    if step_m > NEAR_STEP_M and near.any():  # all of them with every share
        finer = losses_around(
            lat_deg, lon_deg, rx_lat_deg=lat[near], rx_lon_deg=lon[near], rx_ground_m=ground[near], link=link,
            terrain=terrain, step_m=NEAR_STEP_M, pixel_m=pixel_m, radius_km=LEAST_STEPS * step_km, cancelled=cancelled,
        )  # fmt: skip
        loss[:, near], sight[near], elevation[near] = finer.loss_db, finer.line_of_sight, finer.tx_elevation_deg
    if share is not None and whole is not None:
        mine = share.own[whole.taken]
        return Losses(
            loss[:, mine], distance[mine], np.degrees(azimuth[mine]), ground[mine], sight[mine], elevation[mine]
        )
    return Losses(
        loss.reshape(len(link.time_pct), *shape), distance.reshape(shape), np.degrees(azimuth).reshape(shape),
        ground.reshape(shape), sight.reshape(shape), elevation.reshape(shape),
    )  # fmt: skip


def losses_on_radials(
    ground_m: ArrayLike,
    *,
    cover_m: ArrayLike | None = None,
    zone: ArrayLike | None = None,
    step_km: float,
    lat_deg: float,
    rx_distance_km: ArrayLike,
    rx_azimuth_deg: ArrayLike,
    rx_ground_m: ArrayLike,
    rx_zone: ArrayLike | None = None,
    rx_cover_m: ArrayLike | None = None,
    rx_clutter_m: ArrayLike = 0.0,
    link: Link,
) -> Losses:
    """P.1812 at receivers over radials that are already sampled.

    Parameters
    ----------
    ground_m, cover_m, zone : array_like, shape (radials, points)
        Radial r has azimuth 360 r / radials; point i lies at i `step_km`. Ground [m], cover [m], zone index.
    step_km : float
        Spacing of the points. [km]
    lat_deg : float
        Latitude of the site. [degrees]
    rx_distance_km, rx_azimuth_deg, rx_ground_m, rx_zone : array_like, shape (receivers,)
        Receivers, with their own ground and zone. One beyond the last point of its radial by more than one and a half
        steps gets NaN.
    rx_cover_m, rx_clutter_m : array_like, shape (receivers,), optional
        Cover at the receivers [m], and how far before them it stands: nearer points of the radial are bare. [m]
        Not given: the cover of the points alone, as it stands.
    link : Link

    Returns
    -------
    Losses
    """
    h = np.require(ground_m, np.float64, ["C", "W"])
    cover = np.zeros_like(h) if cover_m is None else np.require(cover_m, np.float64, ["C", "W"])
    zones = np.zeros(h.shape, dtype=np.int8) if zone is None else np.require(zone, np.int8, ["C", "W"])
    distance = np.array(rx_distance_km, dtype=np.float64)
    distance[~(distance < (h.shape[1] + 0.5) * step_km)] = np.nan
    azimuth = np.radians(np.broadcast_to(np.asarray(rx_azimuth_deg, dtype=np.float64) % 360.0, distance.shape))
    ground = np.array(np.broadcast_to(rx_ground_m, distance.shape), dtype=np.float64)
    own = np.array(np.broadcast_to(0 if rx_zone is None else rx_zone, distance.shape), dtype=np.int8)

    own_cover = np.zeros(0) if rx_cover_m is None else np.array(np.broadcast_to(rx_cover_m, distance.shape))
    clear = np.atleast_1d(np.asarray(rx_clutter_m, dtype=np.float64)) / 1000.0

    def fill(first: int, lengths: NDArray[np.int64]) -> tuple[Floats, Floats, NDArray[np.int8]]:
        rows = slice(first, first + len(lengths))
        return h[rows], cover[rows], zones[rows]

    places = _Places(distance, azimuth, ground, own, own_cover.astype(np.float32), clear, h.shape[0], step_km)
    loss, sight, elevation = _swept(link, places, fill, lat_deg=lat_deg)
    return Losses(loss, distance, np.degrees(azimuth), ground, sight, elevation)


@dataclass(frozen=True, slots=True)
class _Places:
    """Receivers as the kernels take them, how many radials, the step."""

    distance: Floats
    azimuth: Floats
    ground: Floats
    zone: NDArray[np.int8]
    cover_m: NDArray[np.float32]
    clear_km: Floats
    radials: int
    step_km: float


Fill = Callable[[int, NDArray[np.int64]], tuple[Floats, Floats, NDArray[np.int8]]]


def _swept(
    link: Link,
    places: _Places,
    fill: Fill,
    *,
    between: bool = False,
    lat_deg: float,
    firsts: range | None = None,
    farthest_km: float | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """Loss, line of sight and elevation, block of radials by block."""
    size = places.distance.size
    radial, inner = np.empty(size, np.int32), np.empty(size, np.int32)
    half = 0.0 if between else 0.5
    radials.assign(places.distance, places.azimuth, places.radials, half, places.step_km, radial, inner)
    points = int(inner.max(initial=0)) + 1
    starts, order = radials.sort(radial, inner, places.radials, points)
    del radial
    if firsts is None:
        firsts = range(0, places.radials, BLOCK_RADIALS)
    model = model_of(link, lat_deg=lat_deg, step_km=places.step_km)
    percentages = percentages_of(link.time_pct)
    along = np.arange(points) * places.step_km
    with np.errstate(divide="ignore"):
        steps = np.stack([1.0 / along, model.q50 * along * along, model.qb * along * along])
    loss, sight, elevation = (
        np.full((len(link.time_pct), size), np.nan),
        np.zeros(size, np.bool_),
        np.full(size, np.nan),
    )

    if farthest_km is None:
        farthest_km = float(places.clear_km.max(initial=0.0))

    def block(first: int) -> int:
        if cancelled is not None and cancelled():
            raise SweepCancelled
        last = min(first + BLOCK_RADIALS, places.radials)
        ends = starts[first + 1 : last + 1]
        own = ends > starts[first:last]
        if not own.any():
            return 0
        lengths = np.where(own, inner[order[np.maximum(ends - 1, 0)]].astype(np.int64) + 1, 0)
        most = int((ends - starts[first:last]).max())
        if between:
            lengths = np.maximum(np.append(lengths, 0), np.append(0, lengths))
            most *= 2
        h, cover, zone = fill(first, lengths)
        kernels.walk(
            h, cover, zone, first, between, link.tx_ground_m, starts, order, places.distance, places.azimuth,
            places.ground, places.zone, places.cover_m, places.clear_km, farthest_km, steps, percentages, model,
            loss, sight, elevation, *kernels.room(h.shape[1], most),
        )  # fmt: skip
        return int(ends[-1] - starts[first])

    finished: Iterable[int] = map(block, firsts) if executor is None else executor.map(block, firsts)
    done = 0
    for count in finished:
        done += count
        if progress is not None:
            progress(done, len(order))
    return loss, sight, elevation


def _sampled(
    sampler: Sampler, around: SiteMap, coefficients: Floats, points: int, step_m: float
) -> tuple[Floats, Floats, NDArray[np.int8]]:
    """Terrain of a block of radials by a function."""
    powers = (np.arange(points) * step_m / around.radius_m)[:, None] ** np.arange(around.degree + 1)
    difference = coefficients @ powers.T
    ground, cover, zone = sampler(around.lat_deg + difference[:, 0], around.lon_deg + difference[:, 1])
    shape = difference[:, 0].shape
    # Copies: what is broadcast may not be written to, and compiled code takes that for another type, a minute's work.
    return (
        np.array(np.broadcast_to(ground, shape), dtype=np.float64, order="C"),
        np.array(np.broadcast_to(cover, shape), dtype=np.float64, order="C"),
        np.array(np.broadcast_to(zone, shape), dtype=np.int8, order="C"),
    )
