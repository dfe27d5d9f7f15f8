"""Large networks: samples of the places, and the search that begins on them."""

import numpy as np
import pytest

from sfn.solve.large import round_s, search_large
from sfn.solve.limits import plain_limits
from sfn.solve.objective import score, whole
from sfn.solve.thinned import thinned
from tests.sfn.solve.problems import drawn


def test_a_sample_estimates_what_all_places_say() -> None:
    """Forty samples: people without service, moved apart, are on the mean those of all places, within their spread."""
    what = drawn(np.random.default_rng(5), sites=5, points=6000)
    offsets = np.array([0.0, 35.0, -38.0, 33.0, -22.0])
    true = float(whole(what, offsets)[0])
    seen = []
    for seed in range(40):
        thin = thinned(what, places_n=400, seed=seed)
        assert thin.places.weight.size == pytest.approx(400, abs=1)
        assert thin.places.weight.sum() == pytest.approx(what.places.weight.sum(), rel=0.01)
        seen.append(float(whole(thin, offsets)[0]))

    assert np.mean(seen) == pytest.approx(true, abs=4 * np.std(seen) / np.sqrt(40))
    assert 0 < np.std(seen) < 0.2 * true


def test_a_sample_of_all_places_is_the_objective_itself() -> None:
    """Nothing is drawn where all are wanted; none is refused."""
    what = drawn(np.random.default_rng(6), sites=3, points=200)

    assert thinned(what, places_n=10_000, seed=1) is what
    with pytest.raises(ValueError, match="places_n must be at least 1, got 0"):
        thinned(what, places_n=0, seed=1)


def test_what_samples_lead_to_is_judged_on_all_places_and_the_seeds_are_told() -> None:
    """Eight sites and 8,000 places: limits kept, better than no offsets, no worse than any of the seeds."""
    what = drawn(np.random.default_rng(12), sites=8, points=8000, side_km=100.0)
    limits = plain_limits(np.zeros(8), most_us=40.0, held=[0])
    found, seeds = search_large(what, limits, round_s=round_s(what, limits), seed=1, budget_s=3.0, starts=())

    assert found.score.without_service == pytest.approx(score(what, found.offsets_us).without_service)
    assert found.before == score(what, np.zeros(8))
    assert found.score <= min(one.score for one in seeds)
    assert found.score < found.before
    assert len(seeds) == 3
    assert all(one.score.without_service == score(what, one.offsets_us).without_service for one in seeds)
    assert limits.kept(found.offsets_us)


def test_a_cancelled_search_answers_with_the_best_so_far() -> None:
    """Cancelled at once: the offsets as they are, and their score."""
    what = drawn(np.random.default_rng(13), sites=4, points=6000)
    limits = plain_limits(np.zeros(4), most_us=40.0)
    found, seeds = search_large(what, limits, round_s=10.0, seed=1, budget_s=60.0, starts=(), cancelled=lambda: True)

    assert found.ended == "cancelled"
    assert found.score <= found.before
    assert len(seeds) == 1
