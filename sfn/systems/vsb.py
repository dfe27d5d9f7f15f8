"""8-VSB reception of a list of signals: an echo mask instead of a guard interval.

The mask gives, for a single echo, how far it must lie below the main signal by its delay. It stands
in ``modes.toml``, is marked as recalled, and is replaced by a user's own file. Outside the mask an
echo counts as co-channel interference.

What several echoes do together is in no document at hand: here each uses up a part of what is
tolerated, ``10^((needed - D/U)/10)``, noise another, and the parts must not exceed one.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.service import Service

FloatArray = NDArray[np.float64]


def needed_ratio_db(late_us: ArrayLike, *, service: Service) -> FloatArray:
    """Least ratio of the main signal to a single echo.

    Parameters
    ----------
    late_us : array_like
        Echo's arrival less the main signal's. [us]
    service : Service
        With an echo mask, interpolated linearly and held at its ends outside.

    Raises
    ------
    ValueError
        If the service has no echo mask.

    Examples
    --------
    >>> from sfn.systems.service import service
    >>> needed_ratio_db([-60, 0, 5, 30, 60], service=service("8-vsb")).tolist()
    [16.0, 1.0, 1.5, 6.5, 16.0]
    """
    if service.kind != "vsb":
        raise ValueError(f"service must have an echo mask (8-VSB), got {service.id} ({service.kind})")
    delays_us, ratios_db = np.array(service.echo_mask).T
    return np.asarray(np.interp(np.asarray(late_us, dtype=np.float64), delays_us, ratios_db))


def vsb_answer(
    level_dbuvm: ArrayLike,
    delay_us: ArrayLike,
    service: Service,
    *,
    levels_1pct: ArrayLike | None = None,
    frequency_mhz: float | None = None,
    noise_dbuvm: float | None = None,
) -> dict[str, Any]:
    """Margin of one list of signals, and what each echo asks for.

    Parameters
    ----------
    level_dbuvm, delay_us : (S,) array_like
        Levels at 50 % of time and arrivals. [dBuV/m, us]
    service : Service
        With an echo mask and a required C/N.
    levels_1pct : (S,) array_like, optional
        Levels at 1 % of time, for the echoes. [dBuV/m]
    frequency_mhz, noise_dbuvm : float, optional
        Carrier for the noise field, or the noise field itself. [MHz, dBuV/m]

    Returns
    -------
    answer : dict
        ``margin_db``, ``cn_db``, ``required_cn_db``, ``noise_dbuvm``, ``wanted`` and ``hurts`` (places in the
        list), ``echoes`` (each with ``place``, ``late_us``, ``du_db``, ``needed_db``, ``margin_db``,
        ``outside_mask``), ``mask`` and ``status`` of the mask.

    Raises
    ------
    ValueError
        If there is no finite level, or the service has no echo mask.
    """
    levels = np.asarray(level_dbuvm, dtype=np.float64)
    rare = levels if levels_1pct is None else np.asarray(levels_1pct, dtype=np.float64)
    arrivals = np.asarray(delay_us, dtype=np.float64)
    if levels.ndim != 1 or not levels.shape == rare.shape == arrivals.shape or not np.isfinite(levels).any():
        raise ValueError("level_dbuvm and delay_us must be lists of the same length with a finite level")
    noise = noise_field_dbuvm(service, frequency_mhz=frequency_mhz) if noise_dbuvm is None else noise_dbuvm
    main = int(np.nanargmax(levels))
    echoes = []
    used = 10.0 ** ((float(service.required_cn_db or 0.0) - (levels[main] - noise)) / 10.0)
    mask_us = [point[0] for point in service.echo_mask]
    for place in np.flatnonzero(np.isfinite(levels)):
        if place == main:
            continue
        late_us = float(arrivals[place] - arrivals[main])
        needed_db = float(needed_ratio_db(late_us, service=service))
        du_db = float(levels[main] - (rare[place] if np.isfinite(rare[place]) else levels[place]))
        used += 10.0 ** ((needed_db - du_db) / 10.0)
        echoes.append(
            {
                "place": int(place),
                "late_us": late_us,
                "du_db": du_db,
                "needed_db": needed_db,
                "margin_db": du_db - needed_db,
                "outside_mask": not mask_us[0] <= late_us <= mask_us[-1],
            }
        )
    return {
        "margin_db": float(-10.0 * np.log10(used)),
        "cn_db": float(levels[main] - noise),
        "required_cn_db": service.required_cn_db,
        "noise_dbuvm": float(noise),
        "wanted": main,
        "hurts": min(echoes, key=lambda e: e["margin_db"])["place"] if echoes else None,
        "echoes": echoes,
        "mask": [list(point) for point in service.echo_mask],
        "status": service.status,
    }


def vsb_margins(
    level_dbuvm: ArrayLike,
    arrival_us: ArrayLike,
    service: Service,
    *,
    level_1pct_dbuvm: ArrayLike | None = None,
    frequency_mhz: float | None = None,
) -> tuple[FloatArray, NDArray[np.int16]]:
    """Margins at M points of S sites, and the row of the echo that hurts most (-1: none).

    Parameters
    ----------
    level_dbuvm, arrival_us : (S, M) array_like
        NaN level: not received. [dBuV/m, us]
    service : Service
        With an echo mask.
    level_1pct_dbuvm : (S, M) array_like, optional
        [dBuV/m]
    frequency_mhz : float, optional
        Carrier for the noise field. [MHz]

    Returns
    -------
    margin_db : (M,) array
        NaN where nothing is received. [dB]
    hurting_site : (M,) int16 array
    """
    levels = np.asarray(level_dbuvm, dtype=np.float64)
    arrivals = np.asarray(arrival_us, dtype=np.float64)
    rare = levels if level_1pct_dbuvm is None else np.asarray(level_1pct_dbuvm, dtype=np.float64)
    rare = np.where(np.isfinite(rare), rare, levels)
    main = np.argmax(np.where(np.isnan(levels), -np.inf, levels), axis=0)[None, :]
    top = np.take_along_axis(levels, main, axis=0)
    late = arrivals - np.take_along_axis(arrivals, main, axis=0)
    parts = 10.0 ** ((needed_ratio_db(late, service=service) - (top - rare)) / 10.0)
    np.put_along_axis(parts, main, 0.0, axis=0)
    parts = np.nan_to_num(parts, nan=0.0)
    cn_db = top[0] - noise_field_dbuvm(service, frequency_mhz=frequency_mhz)
    used = parts.sum(axis=0) + 10.0 ** ((float(service.required_cn_db or 0.0) - cn_db) / 10.0)
    worst = np.where(parts.max(axis=0) > 0, parts.argmax(axis=0), -1).astype(np.int16)
    return -10.0 * np.log10(used), worst
