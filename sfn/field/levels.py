"""Field strength of one transmitter at receiving points: the seam between propagation and all above.

Everything that works with signals takes levels from here and knows no propagation model. Levels are
medians over places; they do not depend on chains or delays.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.field.around import bounds_of, ground_around
from sfn.field.losses import losses
from sfn.field.path import path_levels, radiated
from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.line import inverse
from sfn.propagation.free_space import field_strength
from sfn.terrain.ground import Ground, GroundWindow

__all__ = ["PointLevels", "Transmitter", "levels_at"]

# A point belongs to a radial that passes it within an eighth of this.
POINT_M = 10.0
# A path takes 5 ms or so, a sweep 50 ms before its first point.
MOST_PATHS = 16
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
    tx_elevation_deg : ndarray
        Elevation at which the ray leaves, towards the point or the horizon that hides it. [degrees]
    line_of_sight : ndarray of bool
        Whether the antennas see each other over the bare ground.
    covered : ndarray of bool
        False where the ground is not known at the point or somewhere on the way: no level, or, over a small void
        that was filled from its rim, a level to be marked.
    smooth : bool
        True when no terrain was used: the earth counted as smooth.
    averaged : tuple of int
        As in `sfn.terrain.ground.GroundWindow.averaged`.
    """

    level_dbuvm: Floats
    level_1pct_dbuvm: Floats
    ground_distance_m: Floats
    bearing_deg: Floats
    rx_ground_m: Floats
    tx_elevation_deg: Floats
    line_of_sight: NDArray[np.bool_]
    covered: NDArray[np.bool_]
    smooth: bool
    averaged: tuple[int, int, int] = (1, 1, 1)


def levels_at(
    transmitter: Transmitter,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    *,
    rx_height_m: float,
    rx_ground_m: ArrayLike | None = None,
    ground: Ground | GroundWindow | None = None,
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
        Ground above sea level at the points. [m] NaN or None: from the terrain; without one the smooth earth's
        surface.
    ground : Ground or GroundWindow, optional
        Where the ground comes from; or, already read, the ground that holds the site, the points and what lies
        between. None: a smooth earth.
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
    ITU-R P.1812: up to 16 points by their own paths (`sfn.field.path`), more by the sweep, where a point takes the
    terrain up to 1.25 m beside it (a few hundredths of a dB) and gets no level beyond 1000 km.

    Without terrain the earth is smooth at the network's plain, see `sfn.field.path.smooth_surface_m`.
    """
    if not 1.0 <= rx_height_m <= 3000.0:
        raise ValueError(f"rx_height_m must be from 1 to 3000 m, got {rx_height_m!r}")
    lat, lon, given_m = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (lat_deg, lon_deg, np.nan if rx_ground_m is None else rx_ground_m))
    )
    if lat.size <= MOST_PATHS:
        return _by_paths(transmitter, lat, lon, given_m, ground or GroundWindow(), rx_height_m, receiver_polarisation)
    window = ground_around(ground, transmitter, bounds_deg=bounds_of(lat, lon))
    return _by_sweep(transmitter, lat, lon, given_m, window, rx_height_m, receiver_polarisation)


def _by_sweep(
    transmitter: Transmitter, lat: Floats, lon: Floats, given_m: Floats, ground: GroundWindow, rx_height_m: float,
    plane: Plane | None,
) -> PointLevels:  # fmt: skip
    """All points by one sweep."""
    found, covered = losses(
        transmitter, lat, lon, ground=ground, rx_height_m=rx_height_m, rx_ground_m=given_m,
        receiver_polarisation=plane, step_m=None, pixel_m=POINT_M,
    )  # fmt: skip
    distance_m, bearing_deg, _ = inverse(transmitter.lat_deg, transmitter.lon_deg, lat, lon)
    erp_dbk, off_db = radiated(transmitter, bearing_deg, elevation_deg=found.tx_elevation_deg, plane=plane)
    level = field_strength(found.loss_db, frequency_mhz=transmitter.frequency_mhz) + erp_dbk - off_db
    level = np.where(np.isfinite(level), level, np.nan)
    return PointLevels(
        level_dbuvm=level[0],
        level_1pct_dbuvm=level[1],
        ground_distance_m=distance_m,
        bearing_deg=bearing_deg,
        rx_ground_m=found.ground_m,
        tx_elevation_deg=found.tx_elevation_deg,
        line_of_sight=found.line_of_sight,
        covered=covered,
        smooth=ground.terrain is None,
        averaged=ground.averaged,
    )


def _by_paths(
    transmitter: Transmitter, lat: Floats, lon: Floats, given_m: Floats, ground: Ground | GroundWindow,
    rx_height_m: float, plane: Plane | None,
) -> PointLevels:  # fmt: skip
    """Every point by its own path."""
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
        tx_elevation_deg=table([p.loss[0].tx_elevation_deg if p.loss else np.nan for p in found]),
        line_of_sight=table([bool(p.loss) and p.loss[0].line_of_sight for p in found]).astype(bool),
        covered=table([p.ground.covered for p in found]).astype(bool),
        smooth=ground.terrain is None,
    )
