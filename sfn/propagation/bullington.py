"""Delta-Bullington diffraction of one profile: ITU-R P.1812 section 4.3, P.526.

| symbol | argument | unit |
|---|---|---|
| di | `distance_km`, from 0 to d | km |
| gi | `height_m`, ground and cover above sea level | m |
| hts, hrs | `tx_m`, `rx_m`, antennas above sea level | m |
| hstd, hsrd | `smooth_tx_m`, `smooth_rx_m`, smooth surface under the antennas | m |
| ap | `radius_km`, effective Earth radius | km |
| omega | `sea_ratio`, part of the path over sea | 1 |
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.propagation.smooth_earth import WAVELENGTH_AT_1_GHZ_M, Polarisation, diffraction_loss

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Diffraction:
    """Delta-Bullington loss for one Earth radius and its three parts. [dB]"""

    Ld: float
    Lbulla: float
    Lbulls: float
    Ldsph: float


def knife_edge_loss(nu: float) -> float:
    """Loss of a single knife edge J(nu), eq. (12) and (16); exactly 0 for nu <= -0.78. [dB]

    Examples
    --------
    >>> print(f"{knife_edge_loss(0.0):.6f} {knife_edge_loss(2.4):.6f}")
    6.032852 20.539266
    """
    if nu <= -0.78:
        return 0.0
    return 6.9 + 20.0 * math.log10(math.sqrt((nu - 0.1) ** 2 + 1.0) + nu - 0.1)


def clearance_parameter(
    distance_km: Array, height_m: Array, *, tx_m: float, rx_m: float, radius_km: float, frequency_mhz: float
) -> Array:
    """Diffraction parameter nu at each inner point of a profile, eq. (15).

    Returns
    -------
    nu : ndarray, two elements shorter than `distance_km`
        Height above the straight line between the antennas, in units of the Fresnel zone.
    """
    d, di = distance_km[-1], distance_km[1:-1]
    wavelength_m = WAVELENGTH_AT_1_GHZ_M * 1000.0 / frequency_mhz
    bulge = 500.0 / radius_km * di * (d - di)
    line = (tx_m * (d - di) + rx_m * di) / d
    return np.asarray((height_m[1:-1] + bulge - line) * np.sqrt(0.002 * d / (wavelength_m * di * (d - di))))


def bullington_loss(
    distance_km: Array, height_m: Array, *, tx_m: float, rx_m: float, radius_km: float, frequency_mhz: float
) -> float:
    """Bullington diffraction loss of a profile, eq. (13) to (21). [dB]"""
    d, di, gi = distance_km[-1], distance_km[1:-1], height_m[1:-1]
    bulge = 500.0 / radius_km * di * (d - di)
    Stim = float(np.max((gi + bulge - tx_m) / di))  # (13)
    Str = (rx_m - tx_m) / d  # (14)
    if Stim < Str:  # line of sight
        nu = float(
            np.max(
                clearance_parameter(
                    distance_km, height_m, tx_m=tx_m, rx_m=rx_m, radius_km=radius_km, frequency_mhz=frequency_mhz
                )
            )
        )
    else:
        Srim = float(np.max((gi + bulge - rx_m) / (d - di)))  # (17)
        db = (rx_m - tx_m + Srim * d) / (Stim + Srim)  # (18)
        wavelength_m = WAVELENGTH_AT_1_GHZ_M * 1000.0 / frequency_mhz
        above_line = tx_m + Stim * db - (tx_m * (d - db) + rx_m * db) / d
        nu = above_line * math.sqrt(0.002 * d / (wavelength_m * db * (d - db)))  # (20)
    Luc = knife_edge_loss(nu)
    return float(Luc + (1.0 - math.exp(-Luc / 6.0)) * (10.0 + 0.02 * d))  # (21)


def delta_bullington_loss(
    distance_km: Array,
    height_m: Array,
    *,
    tx_m: float,
    rx_m: float,
    smooth_tx_m: float,
    smooth_rx_m: float,
    radius_km: float,
    frequency_mhz: float,
    polarisation: Polarisation,
    sea_ratio: float,
    obstacle: tuple[float, float] | None = None,
) -> Diffraction:
    """Delta-Bullington diffraction loss for one Earth radius, eq. (37) to (39).

    The Bullington loss of the profile, plus what a spherical earth loses more than the Bullington loss of the same
    earth: ``Ld = Lbulla + max(Ldsph - Lbulls, 0)``. `obstacle`, distance [km] and height above sea level [m], is one
    more point of the profile.
    """
    heights_m = {"tx_m": tx_m - smooth_tx_m, "rx_m": rx_m - smooth_rx_m}  # (37), (38)
    d, g = distance_km, height_m
    if obstacle is not None:
        at = int(np.searchsorted(d, obstacle[0]))
        d, g = np.insert(d, at, obstacle[0]), np.insert(g, at, obstacle[1])
    Lbulla = bullington_loss(d, g, tx_m=tx_m, rx_m=rx_m, radius_km=radius_km, frequency_mhz=frequency_mhz)
    Lbulls = bullington_loss(
        distance_km, np.zeros_like(height_m), **heights_m, radius_km=radius_km, frequency_mhz=frequency_mhz
    )
    Ldsph = float(
        diffraction_loss(
            distance_km[-1], frequency_mhz=frequency_mhz, tx_height_m=heights_m["tx_m"],
            rx_height_m=heights_m["rx_m"], radius_km=radius_km, polarisation=polarisation, sea_ratio=sea_ratio,
        )
    )  # fmt: skip
    return Diffraction(Ld=Lbulla + max(Ldsph - Lbulls, 0.0), Lbulla=Lbulla, Lbulls=Lbulls, Ldsph=Ldsph)
