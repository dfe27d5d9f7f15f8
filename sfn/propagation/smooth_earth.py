"""Diffraction over a smooth spherical earth, ITU-R P.526 in the form that P.1812 uses.

| symbol | argument | unit |
|---|---|---|
| DN | `delta_n`, fall of refractivity over the lowest kilometre | N-units/km |
| ae, ap | `radius_km`, effective Earth radius | km |
| hte, hre | `tx_height_m`, `rx_height_m` above the smooth surface | m |
| omega | `sea_ratio`, part of the path over sea | 1 |
| Ldsph | `diffraction_loss` | dB |

Equation numbers are those of P.1812 (editions 6 to 8), section 4.3. Arrays broadcast.
"""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import in_range
from sfn.propagation.free_space import slant_loss

Polarisation = Literal["H", "V"]
Array = NDArray[np.float64]

EARTH_RADIUS_KM = 6371.0
# Effective radius exceeded for beta0 % of time, eq. (7b): k = 3.
BETA0_RADIUS_KM = 3.0 * EARTH_RADIUS_KM
# The Recommendations' speed of light, 2.998e8 m/s: kept, so that published values are met.
WAVELENGTH_AT_1_GHZ_M = 0.2998
# (relative permittivity, conductivity in S/m), section 4.3.3.
LAND, SEA = (22.0, 0.003), (80.0, 5.0)
# Nearer than this P.1812 does not apply: free space.
LEAST_DISTANCE_KM = 0.25
# Nearer than this all is free space; from here to 0.25 km the loss goes over to P.1812's, so that no ring stands there.
FREE_SPACE_KM = 0.125


def effective_radius(delta_n: float) -> float:
    """Median effective Earth radius ``6371 * 157 / (157 - DN)``, eq. (6) and (7a). [km]

    Raises
    ------
    ValueError
        If `delta_n` is outside 0 to 150 N-units/km (it is a positive quantity in P.1812).

    Examples
    --------
    >>> print(f"{effective_radius(45.0):.6f} {effective_radius(39.25):.6f}")
    8930.776786 8494.666667
    """
    in_range("delta_n", delta_n, least=0.0, greatest=150.0, unit="N-units/km")
    return EARTH_RADIUS_KM * 157.0 / (157.0 - delta_n)


def marginal_distance(*, tx_height_m: ArrayLike, rx_height_m: ArrayLike, radius_km: ArrayLike) -> Array:
    """Greatest distance with line of sight over the smooth earth, dlos, eq. (22). [km]

    Examples
    --------
    >>> print(f"{marginal_distance(tx_height_m=150.0, rx_height_m=10.0, radius_km=effective_radius(45.0)):.6f}")
    65.126021
    """
    hte, hre = np.asarray(tx_height_m, dtype=np.float64), np.asarray(rx_height_m, dtype=np.float64)
    return np.asarray(
        np.sqrt(2.0 * np.asarray(radius_km, dtype=np.float64)) * (np.sqrt(0.001 * hte) + np.sqrt(0.001 * hre))
    )


def surface_admittance(
    *, frequency_mhz: float, radius_km: ArrayLike, ground: tuple[float, float], polarisation: Polarisation
) -> Array:
    """Normalised surface admittance K, eq. (29a) for H and (29b) for V; `ground` is `LAND` or `SEA`."""
    f, (epsr, sigma) = frequency_mhz / 1000.0, ground
    loss_term = 18.0 * sigma / f
    K = 0.036 * (np.asarray(radius_km) * f) ** (-1 / 3) * ((epsr - 1.0) ** 2 + loss_term**2) ** (-1 / 4)
    return np.asarray(K * np.sqrt(epsr**2 + loss_term**2) if polarisation == "V" else K)


def distance_term(X: ArrayLike) -> Array:
    """Distance term F(X) of the first residue, eq. (33). [dB]"""
    X = np.maximum(np.asarray(X, dtype=np.float64), 1e-300)
    return np.where(X >= 1.6, 11.0 + 10.0 * np.log10(X) - 17.6 * X, -20.0 * np.log10(X) - 5.6488 * X**1.425)


def height_term(B: ArrayLike, *, K: ArrayLike) -> Array:
    """Height term G(Y) of one antenna, B = beta Y, not below 2 + 20 log10 K, eq. (34) and (35). [dB]"""
    B = np.asarray(B, dtype=np.float64)
    above = np.maximum(B - 1.1, 0.1)
    high = 17.6 * np.sqrt(above) - 5.0 * np.log10(above) - 8.0
    low = 20.0 * np.log10(B + 0.1 * B**3)
    return np.maximum(np.where(B > 2.0, high, low), 2.0 + 20.0 * np.log10(K))


def _first_term(
    d: Array, f: float, hte: Array, hre: Array, adft: Array, ground: tuple[float, float], pol: Polarisation
) -> Array:
    """First residue over one kind of ground, eq. (29) to (36). [dB]"""
    K = surface_admittance(frequency_mhz=f * 1000.0, radius_km=adft, ground=ground, polarisation=pol)
    beta = (1.0 + 1.6 * K**2 + 0.67 * K**4) / (1.0 + 4.5 * K**2 + 1.53 * K**4)
    X = 21.88 * beta * (f / adft**2) ** (1 / 3) * d
    Y_per_m = 0.9575 * beta * (f**2 / adft) ** (1 / 3)
    return -distance_term(X) - height_term(beta * Y_per_m * hte, K=K) - height_term(beta * Y_per_m * hre, K=K)


def first_term_loss(
    distance_km: ArrayLike,
    *,
    frequency_mhz: float,
    tx_height_m: ArrayLike,
    rx_height_m: ArrayLike,
    radius_km: ArrayLike,
    polarisation: Polarisation,
    sea_ratio: ArrayLike = 0.0,
) -> Array:
    """First-term spherical-earth diffraction loss Ldft, land and sea mixed, eq. (28) to (36). [dB]

    May be negative well inside the horizon, where `diffraction_loss` does not use it.
    """
    d, hte, hre, adft = (np.asarray(v, dtype=np.float64) for v in (distance_km, tx_height_m, rx_height_m, radius_km))
    omega, f = np.asarray(sea_ratio, dtype=np.float64), frequency_mhz / 1000.0
    loss = (1.0 - omega) * _first_term(d, f, hte, hre, adft, LAND, polarisation)
    if np.any(omega > 0.0):
        loss = loss + omega * _first_term(d, f, hte, hre, adft, SEA, polarisation)
    return np.asarray(loss)


def least_clearance(
    distance_km: ArrayLike, *, tx_height_m: ArrayLike, rx_height_m: ArrayLike, radius_km: ArrayLike
) -> tuple[Array, Array]:
    """Smallest clearance hse of the ray over the smooth earth and where it is, dse1, eq. (23) and (24). [m], [km]"""
    d, hte, hre, ap = (np.asarray(v, dtype=np.float64) for v in (distance_km, tx_height_m, rx_height_m, radius_km))
    c = (hte - hre) / (hte + hre)
    m = 250.0 * d**2 / (ap * (hte + hre))
    angle = np.arccos(np.clip(1.5 * c * np.sqrt(3.0 * m / (m + 1.0) ** 3), -1.0, 1.0))
    b = 2.0 * np.sqrt((m + 1.0) / (3.0 * m)) * np.cos(np.pi / 3.0 + angle / 3.0)
    dse1 = 0.5 * d * (1.0 + b)
    dse2 = d - dse1
    hse = ((hte - 500.0 * dse1**2 / ap) * dse2 + (hre - 500.0 * dse2**2 / ap) * dse1) / d
    return np.asarray(hse), np.asarray(dse1)


def diffraction_loss(
    distance_km: ArrayLike,
    *,
    frequency_mhz: float,
    tx_height_m: ArrayLike,
    rx_height_m: ArrayLike,
    radius_km: ArrayLike,
    polarisation: Polarisation,
    sea_ratio: ArrayLike = 0.0,
) -> Array:
    """Spherical-earth diffraction loss Ldsph, eq. (22) to (36).

    Parameters
    ----------
    distance_km : array_like
        Path lengths, greater than zero. [km]
    frequency_mhz : float
        Carrier frequency. [MHz]
    tx_height_m, rx_height_m : array_like
        Heights of the antennas above the smooth surface, greater than zero. [m]
    radius_km : array_like
        Effective Earth radius. [km]
    polarisation : {'H', 'V'}
        Matters only where part of the path is over sea, below a few hundred MHz.
    sea_ratio : array_like, default 0
        Part of the path over sea, 0 to 1.

    Returns
    -------
    Ldsph : ndarray
        Loss beside free space; 0 where the ray clears the earth by hreq. [dB]

    References
    ----------
    .. [1] ITU-R P.526, section on diffraction over a spherical earth; P.1812 section 4.3.2 and 4.3.3.

    Examples
    --------
    Row of the Study Group 3 delta-Bullington validation document (69.454342 dB):

    >>> loss = diffraction_loss(132.315397, frequency_mhz=1000.0, tx_height_m=37.97366242, rx_height_m=119.2363492,
    ...     radius_km=8500.0, polarisation="H")
    >>> print(f"{loss:.2f}")
    69.46
    """
    d, hte, hre, ap = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (distance_km, tx_height_m, rx_height_m, radius_km))
    )
    beyond = d >= marginal_distance(tx_height_m=hte, rx_height_m=hre, radius_km=ap)
    hse, dse1 = least_clearance(d, tx_height_m=hte, rx_height_m=hre, radius_km=ap)
    wavelength_m = WAVELENGTH_AT_1_GHZ_M * 1000.0 / frequency_mhz
    hreq = 17.456 * np.sqrt(np.maximum(dse1 * (d - dse1), 1e-30) * wavelength_m / d)  # (25)
    aem = 500.0 * (d / (np.sqrt(hte) + np.sqrt(hre))) ** 2  # (26)
    Ldft = first_term_loss(
        d, frequency_mhz=frequency_mhz, tx_height_m=hte, rx_height_m=hre, radius_km=np.where(beyond, ap, aem),
        polarisation=polarisation, sea_ratio=sea_ratio,
    )  # fmt: skip
    inside = np.where(hse > hreq, 0.0, (1.0 - hse / hreq) * np.maximum(Ldft, 0.0))  # (27)
    return np.where(beyond, Ldft, inside)


def smooth_earth_loss(
    distance_km: ArrayLike,
    *,
    frequency_mhz: float,
    tx_height_m: float,
    rx_height_m: ArrayLike,
    polarisation: Polarisation,
    delta_n: float = 45.0,
    sea_ratio: ArrayLike = 0.0,
) -> Array:
    """Median basic transmission loss where no terrain is known: free space plus smooth-earth diffraction.

    Parameters
    ----------
    distance_km : array_like, any shape
        Distances along the ground, 0 to 3000. [km]
    frequency_mhz : float
        30 to 6000. [MHz]
    tx_height_m : float
        Height of the transmitting antenna above the smooth surface, 1 to 9000. [m]
    rx_height_m : array_like, broadcast with `distance_km`
        Height of the receiving antenna above the smooth surface, 1 to 9000. [m]
    polarisation : {'H', 'V'}
        Polarisation.
    delta_n : float, default 45
        Average fall of refractivity over the lowest kilometre (the network's DN). [N-units/km]
    sea_ratio : array_like, default 0
        Part of the path over sea.

    Returns
    -------
    loss_db : ndarray, broadcast shape
        Basic transmission loss at 50 % of time and locations. [dB]  Below 0.25 km: free space. NaN where an
        input is NaN.

    Raises
    ------
    ValueError
        If a quantity is outside its range, with its name.

    Examples
    --------
    >>> loss = smooth_earth_loss(50.0, frequency_mhz=600.0, tx_height_m=150.0, rx_height_m=10.0, polarisation="H")
    >>> print(f"{loss:.3f}")
    132.814
    """
    in_range("frequency_mhz", frequency_mhz, least=30.0, greatest=6000.0, unit="MHz")
    check_polarisation(polarisation)
    d, hre = np.asarray(distance_km, dtype=np.float64), np.asarray(rx_height_m, dtype=np.float64)
    for name, values, least, greatest, unit in (
        ("distance_km", d, 0.0, 3000.0, "km"),
        ("tx_height_m", np.asarray(tx_height_m, dtype=np.float64), 1.0, 9000.0, "m"),
        ("rx_height_m", hre, 1.0, 9000.0, "m"),
    ):
        wrong = (values < least) | (values > greatest)
        if np.any(wrong):
            in_range(name, float(values[wrong].flat[0]), least=least, greatest=greatest, unit=unit)
    Lbfs = slant_loss(d, frequency_mhz=frequency_mhz, height_difference_m=tx_height_m - hre)
    Ldsph = diffraction_loss(
        np.maximum(d, LEAST_DISTANCE_KM), frequency_mhz=frequency_mhz, tx_height_m=tx_height_m, rx_height_m=hre,
        radius_km=effective_radius(delta_n), polarisation=polarisation, sea_ratio=sea_ratio,
    )  # fmt: skip
    return np.asarray(Lbfs + np.where(d < LEAST_DISTANCE_KM, 0.0, Ldsph))


def check_polarisation(polarisation: str) -> None:
    """Refuse anything but ``H`` and ``V``.

    Raises
    ------
    ValueError
        With the value as given.
    """
    if polarisation not in ("H", "V"):
        raise ValueError(f"polarisation must be 'H' (horizontal) or 'V' (vertical), got {polarisation!r}")
