"""Field strength of one transmitter at receiving points: the seam between propagation and all above.

Everything that works with signals takes levels from here and knows no propagation model. Levels are
medians over places; they do not depend on chains or delays.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.field.transmitter import Plane, Transmitter
from sfn.geodesy.line import inverse
from sfn.propagation.free_space import field_strength, slant_loss
from sfn.propagation.smooth_earth import LEAST_DISTANCE_KM, Polarisation, diffraction_loss, effective_radius

__all__ = ["PointLevels", "Transmitter", "levels_at"]

# P.1812 ends here; a point farther off gets no level.
GREATEST_DISTANCE_KM = 3000.0
_SYMBOL: dict[Plane, Polarisation] = {"h": "H", "v": "V"}

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
    smooth : ndarray of bool
        True where no terrain was used: the earth counted as smooth.
    """

    level_dbuvm: Floats
    level_1pct_dbuvm: Floats
    ground_distance_m: Floats
    bearing_deg: Floats
    rx_ground_m: Floats
    smooth: NDArray[np.bool_]


def levels_at(
    transmitter: Transmitter,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    *,
    rx_height_m: float,
    rx_ground_m: ArrayLike | None = None,
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
        Ground above sea level at the points. [m] NaN or None: not known, sea level is taken.
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
    distance_m, bearing_deg, _ = inverse(transmitter.lat_deg, transmitter.lon_deg, lat, lon)
    ground_m = np.where(np.isnan(given_m), 0.0, given_m)
    loss_db = _smooth_loss(transmitter, distance_m, ground_m, rx_height_m, receiver_polarisation)
    level = field_strength(loss_db, frequency_mhz=transmitter.frequency_mhz) + transmitter.erp_dbk(
        receiver_polarisation
    )
    level = np.where(np.isfinite(level) & (distance_m <= GREATEST_DISTANCE_KM * 1000.0), level, np.nan)
    return PointLevels(level, level.copy(), distance_m, bearing_deg, ground_m, np.ones(level.shape, dtype=bool))


def _smooth_loss(
    transmitter: Transmitter, distance_m: Floats, rx_ground_m: Floats, rx_height_m: float, plane: Plane | None
) -> Floats:
    """Median basic transmission loss over a smooth earth, free space nearer than P.1812 begins. [dB]"""
    surface_m = np.minimum(transmitter.ground_m, rx_ground_m)
    tx_m = transmitter.ground_m + transmitter.antenna_m - surface_m
    rx_m = rx_ground_m + rx_height_m - surface_m
    free_db = slant_loss(distance_m / 1000.0, frequency_mhz=transmitter.frequency_mhz, height_difference_m=tx_m - rx_m)
    diffraction_db = diffraction_loss(
        np.maximum(distance_m / 1000.0, LEAST_DISTANCE_KM),
        frequency_mhz=transmitter.frequency_mhz,
        tx_height_m=tx_m,
        rx_height_m=rx_m,
        radius_km=effective_radius(transmitter.delta_n),
        polarisation=_SYMBOL[transmitter.received_plane(plane)],
    )
    return np.asarray(free_db + np.where(distance_m < LEAST_DISTANCE_KM * 1000.0, 0.0, diffraction_db))
