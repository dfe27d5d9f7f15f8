"""FM as a share of listeners: how many receivers around a place get the S/N wanted, in stereo and with blend.

Levels are drawn (each signal by itself, 8 dB between two), carrier phases are uniform: for sets that stand still the
result is a share of places, for cars, which cross the pattern every metre and a half, one of time. For every draw the
strongest signal is wanted; each echo brings the noise of its level, delay and phase (`fm_causes`), and of deviation,
pilot and carrier where the lock sheet lets them differ. Noise powers add; where echoes fade the strongest further than
one of them alone would, the noise of each rises with the fade.

symbol  name                unit  meaning
------  ------------------  ----  -----------------------------------------------------------
g       gain                -     of L-R in a receiver that blends
Ns, Nm  stereo, mono        -     noise power of unblended stereo and of mono, margins included
Nb      blended             -     Nm + g^2 (Ns - Nm)
"""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sfn.systems.fm import IMPLEMENTATION_MARGIN_DB
from sfn.systems.fm_causes import Nodes, PhaseTable, load
from sfn.systems.fm_listener_kernels import listener_counts
from sfn.systems.fm_table import QUANTITIES

Doubles = NDArray[np.float64]

LISTENER_SPREAD_DB = 8.0  # of the level difference of two sites over the places around a point
SERVED_PLACES_RATIO = 0.9  # receivers that stand still
SERVED_TIME_RATIO = 0.95  # cars
BLENDING_RATIO = {"car": 1.0, "portable": 0.5, "hi-fi": 0.0}  # of such receivers; from memory
FADE_EXPONENT = 1.15  # fitted: shares within 0.03 rms of the direct simulation of 200 sets
MOST_SIGNALS_N = 8
LEAST_CARRIER_HZ = 0.1  # from here on the beat moves every phase past a listener

STEP_DB, _ROWS = 0.5, 81
_LEAST_US, PARTS, _COLUMNS, _PHASES = 0.25, 8, 73, 33
FLOOR_DB = 70.0  # S/N without any echo


@dataclass(frozen=True, slots=True)
class Blend:
    """How receivers blend to mono; from memory, editable.

    Parameters
    ----------
    listeners : {'car', 'portable', 'hi-fi'}
        Whose sets they are.
    full_db, none_db : float
        Gain of L-R is 1 from this unblended stereo S/N, and 0 below that. [dB]
    down_s, up_s : float
        Time constants of a falling and a rising gain; cars move on before it settles. [s]
    kept_ratio : float
        Stereo counts as kept from this gain.
    blending_ratio : float or None
        Share of the receivers that blend; that of the kind where not given.
    """

    listeners: str = "car"
    full_db: float = 36.0
    none_db: float = 22.0
    down_s: float = 0.1
    up_s: float = 5.0
    kept_ratio: float = 0.5
    blending_ratio: float | None = None

    @property
    def blends_ratio(self) -> float:
        """Share of the receivers that blend."""
        return BLENDING_RATIO[self.listeners] if self.blending_ratio is None else self.blending_ratio

    @property
    def served_ratio(self) -> float:
        """From this share on a place is served."""
        return SERVED_TIME_RATIO if self.listeners == "car" else SERVED_PLACES_RATIO


@dataclass(frozen=True, slots=True)
class Errors:
    """What differs between two sites besides the delay: deviation [1], pilot's phase [degrees], carrier [Hz]."""

    deviation_ratio: float = 0.0
    pilot_deg: float = 0.0
    carrier_hz: float = 0.0


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of receivers, each shape (M,), 0 to 1; NaN where there is no signal.

    Parameters
    ----------
    stereo, blended : ndarray
        With at least the S/N wanted in unblended stereo, and in a receiver that blends.
    clear_stereo, clear_mono, upset : ndarray
        Of all receivers as the kind mixes them: clear with stereo kept, clear with partly or wholly mono sound, and
        below the S/N wanted. They add up to 1.
    good : ndarray
        As `clear_stereo` plus `clear_mono`, at the better S/N.
    """

    stereo: Doubles
    blended: Doubles
    clear_stereo: Doubles
    clear_mono: Doubles
    upset: Doubles
    good: Doubles

    def beside(self, disturbed: NDArray[np.bool_]) -> "Shares":
        """The same where another station disturbs: nobody hears it clear; `upset` stays that of our own sites alone."""
        names = ("stereo", "blended", "clear_stereo", "clear_mono", "good")
        return replace(self, **{name: np.where(disturbed, 0.0, getattr(self, name)) for name in names})


def listener_shares(
    level_dbuvm: NDArray[np.floating],
    arrival_us: NDArray[np.floating],
    *,
    programme: Nodes,
    blend: Blend,
    target_db: float,
    better_db: float,
    stereo: bool = True,
    margin_db: tuple[float, float] = (IMPLEMENTATION_MARGIN_DB["stereo"], IMPLEMENTATION_MARGIN_DB["mono"]),
    significant_db: float = np.inf,
    spread_db: float = LISTENER_SPREAD_DB,
    errors: Mapping[tuple[int, int], Errors] | None = None,
    level_sets_n: int = 16,
    phases_n: int = 16,
    workers: int = 2,
) -> Shares:
    """Shares of listeners at M places of S signals.

    Parameters
    ----------
    level_dbuvm, arrival_us : ndarray, shape (S, M)
        Medians over places, NaN: no signal; and arrivals. [dBuV/m, us]
    programme : Nodes
        What is heard.
    blend : Blend
        Whose receivers they are.
    target_db, better_db : float
        S/N wanted, and that of good reception: weighted, of a real receiver. [dB]
    stereo : bool, default True
        False: transmitters and receivers are mono, and nothing blends.
    margin_db : (float, float)
        What a real receiver is worse by in stereo and in mono; counted once, on the noise of each. [dB]
    significant_db : float, default infinite
        Signals more than this below the strongest median do not count, nor more than the eight strongest. [dB]
    spread_db : float, default 8
        Of the level difference of two signals. [dB]
    errors : mapping of (row, row) to Errors, optional
        Of pairs of signals by their rows, the smaller first; none: they agree.
    level_sets_n, phases_n : int
        Draws: sets of levels, and phases for each.
    workers : int, default 2
        Threads.
    """
    signals, places = level_dbuvm.shape
    level = np.where(np.isnan(level_dbuvm), -np.inf, level_dbuvm).astype(np.float64)
    arrival = np.nan_to_num(np.asarray(arrival_us, dtype=np.float64))
    order = np.argsort(-level, axis=0, kind="stable")[:MOST_SIGNALS_N]
    held = np.take_along_axis(level, order, axis=0)
    order = np.where(held >= held[:1] - significant_db, order, -1)
    order[~np.isfinite(held)] = -1
    given = dict(errors or {})
    tables, of_pair = _tables(programme, stereo, given, signals)
    raised, turns = _draws(level_sets_n, phases_n, min(MOST_SIGNALS_N, signals), spread_db)
    cosines, sines = np.cos(2 * np.pi * turns), np.sin(2 * np.pi * turns)
    falling = blend.up_s / blend.down_s if blend.listeners == "car" else 0.0
    margins = margin_db if stereo else (margin_db[1], margin_db[1])
    of_blend = (blend.none_db, blend.full_db, falling, blend.kept_ratio)
    figures = np.array([*margins, target_db, better_db, *of_blend, FLOOR_DB])
    axes = np.array([STEP_DB, _LEAST_US, PARTS, FADE_EXPONENT])
    counts = np.empty((places, 5))

    def part(begin: int, end: int) -> None:
        listener_counts(
            level, arrival, order, raised, turns, cosines, sines, tables, of_pair, axes, figures, begin, end, counts
        )

    edges = np.linspace(0, places, max(1, workers) + 1).astype(int)
    with ThreadPoolExecutor(max(1, workers)) as pool:
        list(pool.map(part, edges[:-1], edges[1:]))
    counts[order[0] < 0] = np.nan
    unblended, blended, kept, good, blended_good = counts.T
    if not stereo:
        nothing = np.where(np.isnan(unblended), np.nan, 0.0)
        return Shares(nothing, unblended, nothing, unblended, 1 - unblended, good)
    some = blend.blends_ratio
    clear_stereo = some * kept + (1 - some) * unblended
    clear_mono = some * (blended - kept)
    return Shares(
        unblended,
        blended,
        clear_stereo,
        clear_mono,
        1 - clear_stereo - clear_mono,
        some * blended_good + (1 - some) * good,
    )


@lru_cache(maxsize=16)
def _draws(level_sets_n: int, phases_n: int, signals_n: int, spread_db: float) -> tuple[Doubles, Doubles]:
    """Levels (L, N) [dB] and phases (L, P, N) [turns], scrambled Sobol points and Latin hypercubes, always the same.

    Columns go from the strongest signal on, and what is heard hangs on the difference of the two strongest most of all:
    that one is drawn by itself, the middle of each L-th part of its distribution once, so no share of places is off
    by more than half a step for it. Drawn apart, the same sets were 0.03 too good at the 95 % that divides, everywhere.
    """
    from scipy.special import ndtri
    from scipy.stats import qmc

    rng = np.random.default_rng(1162)  # of 1,500 the one whose third and fourth columns differ most evenly, too
    even = qmc.Sobol(signals_n, scramble=True, rng=rng).random(level_sets_n)
    normal = ndtri((np.floor(even * level_sets_n) + 0.5) / level_sets_n)
    raised = normal * spread_db / np.sqrt(2)
    if signals_n > 1:
        apart, together = normal[:, 0] * spread_db, normal[:, 1] * spread_db / 2
        raised[:, 0], raised[:, 1] = together + apart / 2, together - apart / 2
    turns = np.stack([qmc.LatinHypercube(signals_n, rng=rng).random(phases_n) for _ in range(level_sets_n)])
    return np.ascontiguousarray(raised), np.ascontiguousarray(turns)


def _tables(
    programme: Nodes, stereo: bool, errors: Mapping[tuple[int, int], Errors], signals_n: int
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Tables (T, rows, columns, phases, 2) and which holds for each two rows."""
    kinds = [Errors(), *sorted(set(errors.values()) - {Errors()}, key=repr)]
    of_pair = np.zeros((signals_n, signals_n), dtype=np.int64)
    for (a, b), what in errors.items():
        of_pair[a, b] = of_pair[b, a] = kinds.index(what)
    return np.stack([resampled(programme, stereo, what) for what in kinds]), of_pair


@lru_cache(maxsize=64)
def resampled(programme: Nodes, stereo: bool, errors: Errors) -> NDArray[np.float32]:
    """Noise power (rows, columns, phases, 2) on even steps, noise of the errors added."""
    held = load(programme)
    rows = np.asarray(np.arange(_ROWS) * STEP_DB, dtype=np.float64)
    delay_us = np.asarray(_LEAST_US * 2.0 ** (np.arange(_COLUMNS) / PARTS), dtype=np.float64)
    turn = np.asarray(np.linspace(0, 1, _PHASES), dtype=np.float64)
    made = []
    for quantity in ("stereo", "mono-of-stereo") if stereo else ("mono", "mono"):
        power = 10 ** (-_at(held, quantity, "delay", rows, delay_us, turn) / 10)
        power[:, 0] = 0.0  # closer than a quarter of a microsecond signals fade together but do not distort
        for cause, size in (
            ("deviation", abs(errors.deviation_ratio)),
            ("pilot", abs(errors.pilot_deg)),
            ("carrier", abs(errors.carrier_hz)),
        ):
            if size > 0:
                power += 10 ** (-_at(held, quantity, cause, rows, np.array([size]), turn) / 10)
        made.append(power)
    return np.ascontiguousarray(np.stack(made, axis=-1), dtype=np.float32)


def _at(held: PhaseTable, quantity: str, cause: str, level_db: Doubles, node: Doubles, turn: Doubles) -> Doubles:
    """S/N (levels, nodes, phases) of one cause, straight between nodes; below the least 40 dB better a decade.

    Noise of a small cause goes with its square: what is first order is a change of level, which nobody hears.
    """
    nodes, snr_db = held.nodes, held.snr_db[cause][QUANTITIES.index(quantity)]
    known = nodes.of_cause(cause)
    log_node = np.log(np.clip(node, known[0], known[-1]))
    small = np.zeros(node.size) if cause == "delay" else 40 * np.log10(known[0] / np.minimum(node, known[0]))
    axes = (np.array(nodes.level_difference_db), np.log(known), np.array(nodes.phase_turn))
    from scipy.interpolate import RegularGridInterpolator

    inside = np.minimum(level_db, axes[0][-1])
    points = np.stack(np.meshgrid(inside, log_node, turn, indexing="ij"), axis=-1)
    found = RegularGridInterpolator(axes, snr_db)(points)
    return np.asarray(found + (level_db - inside)[:, None, None] + small[:, None])
