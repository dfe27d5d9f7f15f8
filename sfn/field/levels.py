"""Field strength of one transmitter at receiving points: the seam between propagation and all above.

Everything that works with signals takes levels from here and knows no propagation model. Levels are
medians over places; they do not depend on chains or delays.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.field.path import GREATEST_DISTANCE_M, SYMBOL, path_levels, radiated, smooth_surface_m
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.line import inverse
from sfn.propagation.free_space import field_strength, slant_loss
from sfn.propagation.smooth_earth import LEAST_DISTANCE_KM, diffraction_loss, effective_radius, marginal_distance
from sfn.terrain.ground import GroundWindow

__all__ = ["PointLevels", "Transmitter", "levels_at"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PointLevels:
    """One transmitter's field strength at points, all arrays of the points' shape.

    Parameters
    ----------
    level_dbuvm : ndarray
        Median over time and places. [dB(uV/m)] NaN where there is no answer.
    level_1pct_dbuvm : ndarray
        Exceeded for 1 % of time, median over places: for interference. [dB(uV/m)]
    ground_distance_m : ndarray
        Geodesic along the ground. [m]
    bearing_deg : ndarray
        From the transmitter, from true north. [degrees]
    rx_ground_m : ndarray
        Ground height that was used at the point, above sea level. [m]
    line_of_sight : ndarray of bool
        Whether the antennas see each other over the bare ground.
    covered : ndarray of bool
        False where the terrain has a gap at the point or on the way: a short gap is crossed in a straight line,
        over a long one there is no level.
    smooth : bool
        True when no terrain was used: the earth counted as smooth.
    """

    level_dbuvm: Floats
    level_1pct_dbuvm: Floats
    ground_distance_m: Floats
    bearing_deg: Floats
    rx_ground_m: Floats
    line_of_sight: NDArray[np.bool_]
    covered: NDArray[np.bool_]
    smooth: bool


def levels_at(
    transmitter: Transmitter,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    *,
    rx_height_m: float,
    rx_ground_m: ArrayLike | None = None,
    ground: GroundWindow | None = None,
    receiver_polarisation: Plane | None = None,
) -> PointLevels:
    """Field strength of a transmitter at receiving points.

    Parameters
    ----------
    transmitter : Transmitter
    lat_deg, lon_deg : array_like, one shape
        Receiving points on WGS84. [degrees]
    rx_height_m : float
        Receiving antenna above ground, 1 to 3000. [m]
    rx_ground_m : array_like, broadcast with the points, optional
        Ground above sea level at the points. [m] NaN or None: from the terrain, sea level where there is none.
    ground : GroundWindow, optional
        Ground that holds the site, the points and what lies between (`sfn.terrain.ground.ground_window`). None:
        a smooth earth.
    receiver_polarisation : {'h', 'v'}, optional
        Plane that the receiver takes. Not given: the plane in which the transmitter radiates more (h when
        alike); the planes are not added, because one antenna does not receive both.

    Returns
    -------
    PointLevels

    Raises
    ------
    ValueError
        If `rx_height_m` is outside 1 to 3000 m, or a latitude is outside -90 to 90.

    Notes
    -----
    Without terrain the earth is smooth at sea level, or, where a ground height is given for the point, at
    the lower of that and the transmitter's ground: a plateau is a plateau and not a cliff above the sea.
    """
    if not 1.0 <= rx_height_m <= 3000.0:
        raise ValueError(f"rx_height_m must be from 1 to 3000 m, got {rx_height_m!r}")
    lat, lon, given_m = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (lat_deg, lon_deg, np.nan if rx_ground_m is None else rx_ground_m))
    )
    if ground is not None and ground.terrain is not None:
        return _over_ground(transmitter, lat, lon, given_m, ground, rx_height_m, receiver_polarisation)
    distance_m, bearing_deg, _ = inverse(transmitter.lat_deg, transmitter.lon_deg, lat, lon)
    ground_m = np.where(np.isnan(given_m), 0.0, given_m)
    surface_m = smooth_surface_m(transmitter, given_m)
    tx_m = transmitter.ground_m + transmitter.antenna_m - surface_m
    rx_m = np.maximum(ground_m + rx_height_m - surface_m, 1.0)
    radius_km = effective_radius(transmitter.delta_n)
    loss_db = _smooth_loss(transmitter, distance_m, tx_m, rx_m, receiver_polarisation)
    in_sight = distance_m / 1000.0 < marginal_distance(tx_height_m=tx_m, rx_height_m=rx_m, radius_km=radius_km)
    erp_dbk, off_db = radiated(
        transmitter,
        bearing_deg,
        elevation_deg=_elevation(distance_m, tx_m, rx_m, radius_km),
        plane=receiver_polarisation,
    )
    level = field_strength(loss_db, frequency_mhz=transmitter.frequency_mhz) + erp_dbk - off_db
    level = np.where(np.isfinite(level) & (distance_m <= GREATEST_DISTANCE_M), level, np.nan)
    every = np.ones(level.shape, dtype=bool)
    return PointLevels(level, level.copy(), distance_m, bearing_deg, ground_m, in_sight, every, True)


def _over_ground(
    transmitter: Transmitter, lat: Floats, lon: Floats, given_m: Floats, ground: GroundWindow, rx_height_m: float,
    plane: Plane | None,
) -> PointLevels:  # fmt: skip
    """Every point's own exact path."""
    found = [
        path_levels(
            transmitter, float(a), float(b), ground=ground, rx_height_m=rx_height_m, rx_ground_m=float(h),
            receiver_polarisation=plane,
        )
        for a, b, h in zip(lat.ravel(), lon.ravel(), given_m.ravel(), strict=True)
    ]  # fmt: skip

    def table(values: list[float]) -> Floats:
        """Values of all points in the points' shape."""
        return np.array(values, dtype=np.float64).reshape(lat.shape)

    return PointLevels(
        level_dbuvm=table([p.level_dbuvm[0] for p in found]),
        level_1pct_dbuvm=table([p.level_dbuvm[1] for p in found]),
        ground_distance_m=table([p.ground_distance_m for p in found]),
        bearing_deg=table([p.bearing_deg for p in found]),
        rx_ground_m=table([p.rx_ground_m for p in found]),
        line_of_sight=table([bool(p.loss) and p.loss[0].line_of_sight for p in found]).astype(bool),
        covered=table([p.ground.covered for p in found]).astype(bool),
        smooth=False,
    )


def _elevation(distance_m: Floats, tx_m: Floats, rx_m: Floats, radius_km: float) -> Floats:
    """Elevation at which the ray leaves over a smooth earth: to the receiver, or to the horizon before it. [degrees]"""
    radius_m = radius_km * 1000.0
    horizon_m = np.minimum(np.maximum(distance_m, 1.0), np.sqrt(2.0 * radius_m * tx_m))
    fall = np.where(horizon_m < distance_m, -tx_m, rx_m - tx_m)
    return np.degrees(np.arctan2(fall, horizon_m) - horizon_m / (2.0 * radius_m))


def _smooth_loss(
    transmitter: Transmitter, distance_m: Floats, tx_m: Floats, rx_m: Floats, plane: Plane | None
) -> Floats:
    """Median basic transmission loss over a smooth earth, free space nearer than P.1812 begins. [dB]"""
    free_db = slant_loss(distance_m / 1000.0, frequency_mhz=transmitter.frequency_mhz, height_difference_m=tx_m - rx_m)
    diffraction_db = diffraction_loss(
        np.maximum(distance_m / 1000.0, LEAST_DISTANCE_KM),
        frequency_mhz=transmitter.frequency_mhz,
        tx_height_m=tx_m,
        rx_height_m=rx_m,
        radius_km=effective_radius(transmitter.delta_n),
        polarisation=SYMBOL[transmitter.received_plane(plane)],
    )
    return np.asarray(free_db + np.where(distance_m < LEAST_DISTANCE_KM * 1000.0, 0.0, diffraction_db))
