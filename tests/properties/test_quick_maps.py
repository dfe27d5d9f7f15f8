"""What a map works out in blocks, window, margin and share of places, is what the plain forms give, on random networks."""

import numpy as np
import pytest

from sfn.reception.classes import JUST_ENOUGH, TOO_WEAK, UPSET, WITH_MARGIN
from sfn.reception.drawn import Spread
from sfn.reception.quality import ACCEPTABLE_PROBABILITY, Yardstick, service_quality
from sfn.reception.significance import Criteria
from sfn.reception.statistics import DEFAULT_K_FACTOR, coverage_probability, share_above
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm import ofdm_answer, profile
from sfn.systems.ofdm_map import ofdm_map
from sfn.systems.ofdm_window import MAP_STRATEGIES, Placing, filled
from sfn.systems.service import service

POINTS = 900
FREQUENCY_MHZ = 600.0
SERVICES = ("dvb-t-8k-1/4-8mhz", "dab-mode-1", "dvb-t2-32k-19/128-pp2-8mhz", "atsc3-16k-gi1024-sp6_2-6mhz")


def network(seed: int, guard_us: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Levels at 50 % and 1 % of time and arrivals along a line of pixels: sites of any number, some not received."""
    rng = np.random.default_rng(seed)
    sites = int(rng.integers(1, 25))
    places_km = rng.uniform(0, 150, (sites, 2))
    east_km = np.linspace(0, 150, POINTS)
    distance_km = np.hypot(east_km - places_km[:, :1], places_km[:, 1:] - 75) + 0.3
    levels = rng.uniform(95, 125, (sites, 1)) - 20 * np.log10(distance_km) - 0.25 * distance_km
    levels = levels + rng.normal(0, 7, levels.shape)
    levels[rng.random(levels.shape) < 0.05] = np.nan
    rare = np.where(rng.random(levels.shape) < 0.03, np.nan, levels + 0.06 * distance_km)
    return levels, rare, distance_km / 0.299704 + guard_us * rng.uniform(-0.8, 0.8, (sites, 1))


@pytest.mark.parametrize("strategy", MAP_STRATEGIES)
@pytest.mark.parametrize("service_id", SERVICES)
def test_shares_of_a_map_are_those_of_the_plain_sums(service_id: str, strategy: str) -> None:
    """Within 0.0005 of `coverage_probability` at the same windows: only what lies 50 dB under the noise is left out."""
    of = service(service_id)
    worst = 0.0
    for seed in range(12):
        levels, rare, arrivals = network(seed, of.guard_us or 0.0)
        sigma_db = float(np.random.default_rng(seed).uniform(0, 9))
        ours = ofdm_map(
            levels, arrivals, of, level_1pct_dbuvm=rare, placings=[Placing(strategy)],
            frequency_mhz=FREQUENCY_MHZ, sigma_db=sigma_db, k_factor=DEFAULT_K_FACTOR,
        )  # fmt: skip
        theirs = coverage_probability(
            levels, arrivals, of, window_us=ours.windows_us[0], level_1pct_dbuvm=rare,
            sigma_db=sigma_db, frequency_mhz=FREQUENCY_MHZ,
        )  # fmt: skip
        np.testing.assert_array_equal(np.isnan(ours.shares[0]), np.isnan(theirs))
        worst = max(worst, float(np.nanmax(np.abs(ours.shares[0] - theirs), initial=0.0)))
    assert worst < 5e-4


@pytest.mark.parametrize("service_id", SERVICES)
def test_classes_of_a_map_are_those_of_the_plain_forms(service_id: str) -> None:
    """Of 6 000 places not one in a thousand is of another class than the list's answer and the plain sums give."""
    of = service(service_id)
    placing = filled(Placing(), of)
    yard = Yardstick(of, Criteria(0.0, "", 30.0, of.guard_us or 0.0, 6.0), 30.0, 40.0, 0.0, placing, Spread(5.5))
    needed_dbuvm = noise_field_dbuvm(of, frequency_mhz=FREQUENCY_MHZ) + profile(of)[0]
    other = seen = 0
    found: set[int] = set()
    for seed in range(100, 120):
        levels, rare, arrivals = (a[:, ::3] for a in network(seed, of.guard_us or 0.0))
        ours = service_quality(levels, arrivals, yard, frequency_mhz=FREQUENCY_MHZ, level_1pct_dbuvm=rare)
        plain = []
        for m in range(levels.shape[1]):
            if not np.isfinite(levels[:, m]).any():
                plain.append(np.nan)
                continue
            answer = ofdm_answer(
                levels[:, m], arrivals[:, m], of, levels_1pct=rare[:, m], frequency_mhz=FREQUENCY_MHZ,
                strategies=[placing.strategy], placing=placing,
            )  # fmt: skip
            (one,) = answer["strategies"]
            share = coverage_probability(
                levels[:, m : m + 1], arrivals[:, m : m + 1], of, window_us=[one["window_us"]],
                level_1pct_dbuvm=rare[:, m : m + 1], sigma_db=5.5, frequency_mhz=FREQUENCY_MHZ,
            )[0]  # fmt: skip
            alone = share_above(np.nanmax(levels[:, m]), sigma_db=5.5, threshold_dbuvm=needed_dbuvm)
            served = share >= ACCEPTABLE_PROBABILITY and one["margin_db"] is not None and one["margin_db"] >= 0
            plenty = served and share >= of.location_pct / 100
            plain.append(WITH_MARGIN if plenty else JUST_ENOUGH if served else UPSET if alone >= 0.7 else TOO_WEAK)
        same = (ours.quality_class == plain) | (np.isnan(ours.quality_class) & np.isnan(plain))
        other, seen = other + int((~same).sum()), seen + same.size
        found |= {int(c) for c in ours.quality_class[np.isfinite(ours.quality_class)]}
    assert found >= {WITH_MARGIN, JUST_ENOUGH, UPSET, TOO_WEAK}
    assert seen == 6000
    assert other <= seen // 1000
