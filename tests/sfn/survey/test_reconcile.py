"""Launch errors from measurements, suspects by name, groups, robust re-weighting."""

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.survey.as_planned import not_as_planned, said
from sfn.survey.measurements import Measurement
from sfn.survey.reconcile import reconcile, snoop

SITES = ("north", "south", "gap", "hill", "lone")
TRUE_US = {"north": 0.0, "south": 2.5, "gap": -1.25, "hill": 0.4}


def measured(site: str, reference: str, point: str, value_us: float, *, uncertainty_us: float = 0.1) -> Measurement:
    """One measurement; its prediction is 0 throughout these tests."""
    return Measurement("2026-10-01", point, 36.3, -84.2, site, reference, value_us, uncertainty_us, "antenna", "ab")


@pytest.fixture
def good() -> list[Measurement]:
    """Twelve measurements among four sites, with errors of a tenth of a microsecond."""
    rng = np.random.default_rng(1)
    pairs = [(a, b) for a in TRUE_US for b in TRUE_US if a < b] * 2
    return [
        measured(a, b, f"P{k}", TRUE_US[a] - TRUE_US[b] + 0.1 * float(rng.normal())) for k, (a, b) in enumerate(pairs)
    ]


def run(measurements: list[Measurement], **options: object) -> object:
    """Reconcile with north held."""
    given = {"held": ("north",)} | options
    return reconcile(measurements, predicted_us=np.zeros(len(measurements)), sites=SITES, **given)  # type: ignore[arg-type]


def test_launch_errors_come_back_with_their_sign(good: list[Measurement]) -> None:
    """South launches 2.5 us late, gap 1.25 us early; the correction is the negative."""
    found = {s.site: s for s in run(good).sites}

    assert 0.0 == found["north"].launch_error_us
    assert found["north"].held
    for site in ("south", "gap", "hill"):
        assert abs(found[site].launch_error_us - TRUE_US[site]) < 4 * found[site].uncertainty_us
        assert -found[site].launch_error_us == found[site].correction_us
    assert found["lone"].launch_error_us is None
    assert 6 == found["hill"].observations_n


def test_the_prediction_is_taken_off(good: list[Measurement]) -> None:
    """Adding one number to a measurement and to its prediction changes nothing."""
    moved = [measured(m.site, m.reference_site, m.point, m.delay_difference_us + 10.0 * k) for k, m in enumerate(good)]
    found = reconcile(moved, predicted_us=10.0 * np.arange(len(good)), sites=SITES, held=("north",))

    assert [s.launch_error_us for s in run(good).sites][1] == pytest.approx(found.sites[1].launch_error_us, abs=1e-9)


def test_a_gross_error_is_named(good: list[Measurement]) -> None:
    """1.5 us wrong in one measurement: that one is the worst suspect, and the chi-square says that it is bad."""
    bad = [
        *good[:5],
        measured(good[5].site, good[5].reference_site, "P5", good[5].delay_difference_us + 1.5),
        *good[6:],
    ]
    found = run(bad)

    assert "suspect" == found.residuals[5].verdict
    assert 5 == max(range(12), key=lambda k: abs(found.residuals[k].w_ratio))
    words = " / ".join(p.what for p in found.problems)
    assert "contradict each other more than they claim" in words
    assert f"{bad[5].site} against {bad[5].reference_site} at P5, 2026-10-01:" in words
    answer, out = snoop(bad, predicted_us=np.zeros(12), sites=SITES, held=("north",))
    assert (5,) == out
    assert "left out" == answer.residuals[5].verdict
    assert answer.residuals[5].residual_us is None
    assert answer.chi_square_ratio < answer.chi_square_limits[1]


def test_robust_weighting_resists_a_gross_error(good: list[Measurement]) -> None:
    """With a 5 us blunder plain least squares is off by most of a microsecond, the robust answer by a fifth of that."""
    bad = [measured(good[0].site, good[0].reference_site, "P0", good[0].delay_difference_us + 5.0), *good[1:]]
    plain, robust = run(bad), run(bad, robust=True)
    clean = run(good)

    def off(found: object) -> float:
        pairs = zip(found.sites[:4], clean.sites[:4], strict=True)  # type: ignore[attr-defined]
        return max(abs(a.launch_error_us - b.launch_error_us) for a, b in pairs)

    assert off(plain) > 0.6
    assert off(robust) < off(plain) / 5
    assert robust.residuals[0].weight_factor < 0.1
    assert "suspect" == robust.residuals[0].verdict
    assert 1.0 == run(good).residuals[3].weight_factor


def test_groups_and_unheld_groups_are_named() -> None:
    """Two pairs that nothing ties together, only one with a held site."""
    found = run([measured("south", "north", "P1", 1.0), measured("hill", "gap", "P2", 2.0)])

    assert (("north", "south"), ("gap", "hill")) == found.groups
    words = [p.what for p in found.problems]
    assert any("2 groups that nothing ties together: north, south; gap, hill" in w for w in words)
    assert any("no site of gap, hill is held" in w for w in words)
    assert any("nothing was measured of lone" in w for w in words)
    assert any("as many measurements as unknowns" in w for w in words)
    assert 2 == sum("no other measurement checks it" in w for w in words)
    assert found.difference("south", "gap") is None
    assert (2.0, 0.1) == pytest.approx(found.difference("hill", "gap"))


def test_alike_suspects_are_not_left_out() -> None:
    """Round one triangle the culprit cannot be told: all three are listed, none is dropped."""
    loop = [
        measured("south", "north", "P1", 1.0),
        measured("gap", "south", "P2", 1.0),
        measured("north", "gap", "P3", 3.0),
    ]
    answer, out = snoop(loop, predicted_us=np.zeros(3), sites=SITES, held=("north",))

    assert () == out
    assert (1, 2) == answer.residuals[0].alike
    assert any(
        "the error may as well be in gap against south at P2, north against gap at P3" in p.what
        for p in answer.problems
    )


def test_an_unknown_site_is_refused(good: list[Measurement]) -> None:
    """A held site that is not in the network."""
    with pytest.raises(ValueError, match="none named west"):
        run(good, held=("west",))


def test_better_agreement_than_claimed_is_told() -> None:
    """Twelve identical measurements that claim 10 us each."""
    found = run([measured("south", "north", f"P{k}", 1.0, uncertainty_us=10.0) for k in range(12)])

    assert any("agree better than they claim" in p.what for p in found.problems)


def response(name: str, reference: str, values_us: dict[str, float]) -> list[Measurement]:
    """Rows of one impulse response: each arrival known to 0.3 us, the shared one to 0.4."""
    return [
        Measurement(
            "t", "P", 36.3, -84.2, site, reference, value, 0.5, "antenna", "ab", response=name,
            shared_uncertainty_us=0.4,
        )
        for site, value in values_us.items()
    ]  # fmt: skip


def test_rows_of_one_response_are_adjusted_with_their_correlation() -> None:
    """Two responses and two single rows: values, covariances, w and chi-square of generalised least squares."""
    rows = [
        *response("first", "north", {"south": 2.9, "gap": -1.0, "hill": 0.9}),
        *response("second", "south", {"north": -2.0, "gap": -4.4}),
        measured("gap", "hill", "Q", -1.8, uncertainty_us=0.3),
        measured("south", "hill", "Q", 2.2, uncertainty_us=0.2),
    ]
    found = run(rows)
    # v = C^-1 weighted, with what each two rows share beside the diagonal; w by Baarda's formula for such weights.
    covariance = np.diag([m.uncertainty_us**2 for m in rows])
    for block in (range(3), range(3, 5)):
        for a in block:
            for b in block:
                covariance[a, b] = 0.25 if a == b else 0.16
    a = np.zeros((7, 3))
    for k, m in enumerate(rows):
        for site, sign in ((m.site, 1), (m.reference_site, -1)):
            if site != "north":
                a[k, ["south", "gap", "hill"].index(site)] += sign
    y, p = np.array([m.delay_difference_us for m in rows]), np.linalg.inv(covariance)
    q = np.linalg.inv(a.T @ p @ a)
    v = a @ (q @ a.T @ p @ y) - y
    pqp = p @ (covariance - a @ q @ a.T) @ p

    np.testing.assert_allclose([s.launch_error_us for s in found.sites[1:4]], q @ a.T @ p @ y, atol=1e-10)
    np.testing.assert_allclose(
        [s.claimed_uncertainty_us for s in found.sites[1:4]], np.sqrt(np.diagonal(q)), atol=1e-10
    )
    np.testing.assert_allclose([r.residual_us for r in found.residuals], v, atol=1e-10)
    np.testing.assert_allclose([r.w_ratio for r in found.residuals], p @ v / np.sqrt(np.diagonal(pqp)), atol=1e-9)
    assert (4, 3) == (found.freedom, found.rank)
    assert v @ p @ v == pytest.approx(found.chi_square_ratio)


def test_rows_of_one_response_tell_the_same_of_what_they_share() -> None:
    """Another reference, or another uncertainty of it, in one response: refused with both."""
    rows = [*response("night", "north", {"south": 1.0}), *response("night", "gap", {"hill": 1.0})]
    with pytest.raises(PlanError, match=r"against gap with 0\.4 us shared; north and 0\.4 us"):
        run(rows)


def test_a_shared_arrival_that_is_off_is_named() -> None:
    """All rows of one response 5 us late against good measurements: its reference is named, and they go together."""
    rows = [
        measured(a, b, f"{a}{b}{k}", TRUE_US[a] - TRUE_US[b])
        for k in range(3) for a, b in (("south", "north"), ("gap", "north"), ("hill", "gap"), ("hill", "south"))
    ]  # fmt: skip
    late = response("night", "north", {site: TRUE_US[site] + 5.0 for site in ("south", "gap", "hill")})
    found = run([*rows, *late])

    named = [p for p in found.problems if p.code == "response-reference-suspect"]
    assert 1 == len(named)
    # Part of it is taken for the sites' own errors; the rest, with its sign, is left: the reference came early.
    assert -5.0 < named[0].values["left_over_us"] < -3.5
    assert (12, 13, 14) == found.shared[0].rows
    answer, out = snoop([*rows, *late], predicted_us=np.zeros(15), sites=SITES, held=("north",))
    assert (12, 13, 14) == out
    assert answer.chi_square_ratio < 1e-9


def test_contradicting_rows_make_every_uncertainty_grow(good: list[Measurement]) -> None:
    """Claims ten times too small: what is given grows to what the scatter is worth, and says what was claimed."""
    bold = [measured(m.site, m.reference_site, m.point, m.delay_difference_us, uncertainty_us=0.01) for m in good]
    honest, found = run(good), run(bold)

    assert 1.0 == honest.growth_ratio
    assert found.growth_ratio == pytest.approx(10 * honest.scale_ratio)
    for site, true in zip(found.sites[1:4], honest.sites[1:4], strict=True):
        assert 0.1 * true.uncertainty_us == pytest.approx(site.claimed_uncertainty_us)
        assert site.claimed_uncertainty_us * found.growth_ratio == pytest.approx(site.uncertainty_us)
    assert found.difference("south", "gap")[1] == pytest.approx(
        found.growth_ratio * 0.1 * honest.difference("south", "gap")[1]
    )


def test_uncertainties_that_nothing_weighs_together_are_refused() -> None:
    """Up to a ratio of 1e12 solved, beyond it refused with both figures."""
    pair = [measured("south", "north", "P", 1.0, uncertainty_us=1e6), measured("gap", "south", "P", 1.0)]
    sure = [measured("hill", "gap", "P", 2.0, uncertainty_us=1e-6)]

    assert 1e-6 == pytest.approx(run(pair + sure).difference("hill", "gap")[1])
    with pytest.raises(PlanError, match="claims 1e-07 us, and another measurement 1e"):
        run([*pair, measured("hill", "gap", "P", 2.0, uncertainty_us=1e-7)])


def test_as_planned_needs_a_datum() -> None:
    """Without a held site only a group that is taken up whole launches as planned; a relay waits for its parent."""
    rows = [measured("south", "north", "P", 1.0), measured("gap", "south", "P", 1.0)]
    fed = {"gap": "north"}

    assert {} == not_as_planned(run(rows), ("south",), parents={})
    assert {"south": ("north", "gap")} == not_as_planned(run(rows, held=()), ("south",), parents={})
    assert {} == not_as_planned(run(rows, held=()), ("north", "south", "gap"), parents=fed)
    assert {"gap": ("north",)} == not_as_planned(run(rows, held=("south",)), ("gap",), parents=fed)
    assert "do not yet launch" in said(run(rows, held=()), ("south",), parents={}, missed_us={})
    assert "do not yet" not in said(run(rows), ("south", "gap"), parents=fed, missed_us={})
