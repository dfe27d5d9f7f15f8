"""One list of FM signals, answered: what `signals`, the point page and the probe show."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.fm import (
    CAP_DB,
    FADE_RISK_RATIO,
    IMPLEMENTATION_MARGIN_DB,
    LOCAL_SPREAD_DB,
    RDS_NEEDED_DB,
    label,
    snr,
    together_db,
)
from sfn.systems.fm_carried import USUAL, local_of, programme_says, table_of
from sfn.systems.fm_causes import Nodes
from sfn.systems.fm_direct import Direct, direct_statistics
from sfn.systems.fm_table import QUANTITIES


def fm_answer(
    levels_dbuvm: ArrayLike,
    delays_us: ArrayLike,
    *,
    direct: bool = False,
    spread_db: float = LOCAL_SPREAD_DB,
    deviation_mismatch_ratio: ArrayLike = 0.0,
    carrier_offset_hz: ArrayLike = 0.0,
    programme: Nodes = USUAL,
) -> dict[str, Any]:
    """Audio S/N of a list of signals that carry one programme.

    Parameters
    ----------
    levels_dbuvm, delays_us : array_like, shape (S,)
        Level and arrival time of each signal. [dBuV/m, us]
    direct : bool, default False
        By simulation of all signals instead of the table (seconds, more where several strong signals meet).
    spread_db : float, default 6
        Local spread of the level difference. [dB]
    deviation_mismatch_ratio, carrier_offset_hz : array_like, scalar or shape (S,), default 0
        Deviation of each signal over nominal less 1, and its carrier less nominal; the simulation alone takes them,
        offsets in multiples of 4 Hz. [1, Hz]
    programme : Nodes, default light, 50 us and 0 dBr
        What is heard.

    Returns
    -------
    dict
        ``"mono"``, ``"stereo"``, ``"mono-of-stereo"``: each ``{"snr_median_db" (None unless exactly two signals),
        "snr_mean_db", "snr_decile_db", "snr_local_db", "implementation_margin_db" (not taken off), "label" (of
        local less margin)}``, simulated also ``"snr_median_half_width_db"`` and so on, half of the 95 % interval
        that chance leaves (None where the figure is at the cap); ``"rds"``: ``{"ratio_local_db", "needed_db",
        "hit"}``; ``"amplitude_sum_ratio"`` and ``"multi_ray_fade_risk"``; ``"programme"`` in words; ``"source"``:
        "table" or "simulation"; ``"draws"`` (None from the table) and ``"settled"`` (False: draws ended before the
        interval was under 1 dB). S/N at most 60 dB.

    Raises
    ------
    ValueError
        If the lists are empty, differ in length, or hold anything but finite numbers; or if mismatch or offset is
        given without `direct`: the table is for signals that agree in both.

    Notes
    -----
    The strongest signal is wanted. More echoes: noise powers add in the mean over phase, noise voltages in the
    worst decile, and `together_db` gives the local value; medians do not combine. RDS counts as hit where a
    subcarrier of +-2 kHz is, in the worst decile averaged locally, less than 10 dB above the error in its 4.8 kHz:
    in an ideal receiver 3 dB would leave one bit in 10^4 wrong, 7 dB are for a real one (engineering judgement,
    from memory).
    """
    weaker_db, late_us, best = _echoes(levels_dbuvm, delays_us)
    deviation, carrier_hz = (
        np.broadcast_to(np.asarray(v, dtype=np.float64), weaker_db.size + 1)
        for v in (deviation_mismatch_ratio, carrier_offset_hz)
    )
    if not direct and (np.ptp(deviation) or np.ptp(carrier_hz)):
        raise ValueError("deviation_mismatch_ratio and carrier_offset_hz need direct=True: the table is without them")
    found = {name: _from_table(name, weaker_db, late_us, spread_db, programme) for name in QUANTITIES}
    simulated: Direct | None = None
    if direct and weaker_db.size:
        simulated = direct_statistics(
            weaker_db,
            late_us,
            spread_db=spread_db,
            emphasis_us=programme.emphasis_us,
            programme_level_db=programme.level_dbr,
            kind=programme.kind,
            deviation_mismatch_ratio=np.delete((1 + deviation) / (1 + deviation[best]) - 1, best),
            carrier_offset_hz=np.delete(carrier_hz - carrier_hz[best], best),
        )
        found = simulated.found
    amplitude_sum = float((10 ** (-weaker_db / 20)).sum())
    answer: dict[str, Any] = {
        mode: _entry(mode, found[mode], simulated, two_signals=weaker_db.size == 1)
        for mode in ("mono", "stereo", "mono-of-stereo")
    }
    rds_db = min(found["rds"]["local"], CAP_DB)
    answer["rds"] = {"ratio_local_db": rds_db, "needed_db": RDS_NEEDED_DB, "hit": rds_db < RDS_NEEDED_DB}
    answer["amplitude_sum_ratio"] = amplitude_sum
    answer["multi_ray_fade_risk"] = weaker_db.size > 1 and amplitude_sum > FADE_RISK_RATIO
    answer["programme"] = programme_says(programme)
    answer["source"] = "simulation" if direct else "table"
    answer["draws"] = simulated.draws_n if simulated else None
    answer["settled"] = simulated.settled if simulated else True
    return answer


def _echoes(levels_dbuvm: ArrayLike, delays_us: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    """How much weaker and how much later than the strongest each other signal is, and which is the strongest."""
    levels, delays = (np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (levels_dbuvm, delays_us))
    if levels.ndim != 1 or levels.shape != delays.shape or not levels.size:
        raise ValueError(
            "levels_dbuvm and delays_us must be two lists of one length, with a signal or more, "
            f"got {levels.size} and {delays.size}"
        )
    for name, values in (("levels_dbuvm", levels), ("delays_us", delays)):
        if not np.isfinite(values).all():
            raise ValueError(f"{name} must be finite numbers, got {values[~np.isfinite(values)][0]}")
    best = int(levels.argmax())
    others = np.arange(levels.size) != best
    return levels[best] - levels[others], delays[others] - delays[best], best


def _from_table(
    quantity: str, weaker_db: NDArray[np.float64], late_us: NDArray[np.float64], spread_db: float, programme: Nodes
) -> dict[str, float]:
    """Statistics of one quantity from the table, echoes combined."""
    median, decile, mean = (
        snr(weaker_db, late_us, mode=quantity, statistic=statistic, table=table_of(programme), cap_db=np.inf)
        for statistic in ("median", "decile", "mean")
    )
    local = local_of(programme, quantity, spread_db)
    with np.errstate(divide="ignore"):
        return {
            "median": float(median[0]) if median.size else np.inf,
            "decile": float(-20 * np.log10((10 ** (-decile / 20)).sum())),
            "mean": float(-10 * np.log10((10 ** (-mean / 10)).sum())),
            "local": together_db(weaker_db, late_us, local=local),
        }


def _entry(mode: str, found: dict[str, float], simulated: Direct | None, *, two_signals: bool) -> dict[str, Any]:
    """What is said of one mode."""
    capped = {name: min(value, CAP_DB) for name, value in found.items()}
    margin_db = IMPLEMENTATION_MARGIN_DB[mode]
    entry: dict[str, Any] = {
        "snr_median_db": capped["median"] if two_signals else None,
        "snr_mean_db": capped["mean"],
        "snr_decile_db": capped["decile"],
        "snr_local_db": capped["local"],
        "implementation_margin_db": margin_db,
        "label": label(capped["local"] - margin_db),
    }
    if simulated is not None:
        for name, half_db in simulated.half_width_db[mode].items():
            known = capped[name] < CAP_DB and (name != "median" or two_signals)
            entry[f"snr_{name}_half_width_db"] = half_db if known else None
    return entry
