"""Free space: loss and field strength, ITU-R P.525, and the rounded form that P.1812 builds on.

| symbol | argument | unit |
|---|---|---|
| d | `distance_km` | km |
| f | `frequency_mhz` | MHz (GHz inside the formulas of P.1812) |
| Lbfs | the result | dB |
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.units import SPEED_OF_LIGHT_M_PER_US

# P.1812 rounds 20 log10(4 pi 1e12 / c) = 92.448 to this; kept, so that its published values are met.
P1812_FREE_SPACE_DB = 92.4
# Field of 1 kW e.r.p. and loss: E = 199.36 + 20 log10(f/GHz) - Lb, P.1812 eq. (70).
P1812_FIELD_OF_1_KW_DB = 199.36
# A receiver inside the mast's own metre: nearer than this no field strength means anything.
LEAST_SLANT_KM = 0.001


def free_space_loss(distance_km: ArrayLike, *, frequency_mhz: float) -> NDArray[np.float64]:
    """Basic transmission loss in free space, ``20 log10(4 pi d / lambda)`` (P.525 eq. (3)), with c exact.

    Parameters
    ----------
    distance_km : array_like, any shape
        Straight distance between the antennas. [km]
    frequency_mhz : float
        Carrier frequency. [MHz]

    Returns
    -------
    loss_db : ndarray, shape of `distance_km`
        Loss between isotropic antennas. [dB]

    Raises
    ------
    ValueError
        If a distance or the frequency is not greater than zero.

    References
    ----------
    .. [1] ITU-R P.525, eq. (3) and (4): 32.4 + 20 log10(f/MHz) + 20 log10(d/km), rounded there.

    Examples
    --------
    >>> print(f"{free_space_loss(1.0, frequency_mhz=1000.0):.6f}")
    92.447783
    """
    distance = np.asarray(distance_km, dtype=np.float64)
    if not frequency_mhz > 0.0:
        raise ValueError(f"frequency_mhz must be greater than 0 MHz, got {frequency_mhz!r}")
    if np.any(distance <= 0.0):
        raise ValueError(f"distance_km must be greater than 0 km, got {float(np.min(distance))!r}")
    wavelengths = distance * 1000.0 * frequency_mhz / SPEED_OF_LIGHT_M_PER_US
    return np.asarray(20.0 * np.log10(4.0 * np.pi * wavelengths))


def slant_loss(
    distance_km: ArrayLike, *, frequency_mhz: float, height_difference_m: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Free-space loss as P.1812 has it, over ground distance and height difference, eq. (8) and (8a).

    Parameters
    ----------
    distance_km : array_like
        Distance along the ground. [km]
    frequency_mhz : float
        Carrier frequency. [MHz]
    height_difference_m : array_like, broadcast with `distance_km`
        Difference of the antennas' heights above sea level. [m]

    Returns
    -------
    Lbfs : ndarray
        ``92.4 + 20 log10(f) + 10 log10(d^2 + (dh/1000)^2)``. [dB]  A slant distance below 1 m counts as 1 m.

    Examples
    --------
    >>> print(f"{slant_loss(50.0, frequency_mhz=600.0):.6f}")
    121.942425
    """
    distance = np.asarray(distance_km, dtype=np.float64)
    rise = np.asarray(height_difference_m, dtype=np.float64) / 1000.0
    dfs2 = np.maximum(distance**2 + rise**2, LEAST_SLANT_KM**2)
    return np.asarray(P1812_FREE_SPACE_DB + 20.0 * np.log10(frequency_mhz / 1000.0) + 10.0 * np.log10(dfs2))


def field_strength(loss_db: ArrayLike, *, frequency_mhz: float) -> NDArray[np.float64]:
    """Field strength of 1 kW e.r.p. behind a basic transmission loss, P.1812 eq. (70).

    Parameters
    ----------
    loss_db : array_like, any shape
        Basic transmission loss between isotropic antennas. [dB]
    frequency_mhz : float
        Carrier frequency. [MHz]

    Returns
    -------
    field_dbuvm : ndarray, shape of `loss_db`
        ``199.36 + 20 log10(f/GHz) - Lb``. [dB(uV/m)]  NaN where `loss_db` is NaN.

    Examples
    --------
    1 kW from a half-wave dipole at 1 km in free space:

    >>> print(f"{field_strength(slant_loss(1.0, frequency_mhz=600.0), frequency_mhz=600.0):.2f}")
    106.96
    """
    loss = np.asarray(loss_db, dtype=np.float64)
    return np.asarray(P1812_FIELD_OF_1_KW_DB + 20.0 * np.log10(frequency_mhz / 1000.0) - loss)
