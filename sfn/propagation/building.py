"""Building entry loss, ITU-R P.2109, Annex 1, section 3: what a wall, and the rooms behind it, take off a signal.

| building | r | s | t | u | v | w | x | y | z |
|---|---|---|---|---|---|---|---|---|---|
| traditional | 12.64 | 3.72 | 0.96 | 9.6 | 2.0 | 9.1 | -3.0 | 4.5 | -2.0 |
| efficient | 28.19 | -3.0 | 8.48 | 13.5 | 3.8 | 27.8 | -2.9 | 9.4 | -2.1 |

Efficient is thermally efficient: metallised glass, foil-backed panels. Coefficients of Table 1, read in two
implementations of the Recommendation; published results of Study Group 3's workbook in `tests/published`.
"""

import math
from collections.abc import Mapping
from statistics import NormalDist
from typing import Literal

from sfn.errors import in_range

Building = Literal["traditional", "efficient"]
COEFFICIENTS: Mapping[Building, tuple[float, ...]] = {
    "traditional": (12.64, 3.72, 0.96, 9.6, 2.0, 9.1, -3.0, 4.5, -2.0),
    "efficient": (28.19, -3.0, 8.48, 13.5, 3.8, 27.8, -2.9, 9.4, -2.1),
}
NAMES: Mapping[Building, str] = {"traditional": "traditional", "efficient": "thermally efficient"}
LEAST_MHZ, GREATEST_MHZ = 80.0, 100_000.0
# C of eq. (1).
FLOOR_DB = -3.0


def entry_loss(
    building: Building, *, frequency_mhz: float, places_pct: float = 50.0, elevation_deg: float = 0.0
) -> float:
    """Loss that is not exceeded at a percentage of indoor places, eq. (1) to (10).

    Parameters
    ----------
    building : {'traditional', 'efficient'}
    frequency_mhz : float
        80 to 100 000. [MHz]
    places_pct : float
        Indoor places whose loss is not greater, above 0 and below 100. [%]
    elevation_deg : float
        Of the path at the facade; 0.212 dB a degree. [degrees]

    Returns
    -------
    loss_db : float
        [dB]

    Raises
    ------
    ValueError
        If a quantity is outside its range, with its name.

    Examples
    --------
    >>> print(" ".join(f"{entry_loss(kind, frequency_mhz=600.0):.2f}" for kind in ("traditional", "efficient")))
    14.04 31.89
    """
    in_range("frequency_mhz", frequency_mhz, least=LEAST_MHZ, greatest=GREATEST_MHZ, unit="MHz")
    in_range("places_pct", places_pct, least=1e-6, greatest=100.0 - 1e-6, unit="%")
    in_range("elevation_deg", elevation_deg, least=-90.0, greatest=90.0, unit="degrees")
    r, s, t, u, v, w, x, y, z = COEFFICIENTS[building]
    lg = math.log10(frequency_mhz / 1000.0)
    mu1 = r + s * lg + t * lg * lg + 0.212 * abs(elevation_deg)
    mu2 = w + x * lg
    deviations = NormalDist().inv_cdf(places_pct / 100.0)
    A, B = deviations * (u + v * lg) + mu1, deviations * (y + z * lg) + mu2
    return 10.0 * math.log10(10.0 ** (0.1 * A) + 10.0 ** (0.1 * B) + 10.0 ** (0.1 * FLOOR_DB))
