"""A signal that crosses the limit of significance moves no figure: the limit says who is named, not what is judged."""

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from sfn.answer.point import document
from sfn.reception.area import overlap
from sfn.reception.classes import BLENDED, JUST_ENOUGH, UPSET
from sfn.reception.figures import figures
from sfn.reception.heard import listener_sharing
from sfn.reception.point import with_verdict
from sfn.reception.quality import service_quality, yardstick
from sfn.study.point import judged, point_signals
from sfn.systems.fm import quality as fm_quality
from sfn.systems.fm_answer import fm_answer
from sfn.systems.fm_carried import local_of
from sfn.timing import delay_table
from tests.sfn.networks import example

FM, LIMIT_DB = 98.3, 35.0
NETWORK = example(lambda tree: tree.update(service="fm-stereo", frequency_mhz=FM))
YARD = yardstick(NETWORK)
SITES = tuple(site.id for site in NETWORK.sites)


@settings(max_examples=60)
@given(
    seed=st.integers(0, 10**6),
    late_us=st.floats(0.5, 120.0),
    gaps_db=st.lists(st.floats(0.0, 60.0), min_size=1, max_size=1),
)
def test_the_margin_is_even_across_the_limit(seed: int, late_us: float, gaps_db: list[float]) -> None:
    """Random places: an echo from 34.9 to 35.1 dB down moves margin and S/N by what 0.2 dB of level are worth.

    The worst tenth of S/N, by which no class goes, has an edge of its own at any level: where another echo comes to be
    the one that takes most, the rule for several echoes (`sfn.systems.fm.together_db`) jumps by up to 3 dB.
    """
    rng = np.random.default_rng(seed)
    places = 50
    echo_db = np.array([LIMIT_DB - 0.1, LIMIT_DB + 0.1])
    level = np.stack([np.full(2, 90.0), 90.0 - echo_db, np.full(2, 90.0 - gaps_db[0])])
    level = np.repeat(level[:, :, None], places, axis=2).reshape(3, -1)
    other_us = rng.uniform(-100, 100, places)
    arrival = np.stack([np.zeros(places), np.full(places, late_us), other_us])
    arrival = np.repeat(arrival[:, None, :], 2, axis=1).reshape(3, -1)
    found = service_quality(level, arrival, YARD, frequency_mhz=FM, sites=SITES)
    margin = found.margin_db.reshape(2, places)
    assert np.abs(margin[1] - margin[0]).max() < 0.3
    for name, values in figures(found, level, arrival, YARD).items():
        near, far = values.reshape(2, places)
        local = local_of(YARD.programme, name.removesuffix("_snr_db"))
        most = fm_quality(level, arrival, local=local).limiting.reshape(2, places)
        same = most[0] == most[1]
        assert np.abs(far - near)[same].max(initial=0.0) < 0.3
        assert np.abs(far - near).max() < 3.5


def test_the_auditors_place() -> None:
    """51.5 us late and 34.3 or 35.55 dB down (helper U16's place): 13 dB apart before, now what 1.25 dB are worth."""
    level = np.array([[85.0, 85.0], [85.0 - 34.3, 85.0 - 35.55], [np.nan, np.nan]])
    arrival = np.array([[0.0, 0.0], [51.5, 51.5], [0.0, 0.0]])
    margin = service_quality(level, arrival, YARD, frequency_mhz=FM, sites=SITES).margin_db
    assert 0.5 < margin[1] - margin[0] < 1.8


def test_drawn_shares_are_even_across_the_limit() -> None:
    """300 random places, an echo from 34.9 to 35.1 dB down: no share of listeners jumps."""
    rng = np.random.default_rng(4)
    shares = []
    for echo_db in (LIMIT_DB - 0.1, LIMIT_DB + 0.1):
        rng = np.random.default_rng(4)
        level = np.stack([np.full(300, 85.0), np.full(300, 85.0 - echo_db), 85.0 - rng.uniform(20, 50, 300)])
        arrival = np.stack([np.zeros(300), rng.uniform(10, 100, 300), rng.uniform(-60, 60, 300)])
        found = listener_sharing(YARD, level, arrival, SITES, 64, 8, workers=1)
        shares.append(found.clear_stereo)
    assert np.abs(shares[1] - shares[0]).max() < 0.05  # 64 sets of levels: steps of 1/64


def test_what_decides_a_class_stands_in_the_overlap_zone() -> None:
    """Echoes 20 to 60 dB down and late: each place that is lost or only just served lies in the zone."""
    rng = np.random.default_rng(8)
    level = np.stack([np.full(2000, 80.0), 80.0 - rng.uniform(20, 60, 2000), np.full(2000, np.nan)]).astype(np.float32)
    arrival = np.stack([np.zeros(2000), rng.uniform(2, 120, 2000), np.zeros(2000)])
    found = service_quality(level, arrival, YARD, frequency_mhz=FM, sites=SITES)
    zone = np.isfinite(overlap(level, arrival, counts=YARD.counts, quality=found).delay_spread_us)
    decided = np.isin(found.quality_class, [UPSET, BLENDED, JUST_ENOUGH]) & np.isfinite(found.limiting)
    beyond = level[0] - level[1] > LIMIT_DB
    assert (decided & beyond).sum() > 50
    assert zone[decided].all()
    assert not zone[beyond & ~decided].any()


@pytest.mark.parametrize("at", [(36.30, -84.20), (36.45, -84.05), (36.10, -84.40), (36.60, -83.80)])
def test_a_point_has_one_set_of_signals(at: tuple[float, float]) -> None:
    """Table of figures and direct simulation take every signal listed; one that decides is named as significant."""
    point = point_signals(NETWORK, lat_deg=at[0], lon_deg=at[1])
    quality = judged(NETWORK, point, delay_table(NETWORK)).quality
    assert quality is not None
    answer = document(with_verdict(point, quality), quality)
    rows = answer["signals"]
    whole = fm_answer(
        [r["level_dbuvm"] for r in rows], [r["delay_difference_us"] for r in rows], programme=YARD.programme
    )
    assert answer["quality"]["answer"]["stereo"] == whole["stereo"]
    hurts = [r for r in rows if r["name"] == answer["quality"]["hurts"]]
    assert all(r["significant"] for r in hurts)
    assert "however weak" in answer["quality"]["significant_says"]
