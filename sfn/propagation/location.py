"""Location variability, and the inverse normal that P.1812 uses for percentages of time and places.

Equation numbers are those of P.1812, section 4.8 and Attachment 2 to Annex 1.
"""

import math

from sfn.errors import in_range


def inverse_normal(probability: float) -> float:
    """Inverse complementary normal distribution I(x) in P.1812's approximation, eq. (96) and (97).

    Parameters
    ----------
    probability : float
        0 < x < 1; nearer than 1e-6 to either end counts as that.

    Returns
    -------
    I : float
        Standard deviations above the median exceeded with probability x. Within 5.4e-4 of the exact quantile.

    Examples
    --------
    >>> print(f"{inverse_normal(0.01):.7f} {inverse_normal(0.1):.7f}")
    2.3267854 1.2817288
    """
    x = min(max(probability, 1e-6), 1.0 - 1e-6)
    if x > 0.5:
        return -inverse_normal(1.0 - x)
    T = math.sqrt(-2.0 * math.log(x))
    # C0 carries three digits more than printed, so that I(0.5) is 0: as in the reference implementation.
    numerator = (0.010328 * T + 0.802853) * T + 2.515516698
    denominator = ((0.001308 * T + 0.189269) * T + 1.432788) * T + 1.0
    return T - numerator / denominator


def location_sigma(*, frequency_mhz: float, rx_height_m: float, cover_m: float, width_m: float) -> float:
    """Standard deviation of the local mean inside a square, from its width and the receiver's height.

    Parameters
    ----------
    frequency_mhz : float
        30 to 6000. [MHz]
    rx_height_m : float
        Height of the receiving antenna above ground. [m]
    cover_m : float
        Representative height R of what covers the ground at the receiver. [m]
    width_m : float
        Width w_a of the square that one prediction stands for. [m]

    Returns
    -------
    sigma_db : float
        ``(0.52 + 0.024 f/GHz) w_a^0.28 u(h)``; u is 1 below R, falls to 0 at R + 10 m. [dB]

    Raises
    ------
    ValueError
        If a quantity is outside its range, with its name.

    Notes
    -----
    Antennas 10 m above the cover get 0. Broadcast planning at roof height uses 5.5 dB instead: see
    `sfn.propagation.p1812.path_loss`, where the deviation is an argument of its own.

    Examples
    --------
    >>> print(f"{location_sigma(frequency_mhz=600.0, rx_height_m=1.5, cover_m=10.0, width_m=100.0):.6f}")
    1.940289
    """
    in_range("frequency_mhz", frequency_mhz, least=30.0, greatest=6000.0, unit="MHz")
    in_range("rx_height_m", rx_height_m, least=1.0, greatest=3000.0, unit="m")
    in_range("cover_m", cover_m, least=0.0, greatest=1000.0, unit="m")
    in_range("width_m", width_m, least=1.0, greatest=10_000.0, unit="m")
    u = min(max(1.0 - (rx_height_m - cover_m) / 10.0, 0.0), 1.0)
    return float((0.52 + 0.024 * frequency_mhz / 1000.0) * width_m**0.28 * u)


def location_loss(*, location_pct: float, sigma_db: float) -> float:
    """Loss beside the median that is not exceeded at a percentage of places, Lloc = -I(pL) sigma, eq. (67).

    Raises
    ------
    ValueError
        If `location_pct` is outside 1 to 99 %, or `sigma_db` outside 0 to 30 dB.

    Examples
    --------
    >>> print(f"{location_loss(location_pct=95.0, sigma_db=5.5):.2f}")
    9.05
    """
    in_range("location_pct", location_pct, least=1.0, greatest=99.0, unit="%")
    in_range("sigma_db", sigma_db, least=0.0, greatest=30.0, unit="dB")
    return 0.0 if location_pct == 50.0 else -inverse_normal(location_pct / 100.0) * sigma_db
