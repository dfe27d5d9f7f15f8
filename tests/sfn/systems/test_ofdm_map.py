"""The compiled map against the answer for one list at a time."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from sfn.systems.ofdm import ofdm_answer
from sfn.systems.ofdm_kernels import BLOCK, to_powers
from sfn.systems.ofdm_map import OfdmMap, ofdm_map, with_risk
from sfn.systems.ofdm_window import MAP_STRATEGIES, Placing
from sfn.systems.service import service

SITES, POINTS = 7, 400
# Signals 50 dB under the noise are left out by the kernel, each worth 0.00004 dB.
TOLERANCE_DB = 0.001
SERVICES = ("dvb-t-8k-1/4-8mhz", "dab-mode-1", "dvb-t2-32k-19/128-pp2-8mhz", "atsc3-16k-gi1024-sp6_2-6mhz")


def scene(seed: int):
    """Levels at 50 % and 1 %, arrivals; some sites not covered, one point without any."""
    rng = np.random.default_rng(seed)
    levels = rng.normal(45, 20, (SITES, POINTS))
    levels[rng.random(levels.shape) < 0.15] = np.nan
    levels[:, 5] = np.nan
    rare = levels + rng.uniform(0, 8, levels.shape)
    return levels, rare, rng.uniform(0, 900, levels.shape)


@pytest.mark.parametrize("service_id", SERVICES)
@pytest.mark.parametrize(
    "placing",
    [*(Placing(strategy) for strategy in MAP_STRATEGIES), Placing("strongest", 3.5), Placing("first", 20.0, 6.0)],
    ids=str,
)
def test_every_point_is_what_its_list_gives(service_id: str, placing: Placing) -> None:
    """Margin, window, its owner, culprit and loss at each point are those of `ofdm_answer`."""
    of = service(service_id)
    levels, rare, arrivals = scene(3)
    ours = ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare, placings=[placing])

    for m in np.flatnonzero(np.isfinite(levels).any(axis=0)):
        answer = ofdm_answer(
            levels[:, m], arrivals[:, m], of, levels_1pct=rare[:, m], strategies=[placing.strategy], placing=placing
        )
        (theirs,) = answer["strategies"]
        assert ours.windows_us[0, m] == pytest.approx(theirs["window_us"], abs=0.01)
        if theirs["margin_db"] is None:
            assert ours.margin_db[m] == -np.inf
            continue
        assert ours.margin_db[m] == pytest.approx(theirs["margin_db"], abs=TOLERANCE_DB)
        assert ours.cni_db[m] == pytest.approx(theirs["cni_db"], abs=TOLERANCE_DB)
        assert ours.wanted_site[m] == theirs["wanted"]
        if theirs["interference_dbuvm"] is not None and theirs["interference_dbuvm"] > answer["noise_dbuvm"] - 40:
            assert ours.hurting_site[m] == theirs["hurts"]
        assert ours.lost_to_self_interference[m] == (theirs["margin_db"] < 0 <= answer["strongest_alone_margin_db"])


def test_a_row_for_each_placing_is_what_it_gives_alone() -> None:
    """Margins and windows of several placings are those of each; the rest is that of the first."""
    of = service("dvb-t-8k-1/4-8mhz")
    levels, rare, arrivals = scene(11)
    chosen = [Placing("first"), Placing("quasi-optimal"), Placing("strongest")]
    several = ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare, placings=chosen)
    each = [ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare, placings=[p]) for p in chosen]

    for k, alone in enumerate(each):
        np.testing.assert_array_equal(several.margins_db[k], alone.margin_db)
        np.testing.assert_array_equal(several.windows_us[k], alone.windows_us[0])
    np.testing.assert_array_equal(several.hurting_site, each[0].hurting_site)
    np.testing.assert_array_equal(several.cni_db, each[0].cni_db)


def test_the_risk_stands_beside_every_strategy_but_itself() -> None:
    """What "strongest" would serve is the second of every map, once."""
    assert [[p.strategy for p in with_risk(Placing(s))] for s in ("first", "strongest")] == [
        ["first", "strongest"],
        ["strongest"],
    ]


def test_a_point_without_signals_has_no_numbers() -> None:
    """NaN where nothing is received; -1 for the sites."""
    levels, _, arrivals = scene(1)
    ours = ofdm_map(levels, arrivals, service("dab-mode-1"))

    assert np.isnan(ours.margin_db[5])
    assert np.isnan(ours.windows_us[0, 5])
    assert (ours.wanted_site[5], ours.hurting_site[5]) == (-1, -1)
    assert not ours.lost_to_self_interference[5]


def same(one: OfdmMap, other: OfdmMap) -> None:
    """Both maps are equal in every number."""
    for name in ("margins_db", "windows_us", "cni_db", "wanted_site", "hurting_site", "lost_to_self_interference"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))


def test_threads_change_nothing() -> None:
    """Several workers, and chunks that do not divide, give the same bits."""
    of = service("dvb-t-8k-1/4-8mhz")
    rng = np.random.default_rng(2)
    levels, arrivals = rng.normal(50, 15, (5, 70_001)), rng.uniform(0, 700, (5, 70_001))
    rare = levels + 3
    with ThreadPoolExecutor(2) as executor:
        shared = ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare, executor=executor)

    same(ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare), shared)


def test_noise_may_differ_from_point_to_point() -> None:
    """A field of noise and unrelated services raises the noise where it stands."""
    of = service("dab-mode-1")
    levels, _, arrivals = scene(4)
    quiet, loud = np.full(POINTS, 0.0), np.full(POINTS, 0.0)
    loud[7] = 70.0
    before, after = (ofdm_map(levels, arrivals, of, noise_dbuvm=n) for n in (quiet, loud))

    assert after.margin_db[7] < before.margin_db[7] - 20
    np.testing.assert_array_equal(np.delete(after.margin_db, 7), np.delete(before.margin_db, 7))


def test_many_sites_are_no_special_case() -> None:
    """Forty sites at one point are the list's answer."""
    rng = np.random.default_rng(9)
    of = service("dvb-t2-32k-19/128-pp2-8mhz")
    levels, arrivals = rng.normal(55, 8, (40, 1)), rng.uniform(0, 1500, (40, 1))
    for strategy in MAP_STRATEGIES:
        ours = ofdm_map(levels, arrivals, of, placings=[Placing(strategy)])
        (theirs,) = ofdm_answer(levels[:, 0], arrivals[:, 0], of, strategies=[strategy])["strategies"]
        assert ours.margin_db[0] == pytest.approx(theirs["margin_db"], abs=TOLERANCE_DB)


def test_powers_are_exact_enough() -> None:
    """The quick power of ten agrees with numpy's to 1e-8 over all levels; NaN gives no power."""
    levels = np.append(np.linspace(-200, 250, BLOCK - 1), np.nan)
    power = np.empty(BLOCK)
    to_powers(levels, 0, BLOCK, np.empty(BLOCK), np.empty(BLOCK, np.int64), power)

    np.testing.assert_allclose(power[:-1], 10 ** (levels[:-1] / 10), rtol=1e-8)
    assert power[-1] < 1e-40


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"arrival_us": np.zeros((2, 3))}, "one shape"),
        ({"level_dbuvm": np.zeros(4)}, r"\(S, M\)"),
        ({"placings": [Placing("best")]}, "a map's strategies"),
        ({"placings": []}, "a map's strategies"),
        ({"placings": [Placing("first", 9000.0)]}, "within the guard interval"),
        ({"noise_dbuvm": [1.0, 2.0]}, "noise_dbuvm"),
    ],
)
def test_unusable_arguments_are_named(options, words: str) -> None:
    """The message names the argument."""
    given = {"level_dbuvm": np.zeros((2, 4)), "arrival_us": np.zeros((2, 4)), "service": service("dab-mode-1")}
    with pytest.raises(ValueError, match=words):
        ofdm_map(**{**given, **options})
