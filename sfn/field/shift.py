"""Accepted corrections of predicted levels: what drive tests add at the bearings from a site; and the words for it."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.field.indoors import indoors_says
from sfn.plan import Network, Site

Floats = NDArray[np.float64]


def site_shift(site: Site, bearing_deg: ArrayLike) -> Floats | float:
    """What a site's accepted shift adds to its levels; 0 without one.

    Parameters
    ----------
    site : Site
    bearing_deg : array_like, any shape
        Seen from the site. [degrees]

    Returns
    -------
    shift_db : ndarray, shape of `bearing_deg`, or 0.0
        [dB]
    """
    return 0.0 if site.level_shift is None else sector_shift(bearing_deg, shifts_db=site.level_shift.sectors_db)


def shifted_sites(network: Network) -> tuple[Site, ...]:
    """Sites whose levels are corrected."""
    return tuple(site for site in network.sites if site.level_shift is not None and any(site.level_shift.sectors_db))


def shift_says(network: Network) -> str:
    """In words what is added to or taken off the model's levels, by drive tests or by walls; empty where nothing is."""
    return ". ".join(said for said in (indoors_says(network), drive_says(network)) if said)


def drive_says(network: Network) -> str:
    """In words which levels are corrected by drive tests; empty where none is."""
    sites: Sequence[Site] = shifted_sites(network)
    if not sites:
        return ""
    named = ", ".join(f"{s.name} ({_range(s)}, accepted {s.level_shift.date})" for s in sites if s.level_shift)
    return f"Levels are corrected by drive tests: {named}"


def _range(site: Site) -> str:
    """``+3.0 dB`` or ``-2.0 to +4.0 dB``."""
    sectors = site.level_shift.sectors_db if site.level_shift else (0.0,)
    low, high = (f"{value:+.1f}".replace("-", "\u2212") for value in (min(sectors), max(sectors)))
    return f"{low} dB" if low == high else f"{low} to {high} dB"


def sector_shift(bearing_deg: ArrayLike, *, shifts_db: ArrayLike) -> Floats:
    """Shift at any bearing from shifts at the centres of sectors, straight between them.

    Parameters
    ----------
    bearing_deg : array_like, any shape
        Seen from the site. [degrees]
    shifts_db : array_like (N,)
        Shift at bearings 0, 360 / N, ...; NaN sectors are bridged. [dB]

    Returns
    -------
    ndarray, shape of `bearing_deg`
        0 when all are NaN. [dB]

    Examples
    --------
    >>> print(sector_shift([0.0, 45.0, 315.0], shifts_db=[4.0, 0.0, 0.0, 0.0]))
    [4. 2. 2.]
    """
    shifts = np.asarray(shifts_db, dtype=np.float64)
    centres = np.arange(len(shifts)) * 360.0 / len(shifts)
    known = np.isfinite(shifts)
    bearing = np.asarray(bearing_deg, dtype=np.float64)
    if not known.any():
        return np.zeros(bearing.shape)
    return np.asarray(np.interp(bearing % 360.0, centres[known], shifts[known], period=360.0))
