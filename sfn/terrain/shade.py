"""Hillshade: the ground as light and shadow, for the background of maps."""

import numpy as np
from numpy.typing import NDArray

# From the north-west, by the custom of maps: lit otherwise, most people see ridges as valleys.
SUN_AZIMUTH_DEG = 315.0
SUN_ELEVATION_DEG = 45.0


def hillshade(
    height_m: NDArray[np.float32] | NDArray[np.float64],
    *,
    step_x_m: float,
    step_y_m: float,
    sun_azimuth_deg: float = SUN_AZIMUTH_DEG,
    sun_elevation_deg: float = SUN_ELEVATION_DEG,
    exaggeration_factor: float = 1.0,
) -> NDArray[np.float32]:
    """Light that falls on the ground, as a part of what falls on a slope that faces the sun.

    Parameters
    ----------
    height_m : ndarray, shape (rows, columns)
        Heights, row 0 in the north. [m] NaN where not known.
    step_x_m, step_y_m : float
        Spacing of columns and rows on the ground. [m]
    sun_azimuth_deg, sun_elevation_deg : float, default 315 and 45
        Where the light comes from. [degrees]
    exaggeration_factor : float
        Heights are multiplied by it first; above 1 for gentle country.

    Returns
    -------
    light : ndarray of float32, shape (rows, columns)
        0 in shadow to 1 facing the sun, sin(elevation) on level ground; NaN where a height or its neighbour
        is not known.

    Raises
    ------
    ValueError
        If there are fewer than two rows or columns, or a step is not greater than zero.

    Notes
    -----
    Lambert's cosine law: ``max(0, n . s)`` with n the normal of the surface and s towards the sun.
    """
    heights_m = np.asarray(height_m, dtype=np.float64) * exaggeration_factor
    if min(heights_m.shape) < 2:
        raise ValueError(f"height_m must have 2 rows and columns or more, got shape {heights_m.shape}")
    if not (step_x_m > 0 and step_y_m > 0):
        raise ValueError(f"step_x_m and step_y_m must be greater than 0 m, got {step_x_m!r} and {step_y_m!r}")
    down, east = np.gradient(heights_m, step_y_m, step_x_m)
    azimuth, elevation = np.radians(sun_azimuth_deg), np.radians(sun_elevation_deg)
    to_sun = (np.sin(azimuth) * np.cos(elevation), np.cos(azimuth) * np.cos(elevation), np.sin(elevation))
    # Rows run south: the slope towards the north is -down.
    light = (-east * to_sun[0] + down * to_sun[1] + to_sun[2]) / np.sqrt(1.0 + east**2 + down**2)
    # A central difference does not look at the place itself.
    lit = np.where(np.isnan(heights_m), np.nan, np.maximum(light, 0.0))
    return np.asarray(lit, dtype=np.float32)
