"""One path from a transmitter to a receiving point: its ground, and field strength by P.1812, exactly.

The model is `sfn.propagation.p1812`; here the path is laid over the ground, the antenna is turned towards
it, and it is said what the answer rests on.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.antenna import attenuation
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.line import inverse, path_length
from sfn.propagation.horizons import ZONES, centre_latitude
from sfn.propagation.link import LEAST_STEPS, NEAR_STEP_M
from sfn.propagation.near_cover import CLUTTER_DISTANCE_M
from sfn.propagation.p1812 import PathLoss, path_loss
from sfn.propagation.smooth_earth import Polarisation
from sfn.terrain.ground import Ground, GroundWindow, ground_window
from sfn.terrain.heights import HeightGrid, sample, sample_nearest
from sfn.terrain.profile import path_points

Floats = NDArray[np.float64]

GREATEST_DISTANCE_M = 3_000_000.0
# The model's limit for antennas over the ground at their own end.
GREATEST_HEIGHT_M = 3000.0
# Over a smooth earth this step finds the same horizon as a finer one within 0.001 dB.
SMOOTH_STEP_M = 100.0
# Over terrain at one arc-second this is its own spacing. Over steep fractal country levels then lie 0.07 dB above those
# of 5 m steps and 0.13 dB rms beside them (tests/bench/bench_one_height.py); half of it would cost twice as much.
LEAST_STEP_M = 20.0
MOST_POINTS = 20_000
# A long path is read in pieces of so many degrees a side, each with what a small void beside it needs.
PIECE_DEG, BESIDE_DEG = 0.125, 0.025
SYMBOL: dict[Plane, Polarisation] = {"h": "H", "v": "V"}


@dataclass(frozen=True, slots=True)
class PathGround:
    """The ground under one path, transmitter first; arrays of shape (points,).

    Parameters
    ----------
    distance_m, lat_deg, lon_deg : ndarray
        Where the points lie. [m, degrees]
    ground_m : ndarray
        Above sea level, as the model takes it: the site's own height at the first point, small voids filled. [m]
    cover_m : ndarray
        Above ground; 0 where none is known. [m]
        Nearer than the clutter distance to either end it does not count, and is 0.
    zone : ndarray of int
        0 inland, 1 coast, 2 sea.
    smooth : bool
        No terrain: the earth counted as smooth.
    covered : bool
        Every height of the path is known.
    gap_from_m : float or None
        Distance at which the ground is first not known. [m]
    broken : bool
        Some height is not known at all, or the point lies beyond 3000 km: there is no answer.
    rx_ground_m : float
        What the terrain has at the receiving point, small voids filled; the surface of a smooth earth. [m]
    obstacle_m : tuple of float or None
        What stands before the receiver: its distance from the site, and its top above sea level. [m] None: its place
        is bare.
    """

    distance_m: Floats
    lat_deg: Floats
    lon_deg: Floats
    ground_m: Floats
    cover_m: Floats
    zone: NDArray[np.int8]
    smooth: bool
    covered: bool
    gap_from_m: float | None
    broken: bool
    rx_ground_m: float = float("nan")
    obstacle_m: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class PathLevels:
    """One path's answer.

    Parameters
    ----------
    ground : PathGround
    ground_distance_m, path_m : float
        Geodesic on the ground, and length of the path between the antennas. [m]
    bearing_deg : float
        From the transmitter, from true north. [degrees]
    tx_m, rx_m : float
        Antennas above sea level. [m]
    rx_ground_m : float
        Ground at the receiving point above sea level. [m] NaN where it is not covered.
    time_pct : tuple of float
        Percentages of time. [%]
    loss : tuple of PathLoss
        One a percentage; field strengths in it are for 1 kW. Empty when the ground is not known.
    erp_dbk, attenuation_db : float
        E.r.p. in the received plane over 1 kW, and what the antenna takes off it in this direction. [dB]
    level_dbuvm : tuple of float
        Field strength, one a percentage, median over places. [dB(uV/m)] NaN when the ground is not known.
    """

    ground: PathGround
    ground_distance_m: float
    path_m: float
    bearing_deg: float
    tx_m: float
    rx_m: float
    rx_ground_m: float
    time_pct: tuple[float, ...]
    loss: tuple[PathLoss, ...]
    erp_dbk: float
    attenuation_db: float
    level_dbuvm: tuple[float, ...]


def path_levels(
    transmitter: Transmitter,
    lat_deg: float,
    lon_deg: float,
    *,
    ground: Ground | GroundWindow,
    rx_height_m: float,
    rx_ground_m: float = float("nan"),
    time_pct: Sequence[float] = (50.0, 1.0),
    receiver_polarisation: Plane | None = None,
    step_m: float | None = None,
) -> PathLevels:
    """Field strength at a receiving point, with everything that led to it.

    Parameters
    ----------
    transmitter : Transmitter
    lat_deg, lon_deg : float
        Receiving point. [degrees]
    ground : Ground or GroundWindow
        Where the ground comes from: read along the path alone, at full resolution however long it is. Or ground round
        both ends that was read already; an empty one is a smooth earth.
    rx_height_m : float
        Receiving antenna above ground, 1 to 3000. [m]
    rx_ground_m : float
        Ground at the point, if better known than the terrain has it. [m] NaN: from the terrain.
    time_pct : sequence of float
        Percentages of time, 1 to 50. [%]
    receiver_polarisation : {'h', 'v'}, optional
        As in `sfn.field.levels.levels_at`.
    step_m : float, optional
        Step of the profile. [m] None: half a step of the terrain, 100 m over a smooth earth. Nearer than three and a
        half steps it is 30 m at most.

    Returns
    -------
    PathLevels

    Raises
    ------
    ValueError
        If a quantity is outside the model's range, by name.
    """
    laid = path_ground(transmitter, lat_deg, lon_deg, ground=ground, rx_ground_m=rx_ground_m, step_m=step_m)
    ground_m, bearing_deg, _ = (float(v) for v in inverse(transmitter.lat_deg, transmitter.lon_deg, lat_deg, lon_deg))
    at_rx_m = rx_ground_m
    if not np.isfinite(rx_ground_m):
        at_rx_m = float(laid.rx_ground_m)
    tx_m, rx_m = transmitter.ground_m + transmitter.antenna_m, at_rx_m + rx_height_m
    loss = () if laid.broken else _losses(transmitter, laid, tx_m, rx_m, time_pct, receiver_polarisation)
    elevation_deg = loss[0].tx_elevation_deg if loss else float("nan")
    erp_dbk, off_db = (
        float(v) for v in radiated(transmitter, bearing_deg, elevation_deg=elevation_deg, plane=receiver_polarisation)
    )
    levels = tuple(one.field_dbuvm + erp_dbk - off_db for one in loss) or (float("nan"),) * len(time_pct)
    return PathLevels(
        ground=laid,
        ground_distance_m=ground_m,
        path_m=float(path_length(ground_m, height_difference_m=tx_m - rx_m)),
        bearing_deg=bearing_deg,
        tx_m=tx_m,
        rx_m=rx_m,
        rx_ground_m=at_rx_m,
        time_pct=tuple(time_pct),
        loss=loss,
        erp_dbk=erp_dbk,
        attenuation_db=off_db,
        level_dbuvm=tuple(v if np.isfinite(v) else float("nan") for v in levels),
    )


def radiated(
    transmitter: Transmitter, bearing_deg: Floats | float, *, elevation_deg: Floats | float, plane: Plane | None
) -> tuple[Floats, Floats]:
    """E.r.p. over 1 kW [dB] in the plane that is received, and what the antenna takes off it in a direction [dB].

    Where the receiver does not say its plane it is, direction by direction, the plane that radiates more there.
    """
    bearing, elevation = np.broadcast_arrays(
        np.asarray(bearing_deg, dtype=np.float64), np.asarray(elevation_deg, dtype=np.float64)
    )

    def one(which: Plane) -> tuple[Floats, Floats]:
        """E.r.p. and attenuation of one plane."""
        erp_dbk = np.full(bearing.shape, transmitter.erp_dbk(which))
        if transmitter.pattern is None:
            return erp_dbk, np.zeros(bearing.shape)
        return erp_dbk, attenuation(transmitter.pattern, bearing, elevation_deg=elevation, plane=which)

    if plane is not None:
        return one(plane)
    (h_dbk, h_db), (v_dbk, v_db) = one("h"), one("v")
    v_wins = v_dbk - v_db > h_dbk - h_db
    return np.where(v_wins, v_dbk, h_dbk), np.where(v_wins, v_db, h_db)


def path_ground(
    transmitter: Transmitter,
    lat_deg: float,
    lon_deg: float,
    *,
    ground: Ground | GroundWindow,
    rx_ground_m: float = float("nan"),
    step_m: float | None = None,
) -> PathGround:
    """The ground under the geodesic from a transmitter to a point, every `step_m`.

    Parameters
    ----------
    transmitter, lat_deg, lon_deg, ground, rx_ground_m, step_m
        As in `path_levels`.

    Returns
    -------
    PathGround
        At most about 20,000 points; a longer path gets longer steps.
    """
    length_m = float(inverse(transmitter.lat_deg, transmitter.lon_deg, lat_deg, lon_deg)[0])
    wanted_m = max(step_m or default_step_m(ground, lat_deg=transmitter.lat_deg), length_m / MOST_POINTS)
    if length_m < LEAST_STEPS * wanted_m:
        wanted_m = min(wanted_m, NEAR_STEP_M)
    at_m, lat, lon = path_points(transmitter.lat_deg, transmitter.lon_deg, lat_deg, lon_deg, step_m=wanted_m)
    heights_m, raw_m, cover_m, zone, clears_m = ground_under(ground, lat, lon)
    own_m, clear_m = float(cover_m[-1]), float(clears_m[-1])
    cover_m[(at_m < CLUTTER_DISTANCE_M) | (at_m > length_m - clear_m)] = 0.0
    too_far = length_m > GREATEST_DISTANCE_M
    if ground.terrain is None:
        surface_m = float(smooth_surface_m(transmitter, np.asarray(rx_ground_m)))
        level_m = np.full(at_m.size, surface_m)
        stands_m = _obstacle_m(at_m, level_m, own_m, clear_m)
        return PathGround(at_m, lat, lon, level_m, cover_m, zone, True, True, None, too_far, surface_m, stands_m)
    found_m = float(heights_m[-1])
    heights_m[0] = raw_m[0] = transmitter.ground_m
    if np.isfinite(rx_ground_m):
        heights_m[-1] = raw_m[-1] = rx_ground_m
    gaps = np.flatnonzero(np.isnan(raw_m))
    gap_m = float(at_m[gaps[0]]) if gaps.size else None
    broken = bool(np.isnan(heights_m).any()) or too_far
    stands_m = _obstacle_m(at_m, heights_m, own_m, clear_m)
    return PathGround(at_m, lat, lon, heights_m, cover_m, zone, False, gap_m is None, gap_m, broken, found_m, stands_m)


def _obstacle_m(at_m: Floats, ground_m: Floats, cover_m: float, clear_m: float) -> tuple[float, float] | None:
    """What stands before the receiver: the cover of its own place, at the clutter distance (`near_cover`). [m]"""
    distance_m = float(at_m[-1]) - clear_m
    if cover_m == 0.0 or distance_m <= 0.0:
        return None
    return distance_m, float(np.interp(distance_m, at_m, ground_m)) + cover_m


def ground_under(
    ground: Ground | GroundWindow, lat: Floats, lon: Floats
) -> tuple[Floats, Floats, Floats, NDArray[np.int8], Floats]:
    """Heights with small voids filled, heights as the files have them, cover [m] and zones under points in a row.

    Last: how far before each of them, as a receiver, its cover stands. [m]
    """
    if isinstance(ground, GroundWindow):
        zone = _nearest_or(ground.zones, lat, lon, 0.0).astype(np.int8)
        cover_m = _nearest_or(ground.cover, lat, lon, 0.0)
        clear_m = _nearest_or(ground.clutter, lat, lon, CLUTTER_DISTANCE_M)
        if ground.terrain is None:
            return np.full(lat.shape, np.nan), np.full(lat.shape, np.nan), cover_m, zone, clear_m
        heights_m = sample(ground.terrain, lat, lon)
        raw_m = np.where(ground.filled_at(lat, lon), np.nan, heights_m)
        return heights_m, raw_m, cover_m, zone, clear_m
    heights_m, raw_m, cover_m, clear_m = (np.empty(lat.size) for _ in range(4))
    zone = np.empty(lat.size, dtype=np.int8)
    # Longitudes in a row, whichever side of 180 degrees they are written on.
    east = lon[0] + (lon - lon[0] + 180.0) % 360.0 - 180.0
    piece = np.floor(lat / PIECE_DEG) * 1e6 + np.floor(east / PIECE_DEG)
    ends = np.concatenate([[0], np.flatnonzero(np.diff(piece)) + 1, [lat.size]])
    for first, last in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
        part = slice(first, last)
        near = ground_window(
            ground,
            south_deg=max(float(lat[part].min()) - BESIDE_DEG, -89.99),
            west_deg=float(east[part].min()) - BESIDE_DEG,
            north_deg=min(float(lat[part].max()) + BESIDE_DEG, 89.99),
            east_deg=float(east[part].max()) + BESIDE_DEG,
        )
        heights_m[part], raw_m[part], cover_m[part], zone[part], clear_m[part] = ground_under(
            near, lat[part], east[part]
        )
    return heights_m, raw_m, cover_m, zone, clear_m


def default_step_m(ground: Ground | GroundWindow, *, lat_deg: float) -> float:
    """Step of profiles where none is asked for. [m]

    Half a step of the terrain at the site's latitude (so that it does not hang on how much ground was read), 20 m
    or more; 100 m without terrain.
    """
    return SMOOTH_STEP_M if ground.terrain is None else max(ground.terrain.step_m(lat_deg) / 2, LEAST_STEP_M)


def smooth_surface_m(transmitter: Transmitter, rx_ground_m: Floats) -> Floats:
    """Height of the smooth earth above sea level where no terrain is known. [m]

    The lowest of the transmitter's own ground, its network's plain (`sfn.plan.Network.plain_m`) and the receiver's
    ground where that is given; a receiver stands on it where its ground is not given. Never more than 3000 m below the
    transmitting antenna, the model's limit.
    """
    lowest = np.fmin(min(transmitter.plain_m, transmitter.ground_m), rx_ground_m)
    return np.maximum(lowest, transmitter.ground_m + transmitter.antenna_m - GREATEST_HEIGHT_M)


def _losses(
    transmitter: Transmitter, laid: PathGround, tx_m: float, rx_m: float, time_pct: Sequence[float], plane: Plane | None
) -> tuple[PathLoss, ...]:
    """P.1812 along the path, once a percentage of time."""
    # A receiver at the site itself is taken a metre away.
    at_km = laid.distance_m / 1000.0 if laid.distance_m[-1] >= 1.0 else np.linspace(0.0, 0.001, laid.distance_m.size)
    stands = laid.obstacle_m
    latitude = centre_latitude(
        transmitter.lat_deg, transmitter.lon_deg, float(laid.lat_deg[-1]), float(laid.lon_deg[-1]),
        distance_km=float(at_km[-1]),
    )  # fmt: skip
    return tuple(
        path_loss(
            at_km,
            laid.ground_m,
            cover_m=laid.cover_m,
            obstacle=None if stands is None else (stands[0] / 1000.0, stands[1]),
            zone=[ZONES[z] for z in laid.zone],
            frequency_mhz=transmitter.frequency_mhz,
            tx_height_m=tx_m - float(laid.ground_m[0]),
            rx_height_m=rx_m - float(laid.ground_m[-1]),
            polarisation=SYMBOL[transmitter.received_plane(plane)],
            time_pct=one,
            latitude_deg=latitude,
            delta_n=transmitter.delta_n,
            surface_refractivity_n0=transmitter.surface_refractivity_n0,
        )
        for one in time_pct
    )


def _nearest_or(grid: HeightGrid | None, lat: Floats, lon: Floats, missing: float) -> Floats:
    """Nearest values of a grid, `missing` where it has none or there is no grid."""
    if grid is None:
        return np.full(lat.shape, missing)
    found = sample_nearest(grid, lat, lon)
    return np.where(np.isnan(found), missing, found)
