"""The compiled map against the answer for one list at a time."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from sfn.systems.ofdm import STRATEGIES, ofdm_answer
from sfn.systems.ofdm_kernels import BLOCK, to_powers
from sfn.systems.ofdm_map import OfdmMap, ofdm_map
from sfn.systems.service import service

SITES, POINTS = 7, 400
# Signals 50 dB under the noise are left out by the kernel, each worth 0.00004 dB.
TOLERANCE_DB = 0.001


def scene(seed: int):
    """Levels at 50 % and 1 %, arrivals; some sites not covered, one point without any."""
    rng = np.random.default_rng(seed)
    levels = rng.normal(45, 20, (SITES, POINTS))
    levels[rng.random(levels.shape) < 0.15] = np.nan
    levels[:, 5] = np.nan
    rare = levels + rng.uniform(0, 8, levels.shape)
    return levels, rare, rng.uniform(0, 700, levels.shape)


@pytest.mark.parametrize("service_id", ["dvb-t-8k-1/4-8mhz", "dab-mode-1", "dvb-t2-32k-19/128-pp2-8mhz"])
@pytest.mark.parametrize("strategy", STRATEGIES)
def test_every_point_is_what_its_list_gives(service_id: str, strategy: str) -> None:
    """Margin, window's owner, culprit and loss at each point are those of `ofdm_answer`."""
    of = service(service_id)
    levels, rare, arrivals = scene(3)
    ours = ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare, strategies=[strategy])

    for m in np.flatnonzero(np.isfinite(levels).any(axis=0)):
        answer = ofdm_answer(levels[:, m], arrivals[:, m], of, levels_1pct=rare[:, m], strategies=[strategy])
        (theirs,) = answer["strategies"]
        if theirs["margin_db"] is None:
            assert ours.margin_db[m] == -np.inf
            continue
        assert ours.margin_db[m] == pytest.approx(theirs["margin_db"], abs=TOLERANCE_DB)
        assert ours.wanted_site[m] == theirs["wanted"]
        if theirs["interference_dbuvm"] is not None and theirs["interference_dbuvm"] > answer["noise_dbuvm"] - 40:
            assert ours.hurting_site[m] == theirs["hurts"]
        assert ours.lost_to_self_interference[m] == (theirs["margin_db"] < 0 <= answer["strongest_alone_margin_db"])


def test_the_least_margin_is_that_of_the_least_favourable_strategy() -> None:
    """The second margin is the minimum over the chosen set; the rest holds for the first of the set."""
    of = service("dab-mode-1")
    levels, rare, arrivals = scene(4)
    chosen = ["best", "strongest", "first"]
    several = ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare, strategies=chosen)
    each = [ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare, strategies=[s]) for s in chosen]

    np.testing.assert_array_equal(several.margin_db, each[0].margin_db)
    np.testing.assert_allclose(several.least_margin_db, np.min([e.margin_db for e in each], axis=0), atol=1e-5)
    windows = np.array([e.window_us for e in each])
    least = np.argmin(np.nan_to_num([e.margin_db for e in each]), axis=0)
    np.testing.assert_array_equal(several.least_window_us, np.take_along_axis(windows, least[None], axis=0)[0])


def test_points_without_signal_have_no_margin() -> None:
    """Where nothing is received: NaN, nobody wanted, nobody to blame, nothing lost."""
    levels, _, arrivals = scene(3)
    ours = ofdm_map(levels, arrivals, service("dab-mode-1"))

    assert np.isnan(ours.margin_db[5])
    assert np.isnan(ours.least_margin_db[5])
    assert (ours.wanted_site[5], ours.hurting_site[5], ours.lost_to_self_interference[5]) == (-1, -1, False)


def same(one: OfdmMap, other: OfdmMap) -> None:
    """Both maps hold the same numbers."""
    for name in OfdmMap.__slots__[1:]:
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))


def test_threads_and_chunks_change_nothing() -> None:
    """Two threads over many chunks give the very same numbers as one over all."""
    of = service("dvb-t-8k-1/4-8mhz")
    levels, rare, arrivals = (np.tile(a, (1, 500)) for a in scene(6))
    with ThreadPoolExecutor(2) as executor:
        shared = ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare, strategies=["best"], executor=executor)

    same(ofdm_map(levels, arrivals, of, level_1pct_dbuvm=rare, strategies=["best"]), shared)


def test_noise_may_differ_from_point_to_point() -> None:
    """A field of other services at one point takes margin there and nowhere else."""
    of = service("dab-mode-1")
    levels, _, arrivals = scene(7)
    quiet = np.full(POINTS, 20.0)
    loud = quiet.copy()
    loud[10] = 60.0
    before, after = (ofdm_map(levels, arrivals, of, noise_dbuvm=n) for n in (quiet, loud))

    np.testing.assert_array_equal(np.flatnonzero(before.margin_db != after.margin_db), [5, 10])
    assert after.margin_db[10] < before.margin_db[10] - 5


def test_equal_signals_and_signals_just_at_the_threshold() -> None:
    """Of equally strong signals the earlier is the strongest, and 15 dB down is not below 15 dB: as for single lists."""
    of = service("dab-mode-1")
    levels = np.tile([[60.0], [60.0], [45.0]], (1, BLOCK + 3)) + np.linspace(0, 7, BLOCK + 3)
    arrivals = np.tile([[400.0], [0.0], [-300.0]], (1, BLOCK + 3))
    for strategy, t0 in (("strongest", 0.0), ("first", -300.0)):
        ours = ofdm_map(levels, arrivals, of, strategies=[strategy])
        (theirs,) = ofdm_answer(levels[:, 0], arrivals[:, 0], of, strategies=[strategy])["strategies"]

        assert set(ours.window_us) == {t0}
        assert theirs["window_us"] == t0


def test_powers_by_blocks_are_powers() -> None:
    """The block exponential agrees with numpy to 1e-8 over all levels; NaN is no power."""
    levels = np.append(np.linspace(-120, 160, BLOCK - 1), np.nan)
    power = np.empty(BLOCK)
    to_powers(levels, 0, BLOCK, np.empty(BLOCK), np.empty(BLOCK, np.int64), power)

    np.testing.assert_allclose(power[:-1], 10 ** (levels[:-1] / 10), rtol=1e-8)
    assert power[-1] < 1e-40


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"arrival_us": np.zeros((2, 4))}, "one shape"),
        ({"level_dbuvm": np.zeros(3)}, "a row for each site"),
        ({"strategies": []}, "must be some of"),
        ({"strategies": ["luckiest"]}, "luckiest"),
        ({"noise_dbuvm": np.zeros(2)}, "noise_dbuvm"),
    ],
)
def test_unusable_arrays_are_refused(options, words: str) -> None:
    """What does not fit together is named with its shape."""
    given = {"level_dbuvm": np.zeros((2, 3)), "arrival_us": np.zeros((2, 3)), "service": service("dab-mode-1")}
    with pytest.raises(ValueError, match=words):
        ofdm_map(**{**given, **options})
