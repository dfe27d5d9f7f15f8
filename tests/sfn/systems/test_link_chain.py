"""The link chain, and the tabled minimum fields that rest on it."""

import pytest

from sfn.systems.link_chain import (
    height_loss_db,
    link_chain,
    location_correction_db,
    minimum_median_dbuvm,
    noise_field_dbuvm,
    noise_power_dbw,
    service_chain,
)
from sfn.systems.service import service, services


def test_tabled_minimum_fields_said_to_be_computed_are() -> None:
    """Where modes.toml says "computed by link_chain", it gives that number to the digit shown."""
    checked = 0
    for each in services():
        if each.minimum_median_source.startswith("computed by link_chain"):
            assert abs(service_chain(each).minimum_median_dbuvm - each.minimum_median_dbuvm) <= 0.11, each.id
            checked += 1

    assert checked > 700


def test_noise_field_is_the_minimum_field_less_the_ratio() -> None:
    """A field as strong as the noise gives 0 dB of C/N; man-made noise raises it."""
    of = service("dab-mode-1")
    chain = service_chain(of)

    assert noise_field_dbuvm(of) == pytest.approx(chain.minimum_field_dbuvm - 15 + 2)
    assert chain.noise_field_dbuvm == pytest.approx(noise_field_dbuvm(of))


def test_the_noise_field_rises_with_frequency() -> None:
    """The same antenna gain catches less at twice the frequency: 6.02 dB."""
    of = service("dvb-t-8k-1/4-8mhz")

    assert noise_field_dbuvm(of, frequency_mhz=800) - noise_field_dbuvm(of, frequency_mhz=400) == pytest.approx(
        6.0206, abs=1e-4
    )


def test_minimum_fields_move_with_the_carrier() -> None:
    """20 log10 for fixed, 30 log10 for mobile reception; FM's holds for the band."""
    assert minimum_median_dbuvm(service("dvb-t-8k-1/4-8mhz"), frequency_mhz=650) == 56
    assert minimum_median_dbuvm(service("dvb-t-8k-1/4-8mhz"), frequency_mhz=500) == pytest.approx(53.72, abs=0.01)
    assert minimum_median_dbuvm(service("dab-mode-1"), frequency_mhz=230) == pytest.approx(49.82, abs=0.01)
    assert minimum_median_dbuvm(service("fm-stereo"), frequency_mhz=107.9) == 54


def test_height_loss_is_interpolated_and_held_at_its_ends() -> None:
    """12, 16, 18 dB at 200, 500, 800 MHz."""
    assert [height_loss_db(f) for f in (100, 200, 500, 800, 900)] == pytest.approx([12, 12, 16, 18, 18])
    assert 16 < height_loss_db(650) < 18


def test_half_of_the_places_need_no_correction() -> None:
    """At 50 % the correction is nothing, and symmetrical about it."""
    assert location_correction_db(50, sigma_db=5.5) == pytest.approx(0)
    assert location_correction_db(5, sigma_db=5.5) == pytest.approx(-location_correction_db(95, sigma_db=5.5))


def test_fm_has_no_chain() -> None:
    """FM is planned by a tabled field."""
    with pytest.raises(ValueError, match="fm-stereo"):
        service_chain(service("fm-stereo"))


def test_wrong_arguments_are_named() -> None:
    """Name, value and range stand in the message."""
    with pytest.raises(ValueError, match=r"noise_bandwidth_mhz .* 7610000"):
        noise_power_dbw(7_610_000, noise_figure_db=7)
    with pytest.raises(ValueError, match="location_pct"):
        link_chain(
            20,
            frequency_mhz=600,
            noise_bandwidth_mhz=7.61,
            noise_figure_db=7,
            antenna_gain_dbd=10,
            location_pct=100,
            sigma_db=5.5,
        )
