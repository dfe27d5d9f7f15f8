"""The receiver model against a symbol-level transmission: pilots, Wiener interpolation, every window strategy.

Transforms are scaled down with every ratio kept (guard interval, pilot spacing, equaliser), because only ratios
count: 1024 samples stand for Tu. What is compared is C/(N+I) as a ratio of powers over the data carriers, those at the
edges left out. The receiver interpolates from the twelve nearest pilots, made for arrivals that fill a rectangle of
the equaliser's width: to the middle of its soft edge, so that it is full to Tp.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from sfn.systems.ofdm import of_strategy, ofdm_answer, required_cn
from sfn.systems.ofdm_window import STRATEGIES, Placing
from sfn.systems.service import service

SAMPLES, SYMBOLS, SETS, NOISE_DB = 1024, 8, 60, -28.0
TAPS, TAP_NOISE = 12, 1e-2
# The figures: where C/(N+I) is under 25 dB, and above 0 dB, where the demodulator still holds.
RMS_DB, WORST_DB, COMPARED_DB = 1.5, 3.0, (0.0, 25.0)


@dataclass(frozen=True)
class Scaled:
    """A service in samples: guard interval, pilot spacing and width of the equaliser (0: differential)."""

    service_id: str
    guard: int
    pilots: int
    equalised: float

    @property
    def limit(self) -> float:
        """Where nothing is equalised: the pilots' own limit. [samples]"""
        return SAMPLES / self.pilots

    @property
    def sample_us(self) -> float:
        """Microseconds a sample."""
        return float(service(self.service_id).useful_us or 0.0) / SAMPLES


SYSTEMS = (
    Scaled("dab-mode-1", 252, 1, 0.0),
    Scaled("dvb-t-8k-1/4-8mhz", 256, 3, 7 / 24 * SAMPLES),
    Scaled("dvb-t2-32k-19/128-pp2-8mhz", 152, 6, 57 / 64 * SAMPLES / 6),
)


def test_the_scaled_systems_are_those_of_the_services() -> None:
    """Guard interval and equaliser in samples, typed here from the standards, are the services' own."""
    for of in SYSTEMS:
        ours = service(of.service_id)
        assert ours.guard_us == pytest.approx(of.guard * of.sample_us, rel=1e-9)
        if of.equalised:
            assert ours.equalisation_us == pytest.approx(of.equalised * of.sample_us, rel=1e-9)


@cache
def interpolator(of: Scaled) -> tuple[NDArray[np.complex128], NDArray[np.int64], NDArray[np.int64]]:
    """Wiener interpolation from the nearest pilots to carriers; pilots; data carriers that are looked at."""
    carriers = int(SAMPLES * 0.83) // of.pilots * of.pilots + 1
    pilots, every = np.arange(0, carriers, of.pilots), np.arange(carriers)

    def correlation(apart: NDArray[np.int64]) -> NDArray[np.complex128]:
        """Of the channel over carriers: a rectangle of arrivals about the middle of the guard interval."""
        return np.sinc(apart * (of.equalised + of.limit) / 2 / SAMPLES) * np.exp(
            -1j * np.pi * apart * of.guard / SAMPLES
        )

    matrix = np.zeros((carriers, pilots.size), complex)
    for carrier in every:
        first = int(np.clip(carrier // of.pilots - TAPS // 2 + 1, 0, pilots.size - TAPS))
        near = pilots[first : first + TAPS]
        among = correlation(near[:, None] - near[None, :]) + TAP_NOISE * np.eye(TAPS)
        matrix[carrier, first : first + TAPS] = np.linalg.solve(among.T, correlation(carrier - near))
    inner = every[carriers // 12 : -carriers // 12]
    return matrix, pilots, inner[inner % of.pilots != 0] if of.equalised else inner


def received(of: Scaled, levels_db, delays, start: int, rng) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Sent and received carriers of symbols, window opened a guard interval after `start`."""
    sent = np.exp(0.5j * np.pi * rng.integers(0, 4, (SYMBOLS + 4, SAMPLES)))
    bodies = np.fft.ifft(sent, axis=1) * np.sqrt(SAMPLES)
    stream = np.concatenate([bodies[:, -of.guard :], bodies], axis=1).ravel()
    length = SAMPLES + of.guard
    got = np.zeros((SYMBOLS, SAMPLES), complex)
    for level_db, delay in zip(levels_db, delays, strict=True):
        begin = 2 * length + of.guard + start - delay
        body = stream[begin : begin + length * SYMBOLS].reshape(-1, length)[:, :SAMPLES]
        phase = np.exp(2j * np.pi * rng.random())
        got += 10 ** (level_db / 20) * phase * np.fft.fft(body, axis=1) / np.sqrt(SAMPLES)
    return sent[2:-2], got


def simulated_db(of: Scaled, levels_db, delays, start: int, noise: float, rng, *, linear: bool = False) -> float:
    """C/(N+I) over data carriers. [dB]"""
    sent, got = received(of, levels_db, delays, start, rng)
    if not of.equalised:
        _, _, data = interpolator(SYSTEMS[1])
        channel = np.mean(got * sent.conj(), axis=0)[data]
        rest = np.mean(np.abs(got[:, data] - channel * sent[:, data]) ** 2) * SYMBOLS / (SYMBOLS - 1)
        return float(10 * np.log10((np.mean(np.abs(channel) ** 2) - rest / SYMBOLS) / (rest + noise)))
    matrix, pilots, data = interpolator(of)
    sent, got = sent[:, : len(matrix)], got[:, : len(matrix)]
    raw = np.mean(got * sent.conj(), axis=0)
    channel = matrix @ raw[pilots]
    if linear:
        every = np.arange(len(matrix))
        turned = raw[pilots] * np.exp(1j * np.pi * pilots * of.guard / SAMPLES)
        channel = np.interp(every, pilots, turned.real) + 1j * np.interp(every, pilots, turned.imag)
        channel = channel * np.exp(-1j * np.pi * every * of.guard / SAMPLES)
    wrong = np.mean(np.abs(got - channel * sent)[:, data] ** 2)
    return float(10 * np.log10(np.mean(np.abs(channel[data]) ** 2) / (wrong + noise)))


def drawn(of: Scaled, rng) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Two to five paths in and beyond the guard interval, far enough apart for carriers to tell."""
    count = int(rng.integers(2, 6))
    steps = rng.choice(np.arange(0, int(rng.uniform(0.8, 2.0) * of.guard), 8), count, replace=False)
    return rng.uniform(-15.0, 0.0, count), steps


@pytest.mark.parametrize("of", SYSTEMS, ids=lambda of: of.service_id)
def test_every_strategy_against_the_simulation(of: Scaled) -> None:
    """Over 60 random sets each strategy's C/(N+I) is the simulation's within 1.5 dB rms and 3 dB at worst."""
    rng = np.random.default_rng(17)
    named = service(of.service_id)
    differences: dict[str, list[float]] = {strategy: [] for strategy in STRATEGIES}
    for _ in range(SETS):
        levels_db, delays = drawn(of, rng)
        noise = 10 ** (NOISE_DB / 10) * float(np.sum(10 ** (levels_db / 10)))
        answer = ofdm_answer(levels_db, delays * of.sample_us, named, noise_dbuvm=10 * np.log10(noise))
        for strategy in STRATEGIES:
            line = of_strategy(answer, strategy)
            if line["cni_db"] is None or not COMPARED_DB[0] < line["cni_db"] < COMPARED_DB[1]:
                continue
            start = round(line["window_us"] / of.sample_us)
            theirs = simulated_db(of, levels_db, delays, start, noise, rng)
            differences[strategy].append(line["cni_db"] - theirs)
    for strategy, found in differences.items():
        assert len(found) >= 5, strategy
        assert np.sqrt(np.mean(np.square(found))) < RMS_DB, strategy
        assert np.max(np.abs(found)) < WORST_DB, strategy


def test_two_equal_signals_within_the_band_of_receivers() -> None:
    """T2, two equal signals 2, 20 and 98 us apart: the model does not condemn them, the plain linear receiver is the
    lower end of the band (30, 20 and 13 dB, as measured before), the Wiener one the upper.
    """
    of = SYSTEMS[2]
    rng = np.random.default_rng(4)
    for apart_us, linear_db in ((2.0, 30.0), (20.0, 20.0), (98.0, 13.0)):
        delays = np.array([0, round(apart_us / of.sample_us)])
        delays_us = delays * of.sample_us
        for strategy in ("strongest", "quasi-optimal"):
            answer = ofdm_answer([60.0, 60.0], delays_us, service(of.service_id), noise_dbuvm=20.0)
            line = of_strategy(answer, strategy)
            assert line["ci_db"] is None
            start = round(line["window_us"] / of.sample_us)
            wiener, plain = (
                simulated_db(of, [0.0, 0.0], delays, start, 1e-4, rng, linear=linear) for linear in (False, True)
            )
            assert wiener > 25.0
            # Close together, straight lines give 13 to 43 dB by where the pair lies in the window, the filter for any
            # delay up to its width 28 to 30: only far apart are lines the lower end.
            assert plain < wiener or apart_us < 98.0
            if strategy == "quasi-optimal" and apart_us > 2.0:  # below 4 us it is a sample or less
                assert plain > linear_db - 6.0


@pytest.mark.parametrize("service_id", [of.service_id for of in SYSTEMS])
def test_swapping_two_nearly_equal_signals_changes_little(service_id: str) -> None:
    """0.1 dB up or down moves C/(N+I) by under 1 dB inside the guard interval: quasi-optimal and best everywhere,
    "strongest" for spreads up to min(b, Tg - b).
    """
    named = service(service_id)
    guard_us = float(named.guard_us or 0.0)
    backoff_us = guard_us / 4  # the default, not read from the code
    rng = np.random.default_rng(2)
    for apart_us in np.concatenate([[2.0], rng.uniform(0.0, guard_us, 40)]):
        both = [ofdm_answer([60.0, 60.0 + by], [0.0, apart_us], named, noise_dbuvm=25.0) for by in (-0.1, 0.1)]
        for strategy, most_us in (("quasi-optimal", guard_us), ("best", guard_us), ("strongest", backoff_us)):
            if apart_us <= min(most_us, guard_us):
                one, other = (of_strategy(answer, strategy)["cni_db"] for answer in both)
                assert abs(one - other) < 1.0, (strategy, apart_us)


def test_a_back_off_of_ones_own_sets_how_far_a_swap_is_harmless() -> None:
    """With b = Tg/2 "strongest" clears every spread up to half the guard interval, in either order."""
    named = service("dvb-t2-32k-19/128-pp2-8mhz")
    half_us = float(named.guard_us or 0.0) / 2
    for levels in ([60.0, 59.9], [59.9, 60.0]):
        answer = ofdm_answer(
            levels, [0.0, half_us - 0.01], named, placing=Placing("strongest", half_us), strategies=["strongest"]
        )
        assert answer["strategies"][0]["ci_db"] is None


@cache
def coded(order: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mutual information of Gray-coded QAM with bit interleaving, bits a symbol, over the C/N. [dB]"""
    side = int(np.sqrt(order))
    bits_n = int(np.log2(side))
    points = np.arange(side) * 2 - (side - 1.0)
    points /= np.sqrt(np.mean(points**2) * 2)
    gray = np.arange(side) ^ (np.arange(side) >> 1)
    bits = (gray[:, None] >> np.arange(bits_n)) & 1
    nodes, shares = np.polynomial.hermite_e.hermegauss(24)
    grid_db = np.arange(-30.0, 45.0, 1.0)
    known = []
    for level_db in grid_db:
        spread = np.sqrt(0.5 * 10 ** (-level_db / 10))
        got = points[:, None] + spread * nodes
        likely = np.exp(-((got[:, :, None] - points) ** 2 - (got - points[:, None])[:, :, None] ** 2) / (2 * spread**2))
        total = 0.0
        for b in range(bits_n):
            same = np.where((bits[:, b][:, None] == bits[:, b])[:, None, :], likely, 0.0).sum(axis=-1)
            total += 1 + np.mean(np.log2(same / likely.sum(axis=-1)) @ (shares / shares.sum()))
        known.append(2 * total)
    return grid_db, np.array(known)


def needed_db(order: int, rate: float, gains: NDArray[np.float64]) -> float:
    """C/N at which the mutual information, as a mean over carriers of these gains, reaches the code's rate. [dB]"""
    grid_db, known = coded(order)
    gains_db = 10 * np.log10(gains)
    low, high = 0.0, 40.0
    for _ in range(14):
        middle = (low + high) / 2
        low, high = (
            (middle, high)
            if np.mean(np.interp(middle + gains_db, grid_db, known)) < rate * np.log2(order)
            else (low, middle)
        )
    return low


def test_required_ratio_follows_the_profile() -> None:
    """T2 256QAM 2/3: from one path to an echo of -10, -6 and 0 dB, the required C/N rises as coded QAM over the
    carriers does, within 0.5 dB; three equal paths and many stay on the safe side by at most 0.8 dB.
    """
    named = service("dvb-t2-32k-19/128-pp2-8mhz-256qam-2/3")
    rng = np.random.default_rng(1)
    angles = np.exp(2j * np.pi * (np.arange(400) + 0.5) / 400)
    diffuse = (rng.standard_normal((400, 12)) + 1j * rng.standard_normal((400, 12))) / np.sqrt(2)

    def over_one(powers: list[float]) -> float:
        """Over a plain channel, in dB, each path with a tenth of its power scattered around it (Rice, K = 10 dB)."""
        phases = [angles[:, None], *(np.exp(2j * np.pi * rng.random((400, 12))) for _ in powers[1:])]
        steady = sum(np.sqrt(p / 1.1) * phase for p, phase in zip(powers, phases, strict=True))
        gains = np.abs(steady + np.sqrt(sum(powers) / 11) * diffuse) ** 2 / sum(powers)
        return needed_db(256, 2 / 3, gains.ravel()) - needed_db(256, 2 / 3, np.ones(1))

    alone = over_one([1.0])
    for powers, most_db in (([1.0, 0.1], 0.5), ([1.0, 0.25], 0.5), ([1.0, 1.0], 0.9), ([1.0, 1.0, 1.0], 1.0)):
        ours = required_cn(powers, service=named) - required_cn([1.0], service=named)
        assert -0.3 < ours - (over_one(powers) - alone) < most_db, powers
    ours = [required_cn([1.0] * n, service=named) for n in (1, 12, 2)]
    assert ours == sorted(ours)
    assert ours == pytest.approx([20.0, 22.1, 22.6], abs=0.05)  # BT.2033-2 Table 2; Jensen's 3.01 - 2.51 dB


def test_two_equal_signals_are_not_pure_gain() -> None:
    """A second signal as strong as the first, inside the guard interval, adds 3 dB and takes 2.6 of them back."""
    named = service("dvb-t2-32k-19/128-pp2-8mhz")
    one, two = (
        of_strategy(ofdm_answer([60.0] * n, [0.0, 10.0][:n], named, noise_dbuvm=30.0))["margin_db"] for n in (1, 2)
    )

    assert two - one == pytest.approx(3.0103 - 2.6, abs=1e-3)
