"""Least squares for differences: against plain linear algebra, groups, datum, what cannot be checked."""

import numpy as np
import pytest

from sfn.survey.adjustment import adjust, groups, huber_factor, likeness


@pytest.fixture
def network() -> dict[str, np.ndarray]:
    """Twelve sites, 60 observations with unequal uncertainties, known errors."""
    rng = np.random.default_rng(3)
    i = rng.integers(0, 12, 60)
    j = (i + rng.integers(1, 12, 60)) % 12
    true = rng.normal(0.0, 5.0, 12)
    sigma = rng.uniform(0.05, 0.5, 60)
    return {"i": i, "j": j, "true": true, "sigma": sigma, "observed": true[i] - true[j] + sigma * rng.normal(size=60)}


def solve(n: dict[str, np.ndarray], **options: object) -> object:
    """Adjust the fixture."""
    return adjust(n["i"], n["j"], difference_us=n["observed"], uncertainty_us=n["sigma"], sites_n=12, **options)  # type: ignore[arg-type]


def test_inner_constraint_is_the_minimum_norm_solution(network: dict[str, np.ndarray]) -> None:
    """Values and covariances are those of the pseudo-inverse of the full design matrix."""
    a = np.zeros((60, 12))
    a[np.arange(60), network["i"]] += 1
    a[np.arange(60), network["j"]] -= 1
    p = np.diag(network["sigma"] ** -2)
    pseudo = np.linalg.pinv(a.T @ p @ a)
    found = solve(network)

    np.testing.assert_allclose(found.value_us, pseudo @ a.T @ p @ network["observed"], atol=1e-10)
    np.testing.assert_allclose(found.covariance_us2, pseudo, atol=1e-10)
    assert (11, 49) == (found.rank, found.freedom)
    assert 49 == pytest.approx(float(found.redundancy_ratio.sum()), abs=1e-8)


def test_held_site_only_shifts(network: dict[str, np.ndarray]) -> None:
    """Holding one site moves all by one constant; its own uncertainty is nought."""
    free, held = solve(network), solve(network, held_us={4: 1.5})

    assert 1.5 == held.value_us[4]
    assert 0.0 == held.uncertainty_us[4]
    np.testing.assert_allclose(held.value_us - free.value_us, 1.5 - free.value_us[4], atol=1e-10)
    np.testing.assert_allclose(held.residual_us, free.residual_us, atol=1e-10)


def test_two_held_sites_tie_the_network_twice(network: dict[str, np.ndarray]) -> None:
    """With two held sites both keep their value and the rank falls by one."""
    found = solve(network, held_us={0: 0.0, 7: 2.0})

    assert (0.0, 2.0, 10) == (found.value_us[0], found.value_us[7], found.rank)


def test_errors_are_recovered_within_their_uncertainty(network: dict[str, np.ndarray]) -> None:
    """The normalised errors of all sites look like a normal distribution's."""
    found = solve(network, held_us={0: float(network["true"][0])})
    ratio = (found.value_us - network["true"])[1:] / found.uncertainty_us[1:]

    assert 0.3 < float(np.sqrt(np.mean(ratio**2))) < 1.7


def test_groups_are_solved_apart() -> None:
    """Two triangles without a link: each sums to zero, nothing is said between them, the lone site stays NaN."""
    i, j = np.array([0, 1, 2, 3, 4, 5]), np.array([1, 2, 0, 4, 5, 3])
    found = adjust(i, j, difference_us=[1, 1, -2.3, 4, 0, -4], uncertainty_us=[0.1] * 6, sites_n=7)

    assert [0, 0, 0, 1, 1, 1, -1] == found.group.tolist()
    assert [0, 0, 0, 1, 1, 1, -1] == groups(i, j, sites_n=7).tolist()
    assert np.isnan(found.value_us[6])
    assert np.isnan(found.covariance_us2[0, 3])
    np.testing.assert_allclose([found.value_us[:3].sum(), found.value_us[3:6].sum()], 0.0, atol=1e-12)
    assert (4, 2) == (found.rank, found.freedom)


def test_what_nothing_checks_has_no_redundancy() -> None:
    """A site tied by one observation: r = 0, w unknown, no error of it can be found."""
    found = adjust([1, 2, 0, 3], [0, 1, 2, 2], difference_us=[1, 1, -2, 7], uncertainty_us=[0.1] * 4, sites_n=4)

    np.testing.assert_allclose(found.redundancy_ratio, [1 / 3, 1 / 3, 1 / 3, 0], atol=1e-12)
    assert np.isnan(found.w_ratio[3])
    assert np.inf == found.least_detectable_us[3]
    assert 0.1 * 4.1321 * np.sqrt(3) == pytest.approx(found.least_detectable_us[0], rel=1e-4)


def test_in_one_loop_no_culprit_can_be_told() -> None:
    """Three observations round a triangle: every w is the same, and they are all alike."""
    i, j, sigma = np.array([1, 2, 0]), np.array([0, 1, 2]), np.full(3, 0.1)
    found = adjust(i, j, difference_us=[1, 1, -1], uncertainty_us=sigma, sites_n=3)

    np.testing.assert_allclose(np.abs(found.w_ratio), 1 / np.sqrt(3) / 0.1, atol=1e-9)
    np.testing.assert_allclose(np.abs(likeness(found, i, j, uncertainty_us=sigma, at=0)), 1.0, atol=1e-9)


def test_huber_leaves_the_good_alone() -> None:
    """Up to 1.5 the factor is 1, beyond 1.5 / |w|; unchecked counts as good."""
    assert [1.0, 1.0, 0.5, 1.0] == huber_factor(np.array([0.3, -1.5, 3.0, np.nan])).tolist()


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"uncertainty_us": [0.1, 0.0]}, "uncertainty_us must be positive us, got 0"),
        ({"difference_us": [1.0, float("nan")]}, "difference_us must be finite us"),
        ({"site": [1, 0]}, "reference must be another site than site, got 0 twice"),
        ({"site": [1, 5]}, "site must be from 0 to 2, got 0 to 5"),
        ({"site": [], "reference": [], "difference_us": [], "uncertainty_us": []}, "at least one observation"),
        ({"uncertainty_us": [0.1]}, "must be of one length"),
    ],
)
def test_nonsense_is_refused(changed: dict[str, list[float]], words: str) -> None:
    """The message names argument, value and unit."""
    given = {"site": [1, 2], "reference": [0, 0], "difference_us": [1.0, 2.0], "uncertainty_us": [0.1, 0.1]} | changed
    with pytest.raises(ValueError, match=words):
        adjust(**given, sites_n=3)  # type: ignore[arg-type]
