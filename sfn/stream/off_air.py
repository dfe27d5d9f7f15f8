"""Sites fed off air: how much gain isolation allows, what the echo of its own signal costs, which parent it hears.

| symbol | name | unit |
|---|---|---|
| I | `isolation_db`, transmitting to receiving antenna | dB |
| G | gain from receiving to transmitting antenna terminals | dB |
| M | `margin_db` = I + C - G, C what an echo canceller takes away | dB |
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, log10, pi

import numpy as np

from sfn.errors import Problem, Severity, in_range
from sfn.units import SPEED_OF_LIGHT_M_PER_US

COMMON_MARGIN_DB = (10.0, 15.0)  # common practice; not from a standard
# Received power from field strength for a lossless isotropic antenna, ITU-R P.525: E - 20 log f(MHz) - 77.2, in dBm.
FIELD_TO_POWER_DB = 77.2
HALF_WAVE_DBI = 2.15
# Of every figure of a `Repeater`: least, greatest, unit.
RANGES: Mapping[str, tuple[float, float, str]] = {
    "received_dbuvm": (-60, 140, "dBuV/m"),
    "frequency_mhz": (30, 3000, "MHz"),
    "receiving_gain_dbd": (-30, 40, "dBd"),
    "output_dbw": (-60, 60, "dBW"),
    "isolation_db": (0, 200, "dB"),
    "cancelled_db": (0, 60, "dB"),
    "window_us": (0, 10_000, "us"),
    "processing_us": (0, 1e6, "us"),
}


@dataclass(frozen=True, slots=True)
class Repeater:
    """A site that sends what it hears.

    Parameters
    ----------
    received_dbuvm : float
        Field strength of its parent at the receiving antenna. [dBuV/m]
    frequency_mhz : float
        [MHz]
    receiving_gain_dbd : float
        Receiving antenna and its feeder. [dBd]
    output_dbw : float
        Power at the transmitter's output. [dBW]
    isolation_db : float
        Between the antennas' terminals. [dB]
    cancelled_db : float
        What an echo canceller takes away from echoes inside its window. [dB]
    window_us, processing_us : float
        Longest echo that it handles; delay from input to output. [us]
    """

    received_dbuvm: float
    frequency_mhz: float
    receiving_gain_dbd: float
    output_dbw: float
    isolation_db: float
    cancelled_db: float = 0.0
    window_us: float = 0.0
    processing_us: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no repeater."""
        for name, (least, greatest, unit) in RANGES.items():
            in_range(name, getattr(self, name), least=least, greatest=greatest, unit=unit)

    @property
    def input_dbw(self) -> float:
        """Power at the repeater's input. [dBW]

        ``E - 20 log f - 107.2 + gain over isotropic``.
        """
        gain_db = self.receiving_gain_dbd + HALF_WAVE_DBI
        return self.received_dbuvm - 20 * log10(self.frequency_mhz) - FIELD_TO_POWER_DB - 30 + gain_db

    @property
    def gain_db(self) -> float:
        """Gain that it must have. [dB]"""
        return self.output_dbw - self.input_dbw

    @property
    def margin_db(self) -> float:
        """How far its loop is from oscillation: isolation and cancellation less gain. [dB]"""
        return self.isolation_db + self.cancelled_db - self.gain_db


def greatest_output_dbw(repeater: Repeater, *, margin_db: float) -> float:
    """Most power that the isolation allows with a margin. [dBW]

    Raises
    ------
    ValueError
        If `margin_db` is outside 0 to 40 dB.
    """
    in_range("margin_db", margin_db, least=0, greatest=40, unit="dB")
    return repeater.output_dbw + repeater.margin_db - margin_db


def wavelength_m(frequency_mhz: float) -> float:
    """Length of a wave in free space. [m]"""
    return SPEED_OF_LIGHT_M_PER_US / frequency_mhz


def estimated_isolation_db(
    separation_m: float, *, frequency_mhz: float, side_by_side: bool, gains_dbd: float = 0.0
) -> float:
    """Isolation between two antennas from their distance alone: a first guess, to be measured before it is relied on.

    Parameters
    ----------
    separation_m : float
        At least a wavelength. [m]
    frequency_mhz : float
        [MHz]
    side_by_side : bool
        False for one above the other.
    gains_dbd : float
        Both gains in each other's direction together, side by side only; full gains are the worst case. [dBd]

    Returns
    -------
    isolation_db : float
        ``22 + 20 log(d / wavelength) - gains`` over isotropic side by side (free space, ITU-R P.525);
        ``28 + 40 log(d / wavelength)`` one above the other (common practice, from memory). [dB]

    Raises
    ------
    ValueError
        If the antennas are closer than a wavelength, where neither holds.

    Examples
    --------
    >>> round(estimated_isolation_db(30, frequency_mhz=100, side_by_side=False), 1)
    68.0
    """
    wave_m = wavelength_m(frequency_mhz)
    if separation_m < wave_m:
        raise ValueError(f"separation_m must be at least {wave_m:.2f} m, a wavelength, got {separation_m:g}")
    in_waves = log10(separation_m / wave_m)
    if side_by_side:
        return 20 * log10(4 * pi) + 20 * in_waves - (gains_dbd + 2 * HALF_WAVE_DBI)
    return 28 + 40 * in_waves


def ripple_db(margin_db: float) -> float:
    """Peak-to-peak ripple that the loop puts on the passband: ``20 log[(1 + a) / (1 - a)]``, a = 10^(-M/20).

    Infinite at and below no margin: it oscillates.

    Examples
    --------
    >>> print(f"{ripple_db(10):.1f} {ripple_db(15):.1f}")
    5.7 3.1
    """
    if margin_db <= 0:
        return inf
    a = 10 ** (-margin_db / 20)
    return float(20 * log10((1 + a) / (1 - a)))


def longest_echo_m(window_us: float) -> float:
    """Detour by way of a reflector that a canceller's window still covers, there and back together. [m]"""
    return window_us * SPEED_OF_LIGHT_M_PER_US


@dataclass(frozen=True, slots=True)
class Parent:
    """How surely a repeater hears the right site.

    Parameters
    ----------
    margin_db : float
        Level of the parent over the power sum of all others, after the receiving antenna. [dB]
    strongest_other : str or None
    wrong : bool
        Another site is received stronger than the parent.
    """

    margin_db: float
    strongest_other: str | None
    wrong: bool


def parent_heard(levels_dbuvm: Mapping[str, float], *, parent: str, discrimination_db: Mapping[str, float]) -> Parent:
    """How surely the right parent is heard.

    Parameters
    ----------
    levels_dbuvm : mapping of site to float
        Field strengths at the receiving antenna, all sites on the frequency but the repeater itself. [dBuV/m]
    parent : str
    discrimination_db : mapping of site to float
        What the receiving antenna's pattern takes away in the direction of each; 0 where not given. [dB]

    Raises
    ------
    ValueError
        If the parent has no level.
    """
    if parent not in levels_dbuvm:
        raise ValueError(f"levels_dbuvm must hold the parent {parent!r}, got {', '.join(levels_dbuvm) or 'none'}")
    after = {site: level - discrimination_db.get(site, 0.0) for site, level in levels_dbuvm.items()}
    wanted = after.pop(parent)
    if not after:
        return Parent(inf, None, False)
    strongest = max(after, key=lambda site: after[site])
    others = float(10 * np.log10(sum(10 ** (level / 10) for level in after.values())))
    return Parent(wanted - others, strongest, after[strongest] > wanted)


def repeater_problems(
    repeater: Repeater,
    *,
    margin_db: float,
    heard: Parent | None = None,
    parent_margin_db: float = 0.0,
    echo_us: float | None = None,
    guard_us: float | None = None,
    tolerance_us: float | None = None,
) -> list[Problem]:
    """What makes a repeater oscillate, garble or follow the wrong site.

    Parameters
    ----------
    repeater : Repeater
    margin_db : float
        Gain margin wanted; common practice is 10 to 15 dB. [dB]
    heard : Parent, optional
    parent_margin_db : float
        How far the parent must stand above the others. [dB]
    echo_us : float, optional
        Longest echo of its own signal that comes back. [us]
    guard_us : float, optional
        Guard interval of the service. [us]
    tolerance_us : float, optional
        What a service without one tolerates between two arrivals. [us]
    """
    found = []
    if repeater.margin_db < margin_db:
        oscillates = repeater.margin_db <= 0
        costs = "it oscillates" if oscillates else f"{ripple_db(repeater.margin_db):.1f} dB of ripple"
        what = f"gain margin is {repeater.margin_db:.1f} dB: {costs}"
        most = greatest_output_dbw(repeater, margin_db=margin_db)
        more_db = margin_db - repeater.margin_db
        expected = f"{margin_db:g} dB: at most {most:.1f} dBW out, or {more_db:.1f} dB more isolation"
        found.append(
            _of("isolation_db", what, expected, code="relay-oscillates" if oscillates else "relay-low-margin",
                severity="error" if oscillates else "warning",
                values={"margin_db": repeater.margin_db, "wanted_db": margin_db},
                said={"margin_said": f"{repeater.margin_db:.1f}", "most_said": f"{most:.1f}",
                      "more_said": f"{more_db:.1f}",
                      "ripple_said": None if oscillates else f"{ripple_db(repeater.margin_db):.1f}"})
        )  # fmt: skip
    if echo_us is not None and repeater.cancelled_db > 0 and echo_us > repeater.window_us:
        what = f"echoes of {echo_us:g} us come back, the canceller sees {repeater.window_us:g}"
        expected = "a longer window, or the margin without cancellation"
        values = {"echo_us": echo_us, "window_us": repeater.window_us}
        found.append(_of("window_us", what, expected, code="relay-echo-beyond-window", severity="error", values=values))
    bears_us = tolerance_us if guard_us is None else guard_us
    if bears_us is not None and repeater.processing_us > bears_us:
        bears = f"the service bears {bears_us:g}" if guard_us is None else f"the guard interval is {bears_us:g}"
        what = f"from antenna to antenna it takes {repeater.processing_us:.4g} us, {bears}"
        expected = "less processing: wherever both are received the parent comes at least that much earlier"
        found.append(
            _of("processing_us", what, expected, code="relay-processing-long",
                severity="warning" if guard_us is None else "error",
                values={"processing_us": repeater.processing_us, "bears_us": bears_us},
                said={"processing_said": f"{repeater.processing_us:.4g} us"})
        )  # fmt: skip
    if heard is not None and (heard.wrong or heard.margin_db < parent_margin_db):
        what = f"its parent stands {heard.margin_db:.1f} dB above all others, {heard.strongest_other} the strongest"
        if heard.wrong:
            what = (
                f"{heard.strongest_other} is received stronger than its parent: its launch time would follow that site"
            )
        expected = f"{parent_margin_db:g} dB, by another receiving antenna, place or polarisation"
        found.append(
            _of("parent", what, expected, code="relay-wrong-parent" if heard.wrong else "relay-parent-weak",
                severity="error" if heard.wrong else "warning",
                values={"margin_db": heard.margin_db, "wanted_db": parent_margin_db},
                said={"margin_said": f"{heard.margin_db:.1f}", "strongest": heard.strongest_other})
        )  # fmt: skip
    return found


def _of(
    field: str, what: str, expected: str, *, code: str, severity: Severity, values: Mapping[str, float],
    said: Mapping[str, str | None] | None = None,
) -> Problem:  # fmt: skip
    """A problem of one figure of a repeater."""
    return Problem(
        f"repeater.{field}", what, expected, severity, code=code, fields=(field,), values=values, said=said or {}
    )
