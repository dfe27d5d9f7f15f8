"""From packed places to totals: hands chunks to the compiled loops."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from sfn.reception.quality import ACCEPTABLE_PROBABILITY, LEVEL_MARGIN_DB, Yardstick
from sfn.reception.statistics import DEFAULT_K_FACTOR
from sfn.solve.kernels import FM_KIND, VSB_KIND, echo_totals
from sfn.solve.ofdm_kernels import ofdm_totals
from sfn.solve.packing import COUNTED_FROM_DB, COUNTED_TO_DB, Packed
from sfn.systems.fm_shares import ShareTables
from sfn.systems.ofdm import profile
from sfn.systems.ofdm_window import MAP_STRATEGIES, window_times

Doubles = NDArray[np.float64]
Whole = NDArray[np.int64]
Run = Callable[[Callable[[Whole], Doubles], Sequence[Whole]], list[Doubles]]

CHUNK_PLACES = 8192  # the same however many threads there are, so that sums are too
CHUNK_LOOKS = 2**17  # places times shifts: fewer places a chunk where each is looked at often
LEAST_CHUNK_PLACES = 256
NOTHING = np.zeros(2)


def totals(
    held: Packed, yard: Yardstick, offsets_us: Doubles, moved: NDArray[np.bool_], shifts_us: Doubles,
    *, places: Whole, run: Run,
) -> Doubles:  # fmt: skip
    """Totals (K, 3) over some of the packed places; `run` maps a function over chunks of them."""
    offsets = np.ascontiguousarray(offsets_us, dtype=np.float64)
    shifts = np.ascontiguousarray(shifts_us, dtype=np.float64)
    work = _ofdm(held, yard, offsets, moved, shifts) if yard.carried.kind == "ofdm" else _echoes(
        held, yard, offsets, moved, shifts
    )  # fmt: skip
    size = min(max(CHUNK_LOOKS // shifts.size, LEAST_CHUNK_PLACES), CHUNK_PLACES)
    chunks = [places[i : i + size] for i in range(0, places.size, size)]
    out = np.zeros((shifts.size, 3))
    for part in run(work, chunks):
        out += part
    return out


def echo_figures(yard: Yardstick, tables: ShareTables | None) -> Doubles:
    """FM and VSB: what the kernel holds against, as its docstring lists it."""
    if tables is not None:
        return np.array(
            [
                10 ** (-yard.adequate_snr_db / tables.clear.factor_db),
                10 ** (-yard.target_snr_db / tables.stereo.factor_db), -tables.clear.factor_db, yard.adequate_snr_db,
                COUNTED_FROM_DB, COUNTED_TO_DB, LEVEL_MARGIN_DB,
            ]
        )  # fmt: skip
    return np.array([1.0, 10 ** (-LEVEL_MARGIN_DB / 10), -10.0, 0.0, COUNTED_FROM_DB, COUNTED_TO_DB, -np.inf])


def _echoes(
    held: Packed, yard: Yardstick, offsets: Doubles, moved: NDArray[np.bool_], shifts: Doubles
) -> Callable[[Whole], Doubles]:
    """FM and VSB."""
    table = held.table
    nothing = np.zeros(4, np.float32)
    noise, kept_noise = (nothing,) * 2 if table is None else (table.clear.noise.ravel(), table.stereo.noise.ravel())
    columns = 2 if table is None else table.clear.noise.shape[1]
    row_of = np.zeros((1, 1), np.int64) if table is None else table.clear.rows_of(held.sites_n)
    mask_us, mask_db = np.array(yard.carried.echo_mask, dtype=np.float64).T.copy() if table is None else (NOTHING,) * 2
    figures = echo_figures(yard, table)
    kept_floor = 0.0 if table is None else table.stereo.floor_factor

    def work(places: Whole) -> Doubles:
        out = np.zeros((shifts.size, 3))
        echo_totals(
            VSB_KIND if table is None else FM_KIND, places, held.start, held.strongest, held.site, held.a,
            held.travel_us, held.base, held.level_margin_db, held.weight, offsets, moved, shifts, noise, kept_noise,
            columns, row_of, mask_us, mask_db, figures, kept_floor, out,
        )  # fmt: skip
        return out

    return work


def _ofdm(
    held: Packed, yard: Yardstick, offsets: Doubles, moved: NDArray[np.bool_], shifts: Doubles
) -> Callable[[Whole], Doubles]:
    """OFDM."""
    carried = yard.carried
    placing = yard.placing
    clock = window_times(carried).clock()
    needed = np.array([*profile(carried), float(carried.required_cn_db or 0.0)])
    figures = np.array(
        [
            held.noise_power_factor, placing.backoff_us or 0.0, 10 ** (-float(placing.threshold_db or 0.0) / 10),
            yard.spread.sigma_db, DEFAULT_K_FACTOR, ACCEPTABLE_PROBABILITY, carried.location_pct / 100.0,
            COUNTED_FROM_DB, COUNTED_TO_DB,
        ]
    )  # fmt: skip
    strategy = MAP_STRATEGIES.index(placing.strategy)

    def work(places: Whole) -> Doubles:
        out = np.zeros((shifts.size, 3))
        ofdm_totals(
            places, held.start, held.site, held.a, held.b, held.travel_us, held.weight, held.base, held.level_margin_db,
            offsets, moved, shifts, clock, needed, strategy, figures, out,
        )  # fmt: skip
        return out

    return work
