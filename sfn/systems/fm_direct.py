"""Direct simulation of all signals at one place: what `fm` reads from its table, without table and combination."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.fm import CAP_DB
from sfn.systems.fm_programme import Kind, Lines, Programme, noise_programme
from sfn.systems.fm_simulation import Ray, many_path_error, noise_ratio, phase_difference, phases, two_path_error
from sfn.systems.fm_table import rds_ratio

PHASES = 24
REPEATS = 6
WITHIN_DB = 1.0
MOST_ROUNDS = 24
_SETS = 4  # of levels, a round and repeat, with more than one echo
_SET_PHASES = 12
_MIDDLES = np.array([NormalDist().inv_cdf((k + 0.5) / 6) for k in range(6)])  # levels with one echo
_MIDDLE_PHASES = 8
_PLAIN_PHASES = 12
_T_95 = 2.571  # Student's t of 5 degrees of freedom, two-sided 95 %
_GRID_PART = 2  # of the simulation's grid: 608 kHz changes no S/N by 0.05 dB but in the deepest fades
_MOST_SET_DB = 70.0  # a set of levels counts up to this
MODES = ("mono", "stereo", "mono-of-stereo")
COUNTED = ("decile", "local")


@dataclass(frozen=True, slots=True)
class Direct:
    """What the simulation found: statistics, their intervals, and what it took.

    `found` and `half_width_db`: ``{"mono"|"stereo"|"mono-of-stereo"|"rds": {"median", "decile", "mean", "local"}}``,
    S/N not limited, and half the 95 % interval of each. [dB]
    `draws_n` counts simulated sets of levels and phases; `settled` whether the intervals came under what was asked.
    """

    found: dict[str, dict[str, float]]
    half_width_db: dict[str, dict[str, float]]
    draws_n: int
    settled: bool


def direct_statistics(
    level_difference_db: ArrayLike,
    delay_difference_us: ArrayLike,
    *,
    spread_db: float = 6.0,
    emphasis_us: float = 50.0,
    programme_level_db: float = 0.0,
    kind: Kind = "light",
    deviation_mismatch_ratio: ArrayLike = 0.0,
    carrier_offset_hz: ArrayLike = 0.0,
    seed: int = 1,
    within_db: float = WITHIN_DB,
    most_rounds: int = MOST_ROUNDS,
) -> Direct:
    """S/N by simulation of the strongest signal and all its echoes, with the interval that chance leaves.

    Parameters
    ----------
    level_difference_db, delay_difference_us : array_like, shape (E,)
        Level of the strongest over each echo, 0 or more, and the echo's arrival after it. [dB, us]
    spread_db : float, default 6
        Local spread of the level difference. [dB]
    emphasis_us, programme_level_db, kind
        Pre-emphasis [us], multiplex power [dBr] and kind of the programme.
    deviation_mismatch_ratio, carrier_offset_hz : array_like, scalar or shape (E,)
        Of each echo against the strongest; offsets count in multiples of 4 Hz. [1, Hz]
    seed : int, default 1
        Of programmes and draws: the same input gives the same answer.
    within_db : float, default 1
        Draws grow until the worst decile and the local value are known within this to either side (95 %). [dB]
    most_rounds : int, default 24
        They grow no further: the interval then says how sure the figure is.

    Returns
    -------
    Direct

    Raises
    ------
    ValueError
        If a level difference is negative or the two arrays differ in shape.

    Notes
    -----
    Six repeats, each with a programme and draws of its own, give figure and interval (Student's t). A round adds 12
    carrier phases at the levels given and 4 sets of spread levels (scrambled Sobol points) with 12 phases each (Latin
    hypercubes) to every repeat; with one echo 6 even levels with 8 phases evenly from a drawn start. The local value
    is the mean over sets of levels of the worst decile over phases. Intervals are of chance alone.
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
    sent = {
        (repeat, stereo): noise_programme(
            seed + repeat, stereo=stereo, emphasis_us=emphasis_us, level_dbr=programme_level_db, kind=kind
        )
        for repeat in range(REPEATS)
        for stereo in (False, True)
    }
    drawn = [_Draws(weaker, spread_db, (seed, repeat)) for repeat in range(REPEATS)]

    def one(repeat: int) -> dict[str, NDArray[np.float64]]:
        levels, psi = drawn[repeat].more()
        plain, stereo = (_simulated(sent[repeat, stereo], rays, levels, psi) for stereo in (False, True))
        return {name: _of_round(values, sets_n) for name, values in (plain | stereo).items()}

    sets_n, phases_n = (_MIDDLES.size, _MIDDLE_PHASES) if weaker.size == 1 else (_SETS, _SET_PHASES)
    draws_n = _PLAIN_PHASES + sets_n * phases_n
    rounds: list[list[dict[str, NDArray[np.float64]]]] = []
    with ThreadPoolExecutor(2) as pool:
        while len(rounds) < most_rounds:
            rounds.append(list(pool.map(one, range(REPEATS))))
            answer = _summed(rounds, within_db, draws_n)
            if answer.settled:
                break
    return answer


class _Draws:
    """Levels and phases of one repeat, round after round: scrambled Sobol points of the levels, even phases."""

    def __init__(self, weaker_db: NDArray[np.float64], spread_db: float, seed: tuple[int, int]) -> None:
        """Its own generator; `spread_db` is that of a difference, each signal has it over the root of two."""
        from scipy.stats import qmc

        self.weaker_db, self.spread_db = weaker_db, spread_db
        self.rng = np.random.default_rng(seed)
        self.points = qmc.Sobol(weaker_db.size + 1, scramble=True, rng=self.rng)

    def more(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The next levels and phases (cases, E): plain cases first, then the sets. [dB, rad]"""
        from scipy.special import ndtri

        one = self.weaker_db.size == 1
        if one:
            shift = self.spread_db * _MIDDLES[:, None]
        else:  # each signal spreads by itself, the strongest too
            own = ndtri(np.clip(self.points.random(_SETS), 1e-9, 1 - 1e-9)) * self.spread_db / np.sqrt(2)
            shift = own[:, :1] - own[:, 1:]
        phases_n = _MIDDLE_PHASES if one else _SET_PHASES
        plain = np.broadcast_to(self.weaker_db, (_PLAIN_PHASES, self.weaker_db.size))
        levels = np.concatenate([plain, np.repeat(self.weaker_db + shift, phases_n, 0)])
        psi = np.concatenate([self._phases(count) for count in [_PLAIN_PHASES] + [phases_n] * len(shift)])
        return (np.abs(levels) if one else levels), psi

    def _phases(self, count: int) -> NDArray[np.float64]:
        """Phases (count, E) in equal parts of the circle for every echo, in an order of each echo's own. [rad]"""
        cells = np.array([self.rng.permutation(count) for _ in range(self.weaker_db.size)]).T
        start = self.rng.random(1) if self.weaker_db.size == 1 else self.rng.random(cells.shape)
        return np.asarray((cells + start) * 2 * np.pi / count)


def _of_round(snr_db: NDArray[np.float64], sets_n: int) -> NDArray[np.float64]:
    """Median, decile, mean noise power and local value of one repeat's round. [dB, but the third: power]"""
    plain, spread = snr_db[:_PLAIN_PHASES], snr_db[_PLAIN_PHASES:].reshape(sets_n, -1)
    median, decile = np.quantile(plain, [0.5, 0.1], method="hazen")
    deciles = np.quantile(spread, 0.1, axis=1, method="hazen")
    return np.array([median, decile, (10 ** (-plain / 10)).mean(), np.minimum(deciles, _MOST_SET_DB).mean()])


def _summed(rounds: list[list[dict[str, NDArray[np.float64]]]], within_db: float, draws_n: int) -> Direct:
    """All rounds together."""
    names = ("median", "decile", "mean", "local")
    found: dict[str, dict[str, float]] = {}
    half: dict[str, dict[str, float]] = {}
    settled = True
    for mode in rounds[0][0]:
        by_repeat = np.mean([[one[mode] for one in found_round] for found_round in rounds], axis=0)
        by_repeat[:, 2] = -10 * np.log10(by_repeat[:, 2])
        found[mode] = dict(zip(names, by_repeat.mean(axis=0).tolist(), strict=True))
        spread = _T_95 * by_repeat.std(axis=0, ddof=1) / np.sqrt(REPEATS)
        half[mode] = dict(zip(names, spread.tolist(), strict=True))
        if mode in MODES:
            settled &= all(half[mode][name] < within_db or found[mode][name] >= CAP_DB for name in COUNTED)
    return Direct(found, half, len(rounds) * REPEATS * draws_n, settled)


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
    if weaker.size == 1:
        psi = phases(PHASES)[:, None]
    else:
        psi = np.random.default_rng(seed).uniform(0, 2 * np.pi, (PHASES, weaker.size))
    programme = noise_programme(seed, stereo=stereo, emphasis_us=emphasis_us, level_dbr=0.0)
    rays = [Ray(-level, delay, 0.0, 0.0) for level, delay in zip(weaker, late, strict=True)]
    levels = np.broadcast_to(weaker, psi.shape)
    found = _simulated(programme, rays, levels, psi)["stereo" if stereo else "mono"]
    order = np.argsort(found)
    at = {"typical": order[PHASES // 2], "worst tenth": order[PHASES // 10]}
    return {name: PhaseSet(psi[k], float(found[k])) for name, k in at.items()}


def _simulated(
    programme: Programme, rays: list[Ray], levels_db: NDArray[np.float64], psi_rad: NDArray[np.float64]
) -> dict[str, NDArray[np.float64]]:
    """S/N (cases,) of everything that can be heard of one programme."""
    top = programme.audio.shape[-1]
    lines_n = programme.multiplex.size if programme.stereo else top
    error: Lines
    if len(rays) == 1:
        delta_rad = phase_difference(programme, rays[0])[::_GRID_PART].copy()
        error = two_path_error(delta_rad, level_difference_db=levels_db[:, 0], phase_rad=psi_rad[:, 0], lines_n=lines_n)
    else:
        deltas_rad = np.stack([phase_difference(programme, ray)[::_GRID_PART] for ray in rays])
        error = many_path_error(deltas_rad, level_difference_db=levels_db, phase_rad=psi_rad, lines_n=lines_n)
    if not programme.stereo:
        return {"mono": noise_ratio(programme, error, mode="mono")}
    return {
        "stereo": noise_ratio(programme, error, mode="stereo"),
        "mono-of-stereo": noise_ratio(programme, error[:, :top], mode="mono-of-stereo"),
        "rds": rds_ratio(error),
    }
