"""Direct simulation of all signals at one place: what `fm` reads from its table, without table and combination."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.fm_programme import Lines, Programme, noise_programme
from sfn.systems.fm_simulation import Ray, many_path_error, noise_ratio, phase_difference, phases, two_path_error
from sfn.systems.fm_table import rds_ratio

PHASES = 24
_SPREAD_DRAWS = 6
_SPREAD_PHASES = 12


def direct_statistics(
    level_difference_db: ArrayLike,
    delay_difference_us: ArrayLike,
    *,
    spread_db: float = 6.0,
    emphasis_us: float = 50.0,
    programme_level_db: float = 0.0,
    deviation_mismatch_ratio: ArrayLike = 0.0,
    carrier_offset_hz: ArrayLike = 0.0,
    seed: int = 1,
) -> dict[str, dict[str, float]]:
    """S/N by simulation of the strongest signal and all its echoes.

    Parameters
    ----------
    level_difference_db, delay_difference_us : array_like, shape (E,)
        Level of the strongest over each echo, 0 or more, and the echo's arrival after it. [dB, us]
    spread_db : float, default 6
        Local spread of the level difference. [dB]
    emphasis_us, programme_level_db : float
        Pre-emphasis [us] and multiplex power [dBr].
    deviation_mismatch_ratio, carrier_offset_hz : array_like, scalar or shape (E,)
        Of each echo against the strongest; offsets count in multiples of 4 Hz. [1, Hz]
    seed : int, default 1
        Of programme and draws: the same input gives the same answer.

    Returns
    -------
    dict
        ``{"mono"|"stereo"|"mono-of-stereo"|"rds": {"median", "decile", "mean", "local"}}``, not limited. [dB]

    Raises
    ------
    ValueError
        If a level difference is negative or the two arrays differ in shape.

    Notes
    -----
    24 carrier phases (one echo: evenly, more: drawn); the local value is the mean over 6 levels or sets of levels
    of the worst decile over 12 phases. With more than one echo draws leave about 1 dB of chance in it.
    """
    weaker = np.atleast_1d(np.asarray(level_difference_db, dtype=np.float64))
    delay = np.atleast_1d(np.asarray(delay_difference_us, dtype=np.float64))
    if weaker.shape != delay.shape or weaker.ndim != 1 or not weaker.size:
        raise ValueError(
            f"level_difference_db and delay_difference_us must be lists of one length, got {weaker.shape} "
            f"and {delay.shape}"
        )
    if not np.all(weaker >= 0):
        raise ValueError(f"level_difference_db must be 0 dB or more, got {weaker.min()}")
    offset, mismatch = (np.broadcast_to(v, weaker.shape) for v in (carrier_offset_hz, deviation_mismatch_ratio))
    rays = [
        Ray(-level, late, float(hertz), float(ratio))
        for level, late, hertz, ratio in zip(weaker, delay, offset, mismatch, strict=True)
    ]
    levels, psi, plain_cases = _draws(weaker, spread_db, seed)

    def one(stereo: bool) -> dict[str, dict[str, float]]:
        programme = noise_programme(seed, stereo=stereo, emphasis_us=emphasis_us, level_dbr=programme_level_db)
        found = _simulated(programme, rays, levels, psi)
        return {name: _statistics(values, plain_cases) for name, values in found.items()}

    with ThreadPoolExecutor(2) as pool:
        mono, stereo = pool.map(one, (False, True))
    return mono | stereo


@dataclass(frozen=True, slots=True)
class PhaseSet:
    """Carrier phases of the echoes against the strongest, shape (E,), and the S/N that they give. [rad, dB]"""

    phase_rad: NDArray[np.float64]
    snr_db: float


def phase_sets(
    level_difference_db: ArrayLike,
    delay_difference_us: ArrayLike,
    *,
    stereo: bool = True,
    emphasis_us: float = 50.0,
    seed: int = 1,
) -> dict[str, PhaseSet]:
    """Carrier phases that stand for a place: the typical ones, and those of the worst tenth.

    Parameters
    ----------
    level_difference_db, delay_difference_us : array_like, shape (E,)
        As for `direct_statistics`; all of them count.
    stereo : bool, default True
    emphasis_us : float, default 50
        [us]
    seed : int, default 1

    Returns
    -------
    dict
        ``"typical"``: of `PHASES` sets the one in the middle by S/N; ``"worst tenth"``: the one a tenth from the
        bottom.
    """
    weaker = np.atleast_1d(np.asarray(level_difference_db, dtype=np.float64))
    late = np.atleast_1d(np.asarray(delay_difference_us, dtype=np.float64))
    levels, psi, plain = _draws(weaker, 0.0, seed)
    programme = noise_programme(seed, stereo=stereo, emphasis_us=emphasis_us, level_dbr=0.0)
    rays = [Ray(-level, delay, 0.0, 0.0) for level, delay in zip(weaker, late, strict=True)]
    found = _simulated(programme, rays, levels[:plain], psi[:plain])["stereo" if stereo else "mono"]
    order = np.argsort(found)
    at = {"typical": order[plain // 2], "worst tenth": order[plain // 10]}
    return {name: PhaseSet(psi[k], float(found[k])) for name, k in at.items()}


def _draws(
    weaker_db: NDArray[np.float64], spread_db: float, seed: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    """Levels and phases (cases, E), first the plain cases, then sets of spread levels; and how many are plain."""
    echoes = weaker_db.size
    rng = np.random.default_rng(seed)
    middle = [NormalDist().inv_cdf((k + 0.5) / _SPREAD_DRAWS) for k in range(_SPREAD_DRAWS)]
    if echoes == 1:
        plain, spread_psi = phases(PHASES)[:, None], phases(_SPREAD_PHASES)[:, None]
        shift = spread_db * np.array(middle)[:, None]
    else:
        plain = rng.uniform(0, 2 * np.pi, (PHASES, echoes))
        spread_psi = rng.uniform(0, 2 * np.pi, (_SPREAD_PHASES, echoes))
        # each signal spreads by itself, the strongest too; strata keep the draws from clustering
        own = np.array([rng.permutation(middle) for _ in range(echoes + 1)]).T * spread_db / np.sqrt(2)
        shift = own[:, :1] - own[:, 1:]
    levels = np.concatenate([np.broadcast_to(weaker_db, plain.shape), np.repeat(weaker_db + shift, len(spread_psi), 0)])
    psi = np.concatenate([plain, np.tile(spread_psi, (_SPREAD_DRAWS, 1))])
    return (np.abs(levels) if echoes == 1 else levels), psi, len(plain)


def _simulated(
    programme: Programme, rays: list[Ray], levels_db: NDArray[np.float64], psi_rad: NDArray[np.float64]
) -> dict[str, NDArray[np.float64]]:
    """S/N (cases,) of everything that can be heard of one programme."""
    top = programme.audio.shape[-1]
    lines_n = programme.multiplex.size if programme.stereo else top
    error: Lines
    if len(rays) == 1:
        delta_rad = phase_difference(programme, rays[0])
        error = two_path_error(delta_rad, level_difference_db=levels_db[:, 0], phase_rad=psi_rad[:, 0], lines_n=lines_n)
    else:
        deltas_rad = np.stack([phase_difference(programme, ray) for ray in rays])
        error = many_path_error(deltas_rad, level_difference_db=levels_db, phase_rad=psi_rad, lines_n=lines_n)
    if not programme.stereo:
        return {"mono": noise_ratio(programme, error, mode="mono")}
    return {
        "stereo": noise_ratio(programme, error, mode="stereo"),
        "mono-of-stereo": noise_ratio(programme, error[:, :top], mode="mono-of-stereo"),
        "rds": rds_ratio(error),
    }


def _statistics(snr_db: NDArray[np.float64], plain_cases: int) -> dict[str, float]:
    """Plain statistics of the first cases, and the mean over spread levels of the worst decile of the rest."""
    plain, spread = snr_db[:plain_cases], snr_db[plain_cases:].reshape(_SPREAD_DRAWS, -1)
    median, decile = np.quantile(plain, [0.5, 0.1], method="hazen")
    deciles = np.quantile(spread, 0.1, axis=1, method="hazen")
    return {
        "median": float(median),
        "decile": float(decile),
        "mean": float(-10 * np.log10((10 ** (-plain / 10)).mean())),
        "local": float(np.minimum(deciles, 70.0).mean()),
    }
