"""How much a roof antenna favours the direction it points to (ITU-R BT.419, BS.599).

| band | flat to | falls to | discrimination there | orthogonal polarisation |
|---|---|---|---|---|
| I (41-68 MHz), BT.419 | 50 deg | 70 deg | 6 dB | 16 dB at every angle |
| II (87-108 MHz), BS.599 | 27 deg | 60 deg | 12 dB | at least 10 dB |
| III (162-254 MHz), BT.419 | 27 deg | 60 deg | 12 dB | 16 dB at every angle |
| IV and V (470 MHz up), BT.419 | 20 deg | 60 deg | 16 dB | 16 dB at every angle |

Bands IV and V: ITU-R BT.419-3 Figure 1, secondary. The other lines and all polarisation figures:
from memory. Portable and mobile receivers have no discrimination.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True)
class RoofAntenna:
    """One line of the table on top of this module."""

    name: str
    flat_deg: float
    falls_to_deg: float
    discrimination_db: float
    orthogonal_db: float
    orthogonal_replaces: bool


BAND_I = RoofAntenna("BT.419 band I", 50.0, 70.0, 6.0, 16.0, True)
BAND_II = RoofAntenna("BS.599", 27.0, 60.0, 12.0, 10.0, False)
BAND_III = RoofAntenna("BT.419 band III", 27.0, 60.0, 12.0, 16.0, True)
BANDS_IV_V = RoofAntenna("BT.419 bands IV and V", 20.0, 60.0, 16.0, 16.0, True)


def roof_antenna(frequency_mhz: float) -> RoofAntenna:
    """The antenna that the Recommendations give for a carrier.

    Raises
    ------
    ValueError
        If no Recommendation covers the frequency: aim nothing there.
    """
    for least, greatest, antenna in (
        (41.0, 68.0, BAND_I),
        (76.0, 108.0, BAND_II),
        (162.0, 254.0, BAND_III),
        (470.0, 960.0, BANDS_IV_V),
    ):
        if least <= frequency_mhz <= greatest:
            return antenna
    raise ValueError(
        "frequency_mhz of a roof antenna must be in 41-68, 76-108, 162-254 or 470-960 MHz "
        f"(ITU-R BT.419, BS.599), got {frequency_mhz!r}"
    )


def relative_gain_db(off_axis_deg: ArrayLike, *, antenna: RoofAntenna, orthogonal: bool = False) -> NDArray[np.float64]:
    """Gain against that in the direction the antenna points to; 0 or less.

    Parameters
    ----------
    off_axis_deg : array_like
        Angle between the direction of arrival and the antenna's, any turn and sign. [deg]
    antenna : RoofAntenna
        From `roof_antenna`.
    orthogonal : bool
        The signal has the other polarisation: its discrimination stands instead of the angle's, or at
        least (BS.599); the two never add.

    Examples
    --------
    >>> relative_gain_db([0, 20, 40, 60, 180], antenna=BANDS_IV_V).tolist()
    [0.0, 0.0, -8.0, -16.0, -16.0]
    """
    turned = np.abs((np.asarray(off_axis_deg, dtype=np.float64) + 180.0) % 360.0 - 180.0)
    gain_db = np.interp(turned, [antenna.flat_deg, antenna.falls_to_deg], [0.0, -antenna.discrimination_db])
    if orthogonal and antenna.orthogonal_replaces:
        gain_db = np.full_like(turned, -antenna.orthogonal_db)
    elif orthogonal:
        gain_db = np.minimum(gain_db, -antenna.orthogonal_db)
    return np.where(np.isnan(turned), np.nan, gain_db)


def aimed_levels(
    level_dbuvm: ArrayLike,
    *,
    bearing_deg: ArrayLike,
    antenna: RoofAntenna,
    aim_deg: ArrayLike | None = None,
    orthogonal: ArrayLike | None = None,
) -> NDArray[np.float64]:
    """Levels behind a roof antenna, as if received by one without direction; before any window is chosen.

    Parameters
    ----------
    level_dbuvm : (S, M) array_like
        Levels of S sites at M points, NaN where not covered. [dBuV/m]
    bearing_deg : (S, M) array_like
        Bearings from the points to the sites. [deg]
    antenna : RoofAntenna
        From `roof_antenna`.
    aim_deg : (M,) array_like, optional
        Where antennas point; at the strongest site where not given. [deg]
    orthogonal : (S,) array_like of bool, optional
        Sites of the other polarisation.

    Returns
    -------
    level_dbuvm : (S, M) array
        [dBuV/m]
    """
    levels = np.asarray(level_dbuvm, dtype=np.float64)
    bearings = np.asarray(bearing_deg, dtype=np.float64)
    if aim_deg is None:
        strongest = np.argmax(np.where(np.isnan(levels), -np.inf, levels), axis=0)
        aim = np.take_along_axis(bearings, strongest[None, :], axis=0)
    else:
        aim = np.asarray(aim_deg, dtype=np.float64)[None, :]
    gains = relative_gain_db(bearings - aim, antenna=antenna)
    if orthogonal is not None:
        other = np.asarray(orthogonal, dtype=bool)
        gains[other] = relative_gain_db((bearings - aim)[other], antenna=antenna, orthogonal=True)
    return np.asarray(levels + gains)
