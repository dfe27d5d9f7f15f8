"""What a listener hears of an FM network whose signals overlap: audio S/N from the table of the simulation.

The strongest signal is wanted, the others are its echoes. S/N is that of a tone of full modulation over the
BS.468-weighted quasi-peak noise, without the receiver implementation margin, which stays a number of its own.

symbol  name                    unit  meaning
------  ----------------------  ----  ----------------------------------------------------------------
dL      level_difference_db     dB    strongest over echo; its sign does not matter
tau     delay_difference_us     us    echo over strongest; its sign does not matter
r       amplitude_sum_ratio     -     10^(-dL/20), summed over echoes
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.fm_kernels import fm_quality, heard_together_db
from sfn.systems.fm_table import QUANTITIES, STATISTICS, Table, load

CAP_DB = 60.0  # beyond it a receiver's own filters and noise decide
COHERENT_US = 0.25  # closer signals fade together but do not distort
HELD_FROM_US = 100.0  # S/N beyond is the average over 60 to 200 us: stereo noise ripples about it
LOCAL_SPREAD_DB = 6.0
FADE_RISK_RATIO = 0.8  # sum of r from which several rays can cancel the strongest
IMPLEMENTATION_MARGIN_DB = {"mono": 4.0, "stereo": 2.0, "mono-of-stereo": 4.0}
QUALITY_FROM_DB = {
    "as ITU-R BS.412 asks": 50.0,
    "good": 40.0,
    "fair": 30.0,
    "noticeable distortion": 20.0,
    "bad": -np.inf,
}  # engineering judgement, not a standard
RDS_NEEDED_DB = 10.0
# Several echoes together, over the sum of their noise voltages: a dB, b for each dB of that sum, c for each dB that the
# worst echo alone is better. Fitted to the direct simulation of 200 sets of three to six signals (tests/bench), 0.4 dB
# on the safe side; in full from others of a third of the strongest's amplitude together.
TOGETHER: dict[str, tuple[float, float, float]] = {
    "stereo": (-4.57, 0.111, 0.43),
    "mono": (-11.67, 0.274, 0.336),
    "mono-of-stereo": (-11.67, 0.274, 0.336),
    "rds": (0.0, 0.0, 0.0),
    "clear": (0.0, 0.0, 0.0),  # of `fm_shares`, whose exponent is fitted instead
    "stereo kept": (0.0, 0.0, 0.0),
}
TOGETHER_FROM_RATIO = 0.4

_FLOOR_DB = 70.0  # noise below it is left out of a local average
LOCAL_LEVELS = 91  # 0 to 90 dB, where every echo is below the floor
LOCAL_OCTAVES = 9  # from 0.25 us
OCTAVE_PARTS = 8
_FINE_DB = 0.125
_HELD_FROM_MEAN_US = 60.0


@dataclass(frozen=True, slots=True)
class LocalTable:
    """Noise of one echo where levels spread locally: voltage over `floor_factor`, 1 for S/N 0 dB.

    `noise` (levels 0, 1, ... 90 dB; delays from 0.25 to 128 us, eight equal parts of each octave); of `fm_shares` one
    table beneath the other, and `of_pair` (S, S) says which holds for two signals. S/N is `factor_db` times the
    logarithm of the sum; echoes closer than `least_us` make no noise.
    """

    quantity: str
    spread_db: float
    noise: NDArray[np.float32]
    floor_factor: float
    factor_db: float = 20.0
    least_us: float = COHERENT_US
    of_pair: NDArray[np.int64] | None = None

    @property
    def together(self) -> tuple[float, float, float]:
        """What several echoes are worse than the sum of their noise voltages: see `TOGETHER`."""
        return TOGETHER[self.quantity]

    def figures(self) -> NDArray[np.float64]:
        """The same for the compiled loops, with the ratio from which it counts in full and the factor, shape (5,)."""
        return np.array([*self.together, TOGETHER_FROM_RATIO, self.factor_db])

    def rows_of(self, signals_n: int) -> NDArray[np.int64]:
        """First row of the table that holds for each two signals, shape (S, S)."""
        if self.of_pair is None or not self.of_pair.size:
            return np.zeros((signals_n, signals_n), dtype=np.int64)
        return np.ascontiguousarray(self.of_pair * LOCAL_LEVELS, dtype=np.int64)

    @property
    def worst(self) -> NDArray[np.float64]:
        """The most noise at each level, whatever the delay and the pair, shape (levels,)."""
        return np.asarray(self.noise.reshape(-1, LOCAL_LEVELS, self.noise.shape[1]).max(axis=(0, 2)), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Quality:
    """FM quality at M places: arrays (M,), NaN or -1 where there is no signal, or one has a level but no arrival.

    `strongest` and `limiting` are rows of the signals given; `limiting` is -1 also where nothing disturbs.
    """

    snr_local_db: NDArray[np.float64]
    strongest: NDArray[np.int16]
    limiting: NDArray[np.int16]
    amplitude_sum_ratio: NDArray[np.float64]


def snr(
    level_difference_db: ArrayLike,
    delay_difference_us: ArrayLike,
    *,
    mode: str,
    statistic: str = "decile",
    table: Table | None = None,
    cap_db: float = CAP_DB,
) -> NDArray[np.float64]:
    """S/N with one echo, over the carrier phase.

    Parameters
    ----------
    level_difference_db : array_like, any shape
        Level of the one signal over the other; only its size counts. [dB]
    delay_difference_us : array_like, shape that broadcasts with it
        Arrival of the one after the other; only its size counts. [us]
    mode : {"mono", "stereo", "mono-of-stereo", "rds"}
        Programme and receiver; "rds": level of an RDS subcarrier of +-2 kHz over the error in its band.
    statistic : {"median", "decile", "mean"}
        Typical and worst-tenth phase, or mean noise power over all phases.
    table : Table, optional
        Default: the shipped one, 50 us and 0 dBr.
    cap_db : float, default 60
        Greatest answer. [dB]

    Returns
    -------
    snr_db : ndarray
        S/N, NaN where an input is. [dB]

    Raises
    ------
    ValueError
        If mode or statistic does not exist.

    Notes
    -----
    Bilinear in dB over level difference and logarithm of delay difference. Beyond 30 dB S/N rises by 1 dB for
    each dB, exactly; below 0.25 us it is the cap; beyond 100 us the average over 60 to 200 us. Against the
    simulation at 40 points drawn at random, where S/N is below 57 dB: rms 0.25 dB, greatest 0.73 dB.
    """
    held = load() if table is None else table
    nodes = _nodes(held, mode, statistic)
    weaker, delay = np.broadcast_arrays(np.abs(np.asarray(level_difference_db, float)), np.abs(delay_difference_us))
    levels = np.array(held.parameters.level_difference_db)
    delays = held.parameters.delays_us()
    beyond = np.maximum(weaker - levels[-1], 0.0)
    row, up = _cell(levels, weaker)
    column, along = _cell(np.log(delays), np.log(np.maximum(delay, delays[0])))
    low = nodes[row, column] * (1 - along) + nodes[row, column + 1] * along
    high = nodes[row + 1, column] * (1 - along) + nodes[row + 1, column + 1] * along
    found = low * (1 - up) + high * up + beyond
    found = np.where(delay < COHERENT_US, np.inf, found)
    return np.where(np.isnan(weaker) | np.isnan(delay), np.nan, np.minimum(found, cap_db))


def _nodes(table: Table, mode: str, statistic: str) -> NDArray[np.float64]:
    """Nodes (levels, delays) of one quantity, held at their average from 100 us on."""
    if mode not in QUANTITIES:
        raise ValueError(f"mode must be one of {', '.join(QUANTITIES)}, got {mode}")
    if statistic not in STATISTICS:
        raise ValueError(f"statistic must be one of {', '.join(STATISTICS)}, got {statistic}")
    nodes: NDArray[np.float64] = table.snr_db[QUANTITIES.index(mode), STATISTICS.index(statistic)].copy()
    delays = table.parameters.delays_us()
    nodes[:, delays >= HELD_FROM_US] = nodes[:, delays >= _HELD_FROM_MEAN_US].mean(axis=1, keepdims=True)
    return nodes


def _cell(axis: NDArray[np.float64], value: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Index of the node below and the part of the way to the next, at most the axis's ends."""
    inside = np.clip(np.nan_to_num(value), axis[0], axis[-1])
    below = np.clip(np.searchsorted(axis, inside, side="right") - 1, 0, axis.size - 2)
    return below, (inside - axis[below]) / (axis[below + 1] - axis[below])


def local_table(mode: str, *, spread_db: float = LOCAL_SPREAD_DB, table: Table | None = None) -> LocalTable:
    """Worst-decile S/N averaged over the local spread of the level difference: a figure, no class goes by it.

    Parameters
    ----------
    mode : {"mono", "stereo", "mono-of-stereo", "rds"}
        As for `snr`.
    spread_db : float, default 6
        Standard deviation of the level difference over a place's surroundings, 5 to 8 dB; 0: none. [dB]
    table : Table, optional
        Default: the shipped one.

    Returns
    -------
    LocalTable
        For `snr_local` and `quality`.

    Raises
    ------
    ValueError
        If the spread is not between 0 and 12 dB, or the mode does not exist.

    Notes
    -----
    Each signal is itself the sum of local reflections, so the level difference is normal in dB about the predicted
    one. Where it changes sign the other signal becomes the wanted one, with the same S/N. The answer is the mean
    in dB of the worst decile, counted up to 70 dB, over that distribution: on the line of equal signals, where the
    median over phase promises the best S/N of all, it is among the worst.
    """
    if not 0 <= spread_db <= 12:
        raise ValueError(f"spread_db must be 0 to 12 dB, got {spread_db}")
    held = load() if table is None else table
    eighths = np.arange(OCTAVE_PARTS * LOCAL_OCTAVES + 1)
    delays = COHERENT_US * 2.0 ** (eighths // OCTAVE_PARTS) * (1 + eighths % OCTAVE_PARTS / OCTAVE_PARTS)
    shares = _level_shares(spread_db)
    fine_db = np.arange(shares.shape[1]) * _FINE_DB
    decile = snr(fine_db[:, None], delays, mode=mode, statistic="decile", table=held, cap_db=_FLOOR_DB)
    mean_db = shares @ decile
    floor = 10 ** (-_FLOOR_DB / 20)
    noise = np.maximum(10 ** (-mean_db / 20) - floor, 0.0)
    noise[-1] = 0.0
    return LocalTable(mode, spread_db, noise.astype(np.float32), floor)


def _level_shares(spread_db: float) -> NDArray[np.float64]:
    """How often each level difference in steps of `_FINE_DB` occurs, for 0, 1, ... dB predicted; rows sum to 1."""
    steps = np.linspace(-4, 4, 81) if spread_db else np.zeros(1)
    weight = np.exp(-(steps**2) / 2)
    place = np.abs(np.arange(LOCAL_LEVELS)[:, None] + spread_db * steps) / _FINE_DB
    below = place.astype(np.intp)
    shares = np.zeros((LOCAL_LEVELS, int(below.max()) + 2))
    rows = np.broadcast_to(np.arange(LOCAL_LEVELS)[:, None], below.shape)
    np.add.at(shares, (rows, below), weight / weight.sum() * (1 - (place - below)))
    np.add.at(shares, (rows, below + 1), weight / weight.sum() * (place - below))
    return shares


def snr_local(
    level_difference_db: ArrayLike, delay_difference_us: ArrayLike, *, local: LocalTable
) -> NDArray[np.float64]:
    """S/N with one echo: worst decile over phase, averaged over the local spread; or what a table of `fm_shares` says.

    Parameters
    ----------
    level_difference_db, delay_difference_us : array_like
        As for `snr`. [dB, us]
    local : LocalTable
        From `local_table`.

    Returns
    -------
    snr_db : ndarray
        S/N, at most 60 dB. [dB]
    """
    voltage = local_noise(level_difference_db, delay_difference_us, local=local)
    least = 10 ** (-CAP_DB / local.factor_db)
    return np.asarray(-local.factor_db * np.log10(np.maximum(voltage + local.floor_factor, least)))


def local_noise(
    level_difference_db: ArrayLike, delay_difference_us: ArrayLike, *, local: LocalTable
) -> NDArray[np.float64]:
    """Noise voltage over the floor of single echoes, which adds up over them; linear between the table's nodes."""
    weaker, delay = np.broadcast_arrays(np.abs(np.asarray(level_difference_db, float)), np.abs(delay_difference_us))
    last = local.noise.shape[0] - 1
    row, up = _cell(np.arange(last + 1.0), weaker)
    mantissa, exponent = np.frexp(np.maximum(delay, COHERENT_US) / COHERENT_US)
    position = OCTAVE_PARTS * (exponent - 1 + 2 * mantissa - 1)
    column, along = _cell(np.arange(float(local.noise.shape[1])), position)
    low = local.noise[row, column] * (1 - along) + local.noise[row, column + 1] * along
    high = local.noise[row + 1, column] * (1 - along) + local.noise[row + 1, column + 1] * along
    voltage = np.where((delay < COHERENT_US) | (weaker >= last), 0.0, low * (1 - up) + high * up)
    return np.where(np.isnan(weaker) | np.isnan(delay), np.nan, voltage)


def together_db(level_difference_db: ArrayLike, delay_difference_us: ArrayLike, *, local: LocalTable) -> float:
    """S/N with all echoes of one place, worst decile over the local spread, without its cap.

    Parameters
    ----------
    level_difference_db, delay_difference_us : array_like, shape (E,)
        Of each echo against the strongest signal. [dB, us]
    local : LocalTable
        From `local_table`.

    Notes
    -----
    Noise voltages add. With more than one echo the sum is too good: echoes that fade the strongest together raise the
    noise of all. What is taken off is a fit to the direct simulation, never more than keeps it above no echo at all,
    and never less than makes it as bad as the worst echo alone. `tests.bench.bench_together` holds it to 200 sets.
    """
    noise = local_noise(level_difference_db, delay_difference_us, local=local)
    ratio = 10 ** (-np.abs(np.asarray(level_difference_db, dtype=np.float64)) / 20)
    total = float(noise.sum()) + local.floor_factor
    sum_db = -20 * np.log10(total)
    if noise.size < 2:
        return float(sum_db)
    worst = int(noise.argmax())
    others = float(ratio.sum() - ratio[worst])
    return float(heard_together_db(total, float(noise[worst]) + local.floor_factor, others, local.figures()))


def quality(
    level_dbuvm: NDArray[Any],
    arrival_us: NDArray[Any],
    *,
    local: LocalTable,
    significant_db: float = np.inf,
    workers: int = 2,
) -> Quality:
    """FM quality at many places, all signals taken together.

    Parameters
    ----------
    level_dbuvm, arrival_us : ndarray, shape (S, M)
        Median level and arrival time of each signal; NaN level: no signal. [dBuV/m, us]
    local : LocalTable
        From `local_table`.
    significant_db : float, default infinite
        Echoes more than this below the strongest do not count. [dB]
    workers : int, default 2
        Threads, each on its own part of the places.

    Returns
    -------
    Quality
        Arrays (M,).

    Raises
    ------
    ValueError
        If the two arrays differ in shape or have not two axes.

    Notes
    -----
    Noise voltages of the echoes of the strongest signal add, less `TOGETHER`: see `together_db`.
    """
    if level_dbuvm.ndim != 2 or level_dbuvm.shape != arrival_us.shape:
        raise ValueError(
            f"level_dbuvm and arrival_us must be of one shape (S, M), got {level_dbuvm.shape} and {arrival_us.shape}"
        )
    places = level_dbuvm.shape[1]
    out = Quality(np.empty(places), np.empty(places, np.int16), np.empty(places, np.int16), np.empty(places))
    levels, arrivals = np.ascontiguousarray(level_dbuvm), np.ascontiguousarray(arrival_us)
    noise, columns = local.noise.ravel(), local.noise.shape[1]
    rows = local.rows_of(level_dbuvm.shape[0])

    def part(begin: int, end: int) -> None:
        fm_quality(
            levels, arrivals, noise, columns, rows, local.least_us, local.floor_factor, CAP_DB, significant_db,
            local.figures(),
            begin, end,
            out.snr_local_db, out.strongest, out.limiting, out.amplitude_sum_ratio,
        )  # fmt: skip

    if workers <= 1:  # a pool costs more than a few places do
        part(0, places)
        return out
    edges = np.linspace(0, places, workers + 1).astype(int)
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(part, edges[:-1], edges[1:]))
    return out


def label(snr_db: float) -> str:
    """What an S/N sounds like, in words; engineering judgement, not a standard.

    Examples
    --------
    >>> label(34.2)
    'fair'
    """
    return next((name for name, least_db in QUALITY_FROM_DB.items() if snr_db >= least_db), "no signal")
