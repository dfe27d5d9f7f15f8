"""Least squares for differences: against plain linear algebra, groups, datum, what cannot be checked."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from sfn.survey.adjustment import adjust, groups, huber_factor, likeness
from sfn.survey.surest_tree import paths, surest_tree


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


def exact_values(i: list[int], j: list[int], observed: list[float], sigma: list[float], *, held: int) -> list[Fraction]:
    """Normal equations in whole fractions: no digit is lost, whatever the weights."""
    sites = [k for k in sorted({*i, *j}) if k != held]
    at = {site: k for k, site in enumerate(sites)}
    rows = [[Fraction(0)] * (len(sites) + 1) for _ in sites]
    for a, b, y, s in zip(i, j, observed, sigma, strict=True):
        weight = 1 / Fraction(s) ** 2
        ends = [(at[n], sign) for n, sign in ((a, 1), (b, -1)) if n != held]
        for p, first in ends:
            rows[p][-1] += weight * first * Fraction(y)
            for q, second in ends:
                rows[p][q] += weight * first * second
    for k in range(len(rows)):
        pivot = next(n for n in range(k, len(rows)) if rows[n][k])
        rows[k], rows[pivot] = rows[pivot], rows[k]
        rows[k] = [x / rows[k][k] for x in rows[k]]
        for n in range(len(rows)):
            if n != k:
                rows[n] = [x - rows[n][k] * y for x, y in zip(rows[n], rows[k], strict=True)]
    return [rows[at[k]][-1] if k != held else Fraction(0) for k in range(max(at) + 1)]


@given(seed=st.integers(0, 10**6), least=st.integers(-6, 0), greatest=st.integers(0, 6))
@settings(max_examples=40)
def test_sure_beside_unsure_rows_lose_no_digit(seed: int, least: int, greatest: int) -> None:
    """Uncertainties from 1e-6 to 1e6 us: every difference as in exact fractions, to a ten-millionth of its uncertainty."""
    rng = np.random.default_rng(seed)
    sites_n = 7
    i = [*range(1, sites_n), *rng.integers(0, sites_n, 12).tolist()]
    j = [
        *(int(rng.integers(0, k)) for k in range(1, sites_n)),
        *((n + int(rng.integers(1, sites_n))) % sites_n for n in i[sites_n - 1 :]),
    ]
    sigma = (10.0 ** rng.uniform(least, greatest, len(i))).tolist()
    true = rng.normal(0.0, 100.0, sites_n)
    observed = [float(true[a] - true[b] + s * rng.normal()) for a, b, s in zip(i, j, sigma, strict=True)]
    found = adjust(i, j, difference_us=observed, uncertainty_us=sigma, sites_n=sites_n, held_us={0: 0.0})
    expected = exact_values(i, j, observed, sigma, held=0)

    for a in range(sites_n):
        for b in range(a):
            difference = float(expected[a] - expected[b])
            # Beside the uncertainty only what a float64 of that size can hold.
            slack = 1e-7 * found.difference_uncertainty(a, b) + 4e-15 * (
                abs(difference) + 1e3 + max(map(abs, observed))
            )
            assert abs(found.value_us[a] - found.value_us[b] - difference) <= slack
    left = [float(expected[a] - expected[b] - Fraction(y)) for a, b, y in zip(i, j, observed, strict=True)]
    np.testing.assert_allclose(
        found.residual_us / sigma, np.array(left) / sigma, atol=1e-7 + 4e-15 * max(map(abs, observed)) / min(sigma)
    )


@pytest.mark.parametrize("decades", [0, 1, 2, 3])
def test_values_and_their_covariances_are_those_of_the_singular_values(decades: int) -> None:
    """Random networks by numpy's SVD of the whitened rows, without and with a site held."""
    rng = np.random.default_rng(decades)
    for _ in range(20):
        i = np.array([*range(1, 9), *rng.integers(0, 9, 20)])
        j = np.array([0, *rng.integers(0, 2, 7), *((i[8:] + rng.integers(1, 9, 20)) % 9)])
        sigma, observed = 10.0 ** rng.uniform(-decades, decades, 28), rng.normal(0, 3, 28)
        a = np.zeros((28, 9))
        a[np.arange(28), i] += 1
        a[np.arange(28), j] -= 1
        left, sizes, right = np.linalg.svd(a / sigma[:, None], full_matrices=False)
        pseudo = (right[:8].T / sizes[:8]) @ left[:, :8].T
        free = adjust(i, j, difference_us=observed, uncertainty_us=sigma, sites_n=9)
        spread = np.sqrt(np.diagonal(pseudo @ pseudo.T))

        np.testing.assert_allclose(free.value_us, pseudo @ (observed / sigma), atol=1e-9 * 10**decades, rtol=1e-8)
        np.testing.assert_allclose(free.uncertainty_us, spread, rtol=1e-8)
        np.testing.assert_allclose(free.redundancy_ratio, 1 - np.sum(left[:, :8] ** 2, axis=1), atol=1e-8)


def test_a_sure_pair_far_from_its_datum_keeps_its_own_uncertainty() -> None:
    """Two sites tied to 1 ps, both to the rest within a second: their difference is known to 1 ps."""
    found = adjust([1, 2, 2], [0, 1, 0], difference_us=[7.0, 1.0, 9.0], uncertainty_us=[1e6, 1e-6, 1e6], sites_n=3)

    assert 1e-6 == pytest.approx(found.difference_uncertainty(2, 1), rel=1e-9)
    assert 1.0 == pytest.approx(found.value_us[2] - found.value_us[1], abs=1e-12)


def test_an_instruments_clock_does_not_count_in_the_mean() -> None:
    """Three arrivals on one clock: the sites' values sum to zero, whatever the clock shows."""
    found = adjust(
        [0, 1, 2], [3, 3, 3], difference_us=[5.0, 6.0, 10.0], uncertainty_us=[0.1] * 3, sites_n=3, clocks_n=1
    )

    np.testing.assert_allclose(found.value_us, [-2.0, -1.0, 3.0, -7.0], atol=1e-12)


@given(seed=st.integers(0, 10**6), held=st.sets(st.integers(0, 7), max_size=3))
@settings(max_examples=40)
def test_nothing_off_the_tree_is_surer_than_its_way(seed: int, held: set[int]) -> None:
    """Each observation is the sum of its way's branches, none less sure than itself; held sites are one point."""
    rng = np.random.default_rng(seed)
    i = rng.integers(0, 8, 20)
    j = (i + rng.integers(1, 8, 20)) % 8
    sigma = 10.0 ** rng.uniform(-6, 6, 20)
    root, given_value = np.arange(8), np.zeros(8, dtype=bool)
    root[sorted(held)] = min(held, default=0)
    given_value[sorted(held)] = True
    tree = surest_tree(i, j, sigma, root=root)
    way = paths(i, j, tree, root=root, held=given_value)
    apart = way[i] - way[j]
    value = rng.normal(size=8)
    value[sorted(held)] = 0.0

    # Without held sites what the paths tell is true of differences.
    np.testing.assert_allclose(apart @ (value[i] - value[j])[tree], value[i] - value[j], atol=1e-12)
    for row, claimed in zip(apart, sigma, strict=True):
        assert all(sigma[tree][k] <= claimed for k in np.flatnonzero(row))
