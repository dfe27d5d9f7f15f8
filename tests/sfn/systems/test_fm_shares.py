"""Margins of listeners: one echo held to plain draws from the simulation's nodes, several to the shares of listeners."""

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from sfn.systems.fm import quality
from sfn.systems.fm_carried import USUAL
from sfn.systems.fm_causes import load
from sfn.systems.fm_listeners import Blend, Errors, listener_shares
from sfn.systems.fm_shares import ShareTables, Wanted, share_tables
from sfn.systems.fm_table import QUANTITIES

HIFI = Wanted(USUAL, Blend("hi-fi"), 30.0, (2.0, 4.0), stereo=True, served_ratio=0.9)
CAR = Wanted(USUAL, Blend("car"), 30.0, (2.0, 4.0), stereo=True, served_ratio=0.95)


def margin_of(tables: ShareTables, level: np.ndarray, arrival: np.ndarray) -> np.ndarray:
    """What the noise may rise by. [dB]"""
    return quality(level, arrival, local=tables.clear, significant_db=35.0, workers=1).snr_local_db - 30.0


@pytest.mark.parametrize(("gap_db", "late_us"), [(0.0, 1.5), (6.0, 2.5), (15.0, 5.0), (20.0, 12.0)])
def test_one_echo_is_a_quantile_of_plain_draws(gap_db: float, late_us: float) -> None:
    """Hi-fi sets blend nothing: the margin is the tenth percentile of stereo S/N, drawn here from the nodes alone."""
    held = load(USUAL)
    axes = (
        np.array(held.nodes.level_difference_db),
        np.log(held.nodes.of_cause("delay")),
        np.array(held.nodes.phase_turn),
    )
    at = RegularGridInterpolator(axes, held.snr_db["delay"][QUANTITIES.index("stereo")])
    rng = np.random.default_rng(2)
    apart = np.abs(gap_db + 8.0 * rng.standard_normal(40_000))
    inside = np.minimum(apart, axes[0][-1])
    snr_db = at(np.stack([inside, np.full(apart.size, np.log(late_us)), rng.random(apart.size)], axis=-1))
    tenth_db = float(np.quantile(snr_db + apart - inside, 0.1))

    level, arrival = np.array([[80.0], [80.0 - gap_db]]), np.array([[0.0], [late_us]])
    assert margin_of(share_tables(HIFI), level, arrival)[0] == pytest.approx(
        tenth_db - 2.0 - 30.0, abs=1.0
    )  # columns an eighth of an octave apart, 48 levels, 32 phases


@pytest.mark.parametrize("wanted", [HIFI, CAR], ids=["hi-fi", "car"])
def test_several_echoes_part_where_the_shares_do(wanted: Wanted) -> None:
    """200 sets of three to five signals: served by the margin where the drawn share is, but for those close to it."""
    rng = np.random.default_rng(4)
    level = 80.0 - np.vstack([np.zeros(200), rng.uniform(0, 25, (4, 200))])
    level[3:, :70], level[4, :140] = np.nan, np.nan
    arrival = rng.uniform(-1, 1, (5, 200)) * 10 ** rng.uniform(0, 1.5, (5, 200))
    shares = listener_shares(
        level,
        arrival,
        programme=USUAL,
        blend=wanted.blend,
        target_db=30.0,
        better_db=40.0,
        level_sets_n=128,
        phases_n=16,
    )
    clear = shares.clear_stereo + shares.clear_mono
    margin_db = margin_of(share_tables(wanted), level, arrival)
    differ = (clear >= wanted.served_ratio) != (margin_db >= 0)

    assert 20 < (clear >= wanted.served_ratio).sum() < 180
    assert differ.mean() < 0.08
    assert np.abs(clear - wanted.served_ratio)[differ].max(initial=0.0) < 0.06


def test_errors_count_for_the_two_sites_that_have_them() -> None:
    """2 % of deviation between two of three sites: their pair alone is worse, whatever the order of the rows."""
    errors = {("a", "b"): Errors(deviation_ratio=0.02)}
    level, arrival = np.array([[80.0], [78.0]]), np.zeros((2, 1))
    found = {
        sites: float(margin_of(share_tables(HIFI, sites, errors), level, arrival)[0])
        for sites in (("a", "b"), ("b", "a"), ("a", "c"), ("c", "b"))
    }
    assert found["a", "b"] == pytest.approx(found["b", "a"])
    assert found["a", "c"] == pytest.approx(found["c", "b"])
    assert found["a", "b"] < found["a", "c"] - 10.0
