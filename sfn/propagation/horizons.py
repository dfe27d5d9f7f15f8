"""What a profile's shape gives: horizons, smooth-surface heights, roughness, zones, beta0.

ITU-R P.1812 section 3 and Attachment 1 to Annex 1. Symbols are the Recommendation's; heights in metres above sea
level, distances in km, angles in mrad. Ground heights are bare here: cover counts for diffraction alone.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.propagation.bullington import clearance_parameter
from sfn.propagation.smooth_earth import EARTH_RADIUS_KM

Array = NDArray[np.float64]
# The radio-climatic zones: A2 inland, A1 coastal land, B sea. Rasters hold the index.
ZONES = ("inland", "coast", "sea")
INLAND, COAST, SEA = range(3)


@dataclass(frozen=True, slots=True)
class Horizons:
    """Horizons as the two antennas see them; for line of sight the point of least clearance stands for both."""

    theta_t: float
    theta_r: float
    theta: float
    dlt: float
    dlr: float
    lt: int
    lr: int
    los: bool


@dataclass(frozen=True, slots=True)
class SmoothSurface:
    """Smooth surface under the antennas: fitted (hst, hsr), and for diffraction (hstd, hsrd)."""

    hst: float
    hsr: float
    hstd: float
    hsrd: float


def horizons(d: Array, h: Array, *, hts: float, hrs: float, ae: float, frequency_mhz: float) -> Horizons:
    """Horizon angles and distances, eq. (76) to (84)."""
    D, di, hi = d[-1], d[1:-1], h[1:-1]
    from_tx = 1000.0 * np.arctan((hi - hts) / (1000.0 * di) - di / (2.0 * ae))  # (77)
    theta_td = 1000.0 * math.atan((hrs - hts) / (1000.0 * D) - D / (2.0 * ae))  # (78)
    theta_rd = 1000.0 * math.atan((hts - hrs) / (1000.0 * D) - D / (2.0 * ae))  # (81)
    los = bool(np.max(from_tx) <= theta_td)
    if los:
        nu = clearance_parameter(d, h, tx_m=hts, rx_m=hrs, radius_km=ae, frequency_mhz=frequency_mhz)
        lt = lr = 1 + len(nu) - 1 - int(np.argmax(nu[::-1]))  # the last of equals
        theta_t, theta_r = theta_td, theta_rd
    else:
        from_rx = 1000.0 * np.arctan((hi - hrs) / (1000.0 * (D - di)) - (D - di) / (2.0 * ae))  # (82)
        lt = 1 + int(np.argmax(from_tx))
        lr = 1 + len(from_rx) - 1 - int(np.argmax(from_rx[::-1]))
        theta_t, theta_r = float(from_tx[lt - 1]), float(from_rx[lr - 1])
    theta = 1000.0 * D / ae + theta_t + theta_r  # (84)
    return Horizons(theta_t, theta_r, theta, float(d[lt]), float(D - d[lr]), lt, lr, los)


def smooth_surface(d: Array, h: Array, *, hts: float, hrs: float) -> SmoothSurface:
    """Least-squares smooth surface and its heights for diffraction, eq. (85) to (91)."""
    D, di = d[-1], d[1:-1]
    step, low, high = np.diff(d), h[:-1], h[1:]
    v1 = float(np.sum(step * (high + low)))  # (85)
    v2 = float(np.sum(step * (high * (2.0 * d[1:] + d[:-1]) + low * (d[1:] + 2.0 * d[:-1]))))  # (86)
    hst, hsr = (2.0 * v1 * D - v2) / D**2, (v2 - v1 * D) / D**2  # (87), (88)
    H = h[1:-1] - (hts * (D - di) + hrs * di) / D  # (89d)
    hobs, alpha_obt, alpha_obr = float(np.max(H)), float(np.max(H / di)), float(np.max(H / (D - di)))
    hstp, hsrp = hst, hsr
    if hobs > 0.0:  # (90)
        hstp -= hobs * alpha_obt / (alpha_obt + alpha_obr)
        hsrp -= hobs * alpha_obr / (alpha_obt + alpha_obr)
    return SmoothSurface(hst, hsr, min(hstp, float(h[0])), min(hsrp, float(h[-1])))  # (91)


def roughness(
    d: Array, h: Array, surface: SmoothSurface, horizon: Horizons, *, tx_height_m: float, rx_height_m: float
) -> tuple[float, float, float]:
    """Effective heights hte and hre over the smooth surface and terrain roughness hm, eq. (92) to (95)."""
    hst, hsr = min(surface.hst, float(h[0])), min(surface.hsr, float(h[-1]))  # (92)
    m = (hsr - hst) / d[-1]  # (93)
    hte, hre = tx_height_m + float(h[0]) - hst, rx_height_m + float(h[-1]) - hsr  # (94)
    between = slice(horizon.lt, horizon.lr + 1)
    return hte, hre, float(np.max(h[between] - (hst + m * d[between])))  # (95)


def zone_lengths(d: Array, zone: NDArray[np.int8]) -> tuple[float, float, float]:
    """Longest land section dtm, longest inland section dlm [km], and sea part omega of the path, section 3.6.

    A change of zone lies half-way between the two profile points.
    """
    edges = np.concatenate([d[:1], 0.5 * (d[1:] + d[:-1]), d[-1:]])

    def sections(belongs: NDArray[np.bool_]) -> list[float]:
        padded = np.concatenate([[False], belongs, [False]])
        first, last = np.flatnonzero(padded[1:] & ~padded[:-1]), np.flatnonzero(~padded[1:] & padded[:-1])
        return [float(edges[b] - edges[a]) for a, b in zip(first, last, strict=True)]

    return (
        max(sections(zone != SEA), default=0.0),
        max(sections(zone == INLAND), default=0.0),
        sum(sections(zone == SEA)) / float(d[-1]),
    )


def anomalous_time(*, latitude_deg: float, dtm: float, dlm: float) -> float:
    """Time beta0 with a fall of refractivity over 100 N-units/km near the ground, eq. (2) to (5). [%]

    Examples
    --------
    >>> print(f"{anomalous_time(latitude_deg=50.0, dtm=100.0, dlm=100.0):.6f}")
    1.308429
    """
    tau = 1.0 - math.exp(-(4.12e-4 * dlm**2.41))  # (3)
    mu1 = min((10.0 ** (-dtm / (16.0 - 6.6 * tau)) + 10.0 ** (-5.0 * (0.496 + 0.354 * tau))) ** 0.2, 1.0)  # (2)
    phi = abs(latitude_deg)
    if phi <= 70.0:  # (4), (5)
        return float(10.0 ** (-0.015 * phi + 1.67) * mu1 * mu1 ** (-0.935 + 0.0176 * phi))
    return float(4.17 * mu1 * mu1**0.3)


def centre_latitude(
    tx_lat_deg: float, tx_lon_deg: float, rx_lat_deg: float, rx_lon_deg: float, *, distance_km: float
) -> float:
    """Latitude of the path's centre: half the path along the great circle, on a sphere of 6371 km. [deg]

    Only beta0 asks for it. The profile's own length counts, so that a rounded position of the receiver hardly does.

    Examples
    --------
    >>> print(f"{centre_latitude(50.0, 7.0, 51.0, 7.0, distance_km=111.19493):.6f}")
    50.500000
    """
    tx, rx, turn = math.radians(tx_lat_deg), math.radians(rx_lat_deg), math.radians(rx_lon_deg - tx_lon_deg)
    east = math.cos(rx) * math.sin(turn)
    north = math.cos(tx) * math.sin(rx) - math.sin(tx) * math.cos(rx) * math.cos(turn)
    bearing, half = math.atan2(east, north), 0.5 * distance_km / EARTH_RADIUS_KM
    return math.degrees(math.asin(math.sin(tx) * math.cos(half) + math.cos(tx) * math.sin(half) * math.cos(bearing)))
