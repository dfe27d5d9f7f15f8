"""Places that offsets can change, with their signals one after the other: what the compiled totals read.

| symbol | name | unit |
|---|---|---|
| M, N | places, signals of all places together | |
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sfn.reception.beside import Beside
from sfn.reception.quality import ACCEPTABLE_PROBABILITY, Yardstick
from sfn.systems.fm import LocalTable
from sfn.systems.fm_shares import ShareTables
from sfn.systems.link_chain import noise_field_dbuvm

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]
Whole = NDArray[np.int64]

COUNTED_FROM_DB = -20.0  # a margin worse than this is counted as this
COUNTED_TO_DB = 10.0  # a place that has this much does not pay for one that lacks it
NEGLIGIBLE_RATIO = 0.003  # OFDM, VSB: of what the strongest signal or the noise lets pass; 0.013 dB
FM_NEGLIGIBLE_RATIO = 0.01  # of the noise of a margin that no longer counts, at the worst delay; 0.06 dB


@dataclass(frozen=True, slots=True)
class Packed:
    """M places with N signals in all.

    Parameters
    ----------
    sites_n : int
    place : ndarray of int, shape (M,)
        Place in the arrays that were packed.
    start : ndarray of int, shape (M + 1,)
        Where each place's signals begin.
    strongest : ndarray of int, shape (M,)
        Its strongest site. FM, VSB: not among the signals, which are its echoes; OFDM: the first of them.
    site, a, b, travel_us : ndarray, shape (N,)
        As `sfn.solve.kernels` says.
    base, level_margin_db, weight : ndarray, shape (M,)
        OFDM: share of places in which the strongest reaches what other programmes ask for, and by how much the medians
        do. [1, dB]
    noise_power_factor : float
        OFDM. ``10^(dBuV/m / 10)``.
    table : ShareTables or None
        FM.
    """

    sites_n: int
    place: Whole
    start: Whole
    strongest: Whole
    site: Whole
    a: Doubles
    b: Doubles
    travel_us: Doubles
    base: Doubles
    level_margin_db: Doubles
    weight: Doubles
    noise_power_factor: float
    table: ShareTables | None
    _touched: dict[bytes, Whole] = field(default_factory=dict, compare=False)

    def touched(self, moved: NDArray[np.bool_]) -> Whole:
        """Places where a moved site meets one that stays."""
        key = moved.tobytes()
        if key not in self._touched:
            signals = moved[self.site].astype(np.int64)
            sums = np.concatenate([[0], np.cumsum(signals)])
            moving = sums[self.start[1:]] - sums[self.start[:-1]]
            count = np.diff(self.start)
            if self.b.size == 0:  # FM, VSB: the strongest is not among the signals
                moving, count = moving + moved[self.strongest], count + 1
            if len(self._touched) > 8 * self.sites_n + 64:
                self._touched.clear()  # random groups come and go
            self._touched[key] = np.flatnonzero((moving > 0) & (moving < count))
        return self._touched[key]


def packed(
    level_dbuvm: NDArray[np.floating],
    level_1pct_dbuvm: NDArray[np.floating],
    travel_us: Doubles,
    yard: Yardstick,
    *,
    frequency_mhz: float,
    weight: Doubles,
    sites: Sequence[str] = (),
    other: Beside | None = None,
) -> Packed:
    """Pack the places that offsets can change; arguments as in `sfn.solve.objective.objective`."""
    level = np.where(np.isnan(level_dbuvm), -np.inf, level_dbuvm.astype(np.float64))
    present = np.isfinite(level)
    top_row = np.argmax(level, axis=0)
    top = np.take_along_axis(level, top_row[None], axis=0)[0]
    rare = np.where(np.isnan(level_1pct_dbuvm), level, level_1pct_dbuvm.astype(np.float64))
    echo = present.copy()
    np.put_along_axis(echo, top_row[None], False, axis=0)
    spare_db = np.full(top.size, np.inf) if other is None else top - other.level_dbuvm
    spare_db = np.where(np.isnan(spare_db), np.inf, spare_db)
    reached = np.ones(top.size) if other is None or other.share is None else np.nan_to_num(other.share)
    # what another station spoils no offset mends
    weight = np.where((spare_db < 0) | (reached < ACCEPTABLE_PROBABILITY), 0.0, weight)
    with np.errstate(invalid="ignore"):
        if yard.carried.kind == "fm":
            return _fm(level, echo, top_row, top, travel_us, yard, weight, sites, spare_db)
        noise_dbuvm = noise_field_dbuvm(yard.carried, frequency_mhz=frequency_mhz)
        needed_db = float(yard.carried.required_cn_db or 0.0)
        tolerated_db = np.maximum(noise_dbuvm, top - needed_db)
        heard = np.maximum(level, rare) > tolerated_db + 10 * np.log10(NEGLIGIBLE_RATIO)
        if yard.carried.kind == "ofdm":
            return _ofdm(
                level, rare, present & heard, echo & heard, top_row, noise_dbuvm, needed_db, travel_us, weight, reached,
                spare_db,
            )  # fmt: skip
        return _vsb(rare, echo & heard, top_row, top, noise_dbuvm, needed_db, travel_us, weight)


def worst_noise(gap_db: Doubles, table: LocalTable) -> Doubles:
    """FM: the most that an echo so far below the strongest can add, whatever its delay."""
    most = table.worst
    return np.asarray(np.interp(np.where(np.isfinite(gap_db), gap_db, most.size - 1.0), np.arange(most.size), most))


def counted_snr_db(yard: Yardstick) -> float:
    """FM: S/N from which on more changes nothing that is counted. [dB]"""
    return yard.adequate_snr_db + max(COUNTED_TO_DB, yard.target_snr_db - yard.adequate_snr_db)


def fm_reach_db(yard: Yardstick, tables: ShareTables) -> float:
    """FM: how far below the strongest an echo may lie and still be no negligible one, at its worst delay. [dB]"""
    reach = 0
    for one in (tables.clear, tables.stereo):
        loud = np.flatnonzero(one.worst > FM_NEGLIGIBLE_RATIO * 10 ** (-counted_snr_db(yard) / one.factor_db))
        reach = max(reach, int(loud[-1]) + 1 if loud.size else 0)
    return float(reach)


def _fm(
    level: Doubles, echo: NDArray[np.bool_], top_row: Whole, top: Doubles, travel: Doubles, yard: Yardstick, w: Doubles,
    sites: Sequence[str], other_spare_db: Doubles,
) -> Packed:  # fmt: skip
    """FM: echoes that can be heard at all, at places that they could bring below the target."""
    tables = yard.tables(sites)
    gap = top - level
    margin = np.minimum(top - yard.counts.usable_dbuvm, other_spare_db)
    limit_db = counted_snr_db(yard)
    active, kept = np.zeros(top.size, bool), np.zeros(level.shape, bool)
    for one in (tables.clear, tables.stereo):
        worst = np.where(echo, worst_noise(gap, one), 0.0)
        most = 10 ** (-limit_db / one.factor_db)
        active |= worst.sum(axis=0) + one.floor_factor > most
        kept |= worst > FM_NEGLIGIBLE_RATIO * most
    active &= (margin >= 0) & (w > 0)
    base = np.full(level.shape[1], tables.clear.floor_factor)
    return _listed(kept & active, active, top_row, gap, None, travel, base, margin, w, 0.0, tables)


def _vsb(
    rare: Doubles,
    echo: NDArray[np.bool_],
    top_row: Whole,
    top: Doubles,
    noise_dbuvm: float,
    needed_db: float,
    travel: Doubles,
    w: Doubles,
) -> Packed:
    """VSB: echoes above the negligible, at places that the strongest alone would serve."""
    base = 10 ** ((needed_db - (top - noise_dbuvm)) / 10)
    active = (base <= 1.0) & echo.any(axis=0) & (w > 0)
    power = 10 ** ((rare - top) / 10)
    nothing = np.full(top.size, np.inf)
    return _listed(echo & active, active, top_row, power, None, travel, base, nothing, w, 0.0, None)


def _ofdm(
    level: Doubles,
    rare: Doubles,
    heard: NDArray[np.bool_],
    echo: NDArray[np.bool_],
    top_row: Whole,
    noise_dbuvm: float,
    needed_db: float,
    travel: Doubles,
    w: Doubles,
    reached: Doubles,
    other_spare_db: Doubles,
) -> Packed:
    """OFDM: places with two signals or more that together could be enough."""
    power, against, noise = 10 ** (level / 10), 10 ** (rare / 10), 10 ** (noise_dbuvm / 10)
    together = np.where(heard, power, 0.0).sum(axis=0)
    enough = together >= noise * 10 ** ((needed_db + COUNTED_FROM_DB) / 10)
    active = echo.any(axis=0) & enough & (w > 0)
    kept = heard & active
    np.put_along_axis(kept, top_row[None], active[None], axis=0)
    return _listed(kept, active, top_row, power, against, travel, reached, other_spare_db, w, noise, None)


def _listed(
    kept: NDArray[np.bool_],
    active: NDArray[np.bool_],
    top_row: Whole,
    a: Doubles,
    b: Doubles | None,
    travel: Doubles,
    base: Doubles,
    level_margin_db: Doubles,
    w: Doubles,
    noise_power: float,
    table: ShareTables | None,
) -> Packed:
    """Kept signals place by place; with `b` (OFDM) the strongest first and times as they are, else against it."""
    place = np.flatnonzero(active)
    kept = kept[:, place]
    column, site = np.nonzero(kept.T)
    start = np.concatenate([[0], np.cumsum(np.bincount(column, minlength=place.size))]).astype(np.int64)
    if b is not None:  # the strongest first, the others in document order
        first = top_row[place][column] == site
        order = np.lexsort((~first, column))
        column, site = column[order], site[order]
    at = place[column]
    times = travel[site, at] if b is not None else travel[site, at] - travel[top_row[at], at]
    return Packed(
        kept.shape[0],
        place,
        start,
        top_row[place].astype(np.int64),
        site.astype(np.int64),
        np.ascontiguousarray(a[site, at], dtype=np.float64),
        np.empty(0) if b is None else np.ascontiguousarray(b[site, at], dtype=np.float64),
        np.ascontiguousarray(times, dtype=np.float64),
        base[place],
        level_margin_db[place],
        np.ascontiguousarray(w[place], dtype=np.float64),
        noise_power,
        table,
    )
