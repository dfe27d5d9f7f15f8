"""What maps, roads and the search judge FM by: how much louder echoes may be before too few listeners hear it clear.

Drawing levels and phases at every place takes seconds (`fm_listeners`). One echo alone is drawn here once for every
level and delay difference; several echoes are put together by a rule that was fitted to draws of three to six signals.

symbol  name        unit  meaning
------  ----------  ----  ------------------------------------------------------------------------------
M       margin      dB    what the noise of all echoes may rise by until the share that serves is missed
E       equal S/N   dB    S/N wanted plus M
x       exponent    -     noises of several echoes add up as 10^(-x E/10)
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sfn.systems.fm import COHERENT_US, LOCAL_LEVELS, LOCAL_OCTAVES, OCTAVE_PARTS, LocalTable
from sfn.systems.fm_causes import Nodes
from sfn.systems.fm_listeners import FLOOR_DB, LISTENER_SPREAD_DB, PARTS, STEP_DB, Blend, Errors, resampled
from sfn.systems.fm_share_kernels import pair_margins

Doubles = NDArray[np.float64]

# Noises that most draws stay below add up to more than their powers: a place is lost when the one or the other is loud.
# Fitted to draws of 300 sets, alike for three programmes. Where a set blends with time, its gain is held by the worst
# phases of all echoes together, and the split between stereo and mono is only as good as 5 dB.
CLEAR_EXPONENT = {"car": 0.77, "portable": 0.63, "hi-fi": 0.6}
STEREO_EXPONENT = {"car": 1.0, "portable": 0.6, "hi-fi": 0.6}
_LEVEL_SETS_N, _PHASES_N = 48, 32
_LEVELS_DB = np.arange(0.0, 47.0, 2.0)  # further down the noise falls by one dB for each dB


@dataclass(frozen=True, slots=True)
class Wanted:
    """What counts as served.

    Parameters
    ----------
    programme : Nodes
        What is heard.
    blend : Blend
        Whose receivers they are.
    target_db : float
        S/N wanted, of a real receiver. [dB]
    margin_db : (float, float)
        What that one is worse by in stereo and in mono. [dB]
    stereo : bool
        False: nothing is transmitted in stereo.
    served_ratio : float
        From which share of places, or of time, on.
    """

    programme: Nodes
    blend: Blend
    target_db: float
    margin_db: tuple[float, float]
    stereo: bool
    served_ratio: float


@dataclass(frozen=True, slots=True)
class ShareTables:
    """Noise of one echo for `sfn.systems.fm.quality`: whether enough hear it clear, and clear with stereo kept."""

    clear: LocalTable
    stereo: LocalTable


def share_tables(
    wanted: Wanted, sites: Sequence[str] = (), errors: Mapping[tuple[str, str], Errors] | None = None
) -> ShareTables:
    """Tables for signals of these sites, in their order.

    Parameters
    ----------
    wanted : Wanted
    sites : sequence of str
        Ids, as the rows of the signals; needed where errors are given.
    errors : mapping of (id, id) to Errors, optional
        What two sites differ by besides the delay; none: they agree.

    Returns
    -------
    ShareTables
        S/N from them is `Wanted.target_db` plus what the noise of all echoes may rise by before the share that
        serves is missed: at least the target where a place is served. [dB]

    Raises
    ------
    ValueError
        If errors are given, and no sites.
    """
    given = errors or {}
    if given and not sites:
        raise ValueError("sites must name the rows of the signals where two sites may differ")
    kinds = [Errors(), *sorted(set(given.values()) - {Errors()}, key=repr)]
    of_pair = np.zeros((len(sites), len(sites)), dtype=np.int64)
    for (a, b), what in given.items():
        if a in sites and b in sites:
            i, j = sites.index(a), sites.index(b)
            of_pair[i, j] = of_pair[j, i] = kinds.index(what)
    used = np.unique(np.append(of_pair, 0))
    of_pair = np.searchsorted(used, of_pair)
    margins = np.stack([_margins(wanted, kinds[k]) for k in used], axis=1)
    made = []
    for name, exponents, found in zip(
        ("clear", "stereo kept"), (CLEAR_EXPONENT, STEREO_EXPONENT), margins, strict=True
    ):
        factor_db = 10.0 / exponents[wanted.blend.listeners]
        floor = 10.0 ** (-FLOOR_DB / factor_db)
        noise = np.maximum(10.0 ** (-(wanted.target_db + found) / factor_db) - floor, 0.0)
        noise[:, -1] = 0.0
        flat = np.ascontiguousarray(noise.reshape(-1, noise.shape[-1]), dtype=np.float32)
        made.append(
            LocalTable(name, LISTENER_SPREAD_DB, flat, floor, factor_db=factor_db, least_us=0.0, of_pair=of_pair)
        )
    return ShareTables(*made)


def delays_us() -> Doubles:
    """Delays of the columns: eight even parts of each octave. [us]"""
    eighths = np.arange(OCTAVE_PARTS * LOCAL_OCTAVES + 1)
    return np.asarray(COHERENT_US * 2.0 ** (eighths // OCTAVE_PARTS) * (1 + eighths % OCTAVE_PARTS / OCTAVE_PARTS))


@lru_cache(maxsize=64)
def _margins(wanted: Wanted, errors: Errors) -> Doubles:
    """Margins (2, levels, delays) of one echo, levels 0, 1, ... 90 dB. [dB]"""
    from scipy.special import ndtri

    held = resampled(wanted.programme, wanted.stereo, errors).astype(np.float64)  # rows, columns, phases, 2
    at = np.log2(delays_us() / COHERENT_US) * PARTS
    column = np.minimum(at.astype(np.intp), held.shape[1] - 2)
    along = (at - column)[:, None, None]
    by_delay = held.transpose(1, 0, 2, 3)
    by_delay = by_delay[column] + along[..., None] * (by_delay[column + 1] - by_delay[column])
    turn = (np.arange(_PHASES_N) + 0.5) / _PHASES_N * (held.shape[2] - 1)
    low = turn.astype(np.intp)
    part = (turn - low)[:, None]
    power = by_delay[:, :, low] + part * (by_delay[:, :, low + 1] - by_delay[:, :, low])
    blend = wanted.blend
    figures = np.array(
        [
            10.0 ** (-wanted.target_db / 10.0), blend.none_db, blend.full_db,
            blend.up_s / blend.down_s if blend.listeners == "car" else 0.0, blend.kept_ratio,
            blend.blends_ratio if wanted.stereo else 0.0, wanted.served_ratio,
        ]
    )  # fmt: skip
    raised = ndtri((np.arange(_LEVEL_SETS_N) + 0.5) / _LEVEL_SETS_N) * LISTENER_SPREAD_DB
    worse = wanted.margin_db if wanted.stereo else (wanted.margin_db[1],) * 2
    found = np.empty((2, _LEVELS_DB.size, at.size))
    pair_margins(
        np.ascontiguousarray(power), STEP_DB, _LEVELS_DB, raised, 10.0 ** (-FLOOR_DB / 10.0),
        10.0 ** (np.array(worse) / 10.0), figures, found,
    )  # fmt: skip
    whole = np.arange(float(LOCAL_LEVELS))
    inside = np.minimum(whole, _LEVELS_DB[-1])
    row = np.minimum((inside / 2).astype(np.intp), _LEVELS_DB.size - 2)
    up = (inside / 2 - row)[:, None]
    made = found[:, row] * (1 - up) + found[:, row + 1] * up + (whole - inside)[:, None]
    return np.asarray(made)
