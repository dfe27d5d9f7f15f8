"""Arrivals as stems: level over relative delay, with what the service tolerates drawn in as a band."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sfn.reception.signals import Signal
from sfn.report.numbers import number, us
from sfn.report.scale import Tick, round_step, ticks
from sfn.systems.fm import LocalTable, snr, snr_local
from sfn.systems.ofdm_window import weight
from sfn.systems.service import Service
from sfn.systems.vsb import needed_ratio_db

STEPS_N = 160


@dataclass(frozen=True, slots=True)
class Stemmed:
    """A signal to be drawn: its name, differences from the strongest, and whether it counts. [us, dB]"""

    site_name: str
    delay_difference_us: float
    level_difference_db: float
    significant: bool


@dataclass(frozen=True, slots=True)
class Stem:
    """One signal: foot and head as parts of the picture, from the left and from the top."""

    site: str
    x_ratio: float
    y_ratio: float
    says: str
    counts: bool


@dataclass(frozen=True, slots=True)
class Stems:
    """The picture. `limit` is a line of x,y parts: below it a signal does no harm."""

    stems: tuple[Stem, ...]
    delay_ticks: tuple[Tick, ...]
    level_ticks: tuple[tuple[float, str], ...]
    limit: tuple[tuple[float, float], ...]
    limit_says: str
    band_from_ratio: float | None
    band_to_ratio: float | None


def stems(
    signals: Sequence[Signal | Stemmed],
    carried: Service,
    *,
    refractivity_n: float,
    adequate_snr_db: float,
    window_us: float = 0.0,
    listeners: LocalTable | None = None,
) -> Stems:
    """The picture of one point.

    Parameters
    ----------
    signals : sequence of Signal or Stemmed
        At least one.
    carried : Service
    refractivity_n : float
        For the scale in kilometres. [N-units]
    adequate_snr_db : float
        FM: what the limit line is drawn for. [dB]
    window_us : float
        OFDM: start of the FFT window against the strongest signal. [us]
    listeners : LocalTable, optional
        FM: the limit line by the share of listeners (`sfn.systems.fm_shares`); by the worst tenth of phases without.
    """
    delays = [s.delay_difference_us for s in signals if s.significant] or [0.0]
    guard = carried.guard_us if carried.kind == "ofdm" and carried.guard_us else 0.0
    ends = [
        *delays,
        0.0,
        -carried.tolerance_us if not guard else window_us,
        carried.tolerance_us if not guard else window_us + guard,
    ]
    low, high = min(ends), max(ends)
    room = 0.08 * max(high - low, 1.0)
    low, high = low - room, high + room
    floor = min(-45.0, 5.0 * np.floor(min(s.level_difference_db for s in signals if s.significant) / 5.0 - 1))
    top = 6.0

    def x(value_us: float) -> float:
        """From the left."""
        return (value_us - low) / (high - low)

    def y(value_db: float) -> float:
        """From the top."""
        return float((top - max(value_db, floor)) / (top - floor))

    made = tuple(
        Stem(
            s.site_name,
            x(s.delay_difference_us),
            y(s.level_difference_db),
            f"{s.site_name}: {us(s.delay_difference_us, 2, signed=True)}, {number(s.level_difference_db)} dB",
            s.significant,
        )
        for s in signals
        if low <= s.delay_difference_us <= high and s.level_difference_db >= floor
    )
    at = np.linspace(low, high, STEPS_N + 1)
    limit, says = _limit(at, carried, adequate_snr_db, window_us, listeners)
    step = round_step(top - floor, most=6)
    levels = np.arange(np.ceil(floor / step), np.floor(top / step) + 1) * step
    return Stems(
        made,
        ticks(low, high, refractivity_n=refractivity_n, signed=True, most=6),
        tuple((y(float(v)), number(float(v), 0)) for v in levels),
        tuple((x(float(t)), y(float(v))) for t, v in zip(at, limit, strict=True)),
        says,
        x(window_us) if guard else None,
        x(window_us + guard) if guard else None,
    )


def _limit(
    at: np.ndarray, carried: Service, adequate_snr_db: float, window_us: float, listeners: LocalTable | None
) -> tuple[np.ndarray, str]:
    """The level below which one echo at that delay does no harm. [dB against the strongest]"""
    if listeners is not None:
        below = np.linspace(0.0, 60.0, 241)
        enough = snr_local(below[:, None], np.abs(at)[None, :], local=listeners) >= adequate_snr_db
        # from there down, not the first that is enough: an echo may hurt again where it is seldom the stronger one
        last = np.where(enough.all(axis=0), 0, below.size - np.argmin(enough[::-1], axis=0))
        says = (
            "one echo alone below the line leaves enough listeners clear reception, where deviation, pilot and carrier "
            "agree"
        )
        return -below[np.minimum(last, below.size - 1)], says
    if carried.kind == "fm":
        mode = "mono" if carried.id == "fm-mono" else "stereo"
        below = np.linspace(0.0, 60.0, 241)
        table = snr(below[:, None], np.abs(at)[None, :], mode=mode, statistic="decile")
        enough = table >= adequate_snr_db
        first = np.where(enough.any(axis=0), enough.argmax(axis=0), below.size - 1)
        says = f"an echo below the line leaves {number(adequate_snr_db, 0)} dB S/N in the worst tenth of carrier phases"
        return -below[first], says
    if carried.kind == "ofdm":
        against = 1.0 - weight(at - window_us, service=carried)
        with np.errstate(divide="ignore"):
            level = -(carried.required_cn_db or 0.0) - 10.0 * np.log10(against)
        return np.minimum(
            level, 6.0
        ), f"an echo below the line leaves C/I at the required {number(carried.required_cn_db)} dB"
    return -needed_ratio_db(at, service=carried), "echo mask (recalled): an echo below the line is tolerated"
