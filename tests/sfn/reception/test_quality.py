"""Service quality: the classes follow from level, delay and the service's own tolerance."""

from typing import Any

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.reception.classes import BLENDED, CLASSES, JUST_ENOUGH, TOO_WEAK, UPSET, WITH_MARGIN, is_lost, is_served
from sfn.reception.drawn_quality import drawn_share
from sfn.reception.figures import figures
from sfn.reception.quality import ServiceQuality, service_quality, yardstick
from sfn.systems.fm import local_table, snr_local
from sfn.systems.fm_carried import USUAL
from sfn.systems.fm_listeners import Blend, listener_shares
from sfn.systems.link_chain import noise_field_dbuvm
from tests.sfn.networks import example


def classes_of(
    network_service: str, level: list[list[float]], arrival: list[list[float]], frequency_mhz: float
) -> list[str]:
    """Classes in words for signals shaped (S, M)."""
    yard = yardstick(example(lambda tree: tree.update(service=network_service, frequency_mhz=frequency_mhz)))
    found = service_quality(np.array(level), np.array(arrival), yard, frequency_mhz=frequency_mhz)
    return ["nothing" if np.isnan(c) else CLASSES[int(c)] for c in found.quality_class]


def test_fm_classes() -> None:
    """One signal alone, a late echo at equal level, the same in time, a weak one, and none."""
    nan = np.nan
    level = [[80, 80, 80, 40, nan], [nan, 80, 80, nan, nan]]
    arrival = [[0, 0, 0, 0, 0], [0, 15, 0.05, 0, 0]]

    found = classes_of("fm-stereo", level, arrival, 98.3)
    assert [CLASSES[WITH_MARGIN], CLASSES[UPSET], CLASSES[WITH_MARGIN], CLASSES[TOO_WEAK], "nothing"] == found


def test_ofdm_classes() -> None:
    """Inside the guard interval signals help, far outside they upset, far below the noise all is too weak."""
    level = [[70, 70, 5], [70, 70, 5]]
    arrival = [[0, 0, 0], [200, 700, 0]]

    assert [CLASSES[WITH_MARGIN], CLASSES[UPSET], CLASSES[TOO_WEAK]] == classes_of(
        "dab-mode-1", level, arrival, 223.936
    )


def test_ofdm_in_the_guard_interval_is_better_than_one_site_alone() -> None:
    """Two equal signals inside the guard interval serve more places than one: the statistical gain of a network."""
    yard = yardstick(example(lambda tree: tree.update(service="dab-mode-1", frequency_mhz=223.936)))
    usable = yard.counts.usable_dbuvm
    one = service_quality(np.array([[usable]]), np.zeros((1, 1)), yard, frequency_mhz=223.936)
    two = service_quality(np.full((2, 1), usable), np.array([[0.0], [100.0]]), yard, frequency_mhz=223.936)

    assert one.probability is not None
    assert two.probability is not None
    assert two.probability[0] > one.probability[0]


def test_the_map_counts_the_strategy_of_the_network_and_shows_the_risk_beside() -> None:
    """Class, margin and C/(N+I) are those of the document's strategy; the risk is the class with "strongest"."""
    rng = np.random.default_rng(6)
    level, arrival = rng.normal(62, 6, (4, 300)), rng.uniform(0, 700, (4, 300))

    def judged(window: dict[str, object] | None) -> ServiceQuality:
        """With the document's receiver.window."""

        def change(tree: dict[str, Any]) -> None:
            tree.update(service="dab-mode-1", frequency_mhz=223.936)
            if window is not None:
                tree.setdefault("receiver", {})["window"] = window

        return service_quality(level, arrival, yardstick(example(change)), frequency_mhz=223.936)

    usual, first, strongest = judged(None), judged({"strategy": "first"}), judged({"strategy": "strongest"})
    np.testing.assert_array_equal(usual.quality_class, judged({"strategy": "quasi-optimal"}).quality_class)
    for one in (usual, first):
        assert not np.array_equal(one.quality_class, strongest.quality_class)
        np.testing.assert_array_equal(one.risk_class, strongest.quality_class)
    np.testing.assert_array_equal(strongest.risk_class, strongest.quality_class)
    assert not np.array_equal(judged({"strategy": "strongest", "backoff_us": 0.0}).margin_db, strongest.margin_db)
    with pytest.raises(PlanError, match="within the guard interval") as refused:
        judged({"strategy": "first", "backoff_us": 300.0})
    assert refused.value.problems[0].code == "back-off-outside-guard"


@pytest.mark.parametrize(("service_id", "frequency_mhz"), [("dab-mode-1", 223.936), ("8-vsb", 575.0)])
def test_an_implementation_margin_is_taken_off_wherever_it_is_given(service_id: str, frequency_mhz: float) -> None:
    """3 dB in the document are 3 dB of margin, of usable field and of what counts; none given, none taken off."""
    level, arrival = np.array([[60.0], [55.0]]), np.array([[0.0], [5.0]])

    def change(tree: dict[str, Any], given_db: float | None) -> None:
        tree.update(service=service_id, frequency_mhz=frequency_mhz)
        if given_db is not None:
            tree["thresholds"] = {"implementation_margin_db": given_db}

    plain, less = (yardstick(example(lambda tree, db=db: change(tree, db))) for db in (None, 3.0))
    one, other = (service_quality(level, arrival, yard, frequency_mhz=frequency_mhz) for yard in (plain, less))

    assert (plain.implementation_margin_db, less.implementation_margin_db) == (0.0, 3.0)
    assert one.margin_db[0] - other.margin_db[0] == pytest.approx(3.0, abs=1e-4)
    assert less.counts.usable_dbuvm - plain.counts.usable_dbuvm == pytest.approx(3.0)
    assert less.counts.significant_db - plain.counts.significant_db == pytest.approx(3.0)


def test_spread_and_correlation_come_from_the_document() -> None:
    """levels.sigma_db and levels.site_correlation; the service's spread and 0.5 otherwise."""

    def change(tree: dict[str, Any], levels: dict[str, float] | None) -> None:
        tree.update(service="dab-mode-1", frequency_mhz=223.936)
        if levels is not None:
            tree["levels"] = levels

    plain, own = (
        yardstick(example(lambda tree, given=given: change(tree, given)))
        for given in (None, {"sigma_db": 7.8, "site_correlation": 0.2})
    )
    assert (plain.spread.sigma_db, plain.spread.site_correlation_ratio) == (5.5, 0.5)
    assert (own.spread.sigma_db, own.spread.site_correlation_ratio) == (7.8, 0.2)
    level, arrival = np.full((2, 1), own.counts.usable_dbuvm - 14.0), np.array([[0.0], [30.0]])
    quick = [
        float(service_quality(level, arrival, yard, frequency_mhz=223.936).probability[0]) for yard in (plain, own)
    ]
    drawn = [
        [
            float(
                drawn_share(
                    level,
                    arrival,
                    yard,
                    frequency_mhz=223.936,
                    bearing_deg=np.array([[0.0], [20.0]]),
                    masts=np.arange(2),
                    correlated=c,
                ).share[0]
            )
            for c in (True, False)
        ]
        for yard in (plain, own)
    ]
    assert quick[1] < quick[0]
    assert drawn[0][0] < drawn[0][1]  # sites that fade together help each other less
    assert drawn[1][1] == pytest.approx(quick[1], abs=0.04)


def test_the_fm_margin_is_the_smaller_of_level_and_sound() -> None:
    """What the noise of echoes may rise by until too few hear it clear, or the level's excess; figures stay beside."""
    yard = yardstick(example())
    level, arrival = np.array([[90.0, 60.0], [84.0, 30.0]]), np.array([[0.0, 0.0], [5.0, 0.3]])
    found = service_quality(level, arrival, yard, frequency_mhz=98.3)
    louder = [
        listener_shares(
            level[:, :1], arrival[:, :1], programme=USUAL, blend=Blend("car"), target_db=30.0, better_db=40.0,
            margin_db=(2.0 + by_db, 4.0 + by_db), level_sets_n=1024, phases_n=32,
        ).blended[0]
        for by_db in (float(found.margin_db[0]) - 0.7, float(found.margin_db[0]) + 0.7)
    ]  # fmt: skip

    assert louder[0] > 0.95 > louder[1]
    assert found.margin_db[1] == pytest.approx(60.0 - yard.counts.usable_dbuvm, abs=1e-4)
    assert found.limiting[0] == 1
    snr = float(snr_local(6.0, 5.0, local=local_table("stereo")))
    assert figures(found, level, arrival, yard)["stereo_snr_db"][0] == pytest.approx(snr, abs=0.3)


def test_cars_that_blend_are_served_without_stereo() -> None:
    """Two signals 2 us apart: clear, partly or wholly mono; hi-fi sets do not blend and hear it distorted sooner."""
    level, arrival = np.array([[80.0] * 3, [78.0] * 3]), np.array([[0.0] * 3, [0.05, 2.0, 15.0]])
    car = service_quality(level, arrival, yardstick(example()), frequency_mhz=98.3).quality_class
    assert car.tolist() == [WITH_MARGIN, BLENDED, UPSET]
    assert is_served(car).tolist() == [True, True, False]
    assert is_lost(car).tolist() == [False, False, True]


def test_one_per_cent_of_deviation_undoes_alignment_on_the_map_too() -> None:
    """Lock sheets that let deviations differ count in the class: signals at one time are clear stereo no more."""

    def change(tree: dict[str, Any]) -> None:
        for site, khz in zip(tree["sites"], (75.0, 72.8, 75.0), strict=True):
            site["lock"] = {"deviation_khz": khz}

    level, arrival = np.array([[80.0], [80.0]]), np.zeros((2, 1))
    yard = yardstick(example(change))
    apart, alike = (
        service_quality(level, arrival, yard, frequency_mhz=98.3, sites=sites).margin_db[0]
        for sites in (["north", "south"], ["north", "gap"])
    )
    assert apart < alike - 5.0
    with pytest.raises(ValueError, match="sites must name the rows"):
        service_quality(level, arrival, yard, frequency_mhz=98.3)


def test_the_networks_own_thresholds_decide() -> None:
    """What is adequate may be set; just enough is what meets it without reaching the target."""
    network = example(
        lambda tree: tree.update(thresholds={"adequate_snr_db": 10, "target_snr_db": 59, "implementation_margin_db": 0})
    )
    found = service_quality(
        np.array([[90.0], [68.0]]), np.array([[0.0], [3.0]]), yardstick(network), frequency_mhz=98.3
    )

    assert found.quality_class[0] == JUST_ENOUGH


def test_vsb_follows_its_echo_mask() -> None:
    """An echo that the mask allows, and one that it does not."""
    found = classes_of("8-vsb", [[80, 80], [60, 79]], [[0, 0], [10, 60]], 575.0)

    assert [CLASSES[WITH_MARGIN], CLASSES[UPSET]] == found


def test_vsb_has_a_carrier_to_noise_and_interference_ratio_of_its_own() -> None:
    """Noise alone: C/N. With an echo at the edge of its mask (15.2 dB needed): less, by the sum of both, typed here."""
    yard = yardstick(example(lambda tree: tree.update(service="8-vsb", frequency_mhz=575.0)))
    noise = noise_field_dbuvm(yard.carried, frequency_mhz=575.0)
    level, arrival = np.array([[noise + 30.0] * 2, [np.nan, noise + 25.0]]), np.array([[0.0] * 2, [0.0, 10.0]])
    found = service_quality(level, arrival, yard, frequency_mhz=575.0)
    cni_db = figures(found, level, arrival, yard)["cni_db"]

    assert cni_db[0] == pytest.approx(30.0, abs=1e-3)
    echo = 10 ** ((2.0 - 5.0) / 10)  # 10 us later the mask asks for 2 dB, and the echo is 5 dB down
    assert cni_db[1] - 15.2 == pytest.approx(-10 * np.log10(10 ** ((15.2 - 30.0) / 10) + echo), abs=1e-3)


def test_no_site_on_air_gives_nothing() -> None:
    """Without signals nothing is known."""
    found = service_quality(np.empty((0, 3)), np.empty((0, 3)), yardstick(example()), frequency_mhz=98.3)

    assert np.isnan(found.margin_db).all()
