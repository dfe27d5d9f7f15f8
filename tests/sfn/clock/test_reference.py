"""Timing receivers: cable and time scale."""

import pytest

from sfn.clock.reference import Receiver, asymmetry_error_us, cable_delay_us, reference_problems


def test_cable_left_uncompensated_is_a_warning() -> None:
    """30 m of 0.66 cable are 152 ns late; entered, nothing is left; entered twice, as early."""
    bare, entered = Receiver(30, 0.66, 0.0), Receiver(30, 0.66, 0.1516)
    found = reference_problems({"north": bare, "south": entered}, tolerance_us=0.1)

    assert ["receivers.north.entered_us"] == [p.where for p in found]
    assert "+0.152 us of antenna cable left uncompensated" == found[0].what
    assert 0 == pytest.approx(entered.error_us, abs=1e-4)
    assert Receiver(30, 0.66, 0.3032).error_us == pytest.approx(-bare.error_us, abs=1e-4)


def test_one_time_scale_at_all_sites() -> None:
    """The odd one out is an error that says what happens; a clock set by hand is one everywhere."""
    sites = {"a": Receiver(0, 1, 0), "b": Receiver(0, 1, 0), "c": Receiver(0, 1, 0, "GPS")}
    (problem,) = reference_problems(sites, tolerance_us=1)

    assert "keeps GPS time, most sites UTC: time stamps are whole seconds off" == problem.what
    assert ("c",) == problem.sites
    assert "error" == problem.severity
    assert 2 == len(reference_problems({"a": Receiver(0, 1, 0, "local"), "b": Receiver(0, 1, 0, "x")}, tolerance_us=1))
    assert [] == reference_problems({}, tolerance_us=1)


@pytest.mark.parametrize(
    ("scales", "named"),
    [
        (("UTC", "GPS"), "ab"),
        (("GPS", "UTC"), "ab"),
        (("UTC", "UTC", "GPS", "TAI"), "abcd"),
        (("UTC", "GPS", "UTC"), "b"),
        (("UTC", "local"), "b"),
        (("local", "local"), "ab"),
        (("UTC", "UTC", "GPS", "GPS"), "abcd"),
        (("UTC",), ""),
    ],
)
def test_without_a_majority_all_are_in_doubt(scales: tuple[str, ...], named: str) -> None:
    """Two sites against each other: nobody knows which of them is right, whatever the order they stand in."""
    found = reference_problems(
        {site: Receiver(0, 1, 0, s) for site, s in zip("abcd", scales, strict=False)}, tolerance_us=1
    )

    assert named == "".join(site for problem in found for site in problem.sites)
    assert {"time-scale-differs"} >= {problem.code for problem in found}


def test_refusals() -> None:
    """Impossible cables and delays are refused by name."""
    with pytest.raises(ValueError, match=r"velocity_factor must be from 0\.3 to 1"):
        cable_delay_us(10, velocity_factor=83)
    with pytest.raises(ValueError, match="cable_m must be from 0"):
        cable_delay_us(-1, velocity_factor=0.8)
    with pytest.raises(ValueError, match="back_us must be from 0"):
        asymmetry_error_us(1, back_us=-1)
