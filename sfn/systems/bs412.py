"""ITU-R BS.412-9: least field strengths, and services that carry another programme.

Echoes of the own network are no matter of this Recommendation: see `fm`. Its protection ratios are from memory: the
numbers of its tables could not be read, `bs412.toml` says what was.
"""

import tomllib
from functools import partial
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

AREAS = ("quiet", "rural", "urban", "large city")
RATIO_SNR_DB = 50.0  # S/N, weighted quasi-peak, that a protection ratio stands for (ITU-R BS.641, from memory)


def _tables() -> dict[str, Any]:
    """The Recommendation's tables as they are kept beside this file."""
    return tomllib.loads(Path(__file__).with_name("bs412.toml").read_text(encoding="utf-8"))


def minimum_field(area: str, *, stereo: bool) -> float:
    """Least usable field strength 10 m above ground: a median, but for "quiet" (note 1 to table 2, read).

    Parameters
    ----------
    area : {"quiet", "rural", "urban", "large city"}
        "quiet": without industrial noise.
    stereo : bool
        Stereo or mono reception.

    Returns
    -------
    field_dbuvm : float
        Field strength. [dBuV/m]

    Raises
    ------
    ValueError
        If there is no such area.

    References
    ----------
    .. [1] ITU-R BS.412-9 table 1 (secondary quotation), table 2 (from memory).

    Examples
    --------
    >>> minimum_field("rural", stereo=True)
    54.0
    """
    if area not in AREAS:
        raise ValueError(f"area must be one of {', '.join(AREAS)}, got {area}")
    return float(_tables()["minimum_field"][area][1 if stereo else 0])


def protection_ratio(
    spacing_khz: ArrayLike, *, stereo: bool, interference: Literal["steady", "tropospheric"]
) -> NDArray[np.float64]:
    """Least ratio of wanted to unwanted field for a service with another programme.

    Parameters
    ----------
    spacing_khz : array_like, any shape
        Difference of the carriers; only its size counts. [kHz]
    stereo : bool
        Of the wanted service.
    interference : {"steady", "tropospheric"}
        Unwanted field present always (take it at 50 % of time) or for 1 % of time.

    Returns
    -------
    ratio_db : ndarray, shape of `spacing_khz`
        Ratio, linear between the rows; beyond 400 kHz -inf: no ratio is asked. [dB]

    Raises
    ------
    ValueError
        If `interference` is neither of the two.

    References
    ----------
    .. [1] ITU-R BS.412-9 table 3, from memory.

    Examples
    --------
    >>> print(protection_ratio([0, 100, 200], stereo=True, interference="steady"))
    [45. 33.  7.]
    """
    kinds = ("steady", "tropospheric")
    if interference not in kinds:
        raise ValueError(f"interference must be steady or tropospheric, got {interference}")
    rows = np.array(_tables()["protection_ratio"]["rows"], dtype=np.float64)
    column = 1 + 2 * stereo + kinds.index(interference)
    at_row = partial(np.interp, xp=rows[:, 0], fp=rows[:, column], right=-np.inf)
    return np.asarray(at_row(np.abs(np.asarray(spacing_khz, dtype=np.float64))))


def nuisance_field(
    level_dbuvm: ArrayLike,
    spacing_khz: ArrayLike,
    *,
    stereo: bool,
    interference: Literal["steady", "tropospheric"] = "steady",
) -> NDArray[np.float64]:
    """Field that the wanted one must have because of services with other programmes.

    Parameters
    ----------
    level_dbuvm : array_like, shape (N, ...)
        Level of each unwanted service; NaN: none there. [dBuV/m]
    spacing_khz : array_like, shape (N,)
        Its carrier less the wanted one. [kHz]
    stereo, interference
        As for `protection_ratio`.

    Returns
    -------
    field_dbuvm : ndarray, shape (...)
        Power sum of level plus protection ratio; -inf without any. [dBuV/m]

    Notes
    -----
    Powers of several unwanted services add (ITU-R Report 945). An antenna's discrimination is taken off
    `level_dbuvm` before.
    """
    level = np.asarray(level_dbuvm, dtype=np.float64)
    ratio = protection_ratio(spacing_khz, stereo=stereo, interference=interference)
    needed = level + ratio.reshape(-1, *(1,) * (level.ndim - 1))
    with np.errstate(divide="ignore"):
        return np.asarray(10 * np.log10(np.nansum(10 ** (needed / 10), axis=0)))


def unrelated_snr(wanted_dbuvm: ArrayLike, nuisance_dbuvm: ArrayLike, *, cap_db: float = 60.0) -> NDArray[np.float64]:
    """S/N that other services leave: 50 dB where the wanted field equals the nuisance field, 1 dB for each dB.

    Parameters
    ----------
    wanted_dbuvm, nuisance_dbuvm : array_like
        Level of the wanted signal, and the sum from `nuisance_field`. [dBuV/m]
    cap_db : float, default 60
        Greatest answer. [dB]

    Returns
    -------
    snr_db : ndarray
        S/N, to be shown beside that of the own echoes: the two are different kinds of disturbance. [dB]

    Examples
    --------
    >>> field = nuisance_field([30.0], [0.0], stereo=True)
    >>> print(unrelated_snr(70.0, field))
    45.0
    """
    margin_db = np.asarray(wanted_dbuvm, dtype=np.float64) - np.asarray(nuisance_dbuvm, dtype=np.float64)
    return np.asarray(np.minimum(RATIO_SNR_DB + margin_db, cap_db))
