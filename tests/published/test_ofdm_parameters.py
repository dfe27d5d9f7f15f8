"""Times of OFDM modes against their documents."""

from collections.abc import Callable

import pytest

from sfn.systems.service import service
from sfn.units import SPEED_OF_LIGHT_M_PER_US

EN_300_744 = "ETSI EN 300 744; Fischer, Digital Video and Audio Broadcasting Technology, Tables 20.16-20.18"
EN_302_755 = "ETSI EN 302 755 V1.4.1 Tables 65-67"
EN_300_401 = "ETSI EN 300 401, transmission modes"
A_327 = "ATSC A/327:2018 section 4.2.12"
STD_B31 = "ARIB STD-B31, transmission parameters"
ES_201_980 = "ETSI ES 201 980, robustness modes"

GUARDS = [
    ("dvb-t-8k-1/4-8mhz", 224.0, 1e-9, EN_300_744),
    ("dvb-t-8k-1/4-7mhz", 256.0, 1e-9, EN_300_744),
    ("dvb-t-8k-1/4-6mhz", 298.667, 1e-3, EN_300_744),
    ("dvb-t-2k-1/32-8mhz", 7.0, 1e-9, EN_300_744),
    ("dvb-t-4k-1/8-7mhz", 64.0, 1e-9, "EN 300 744 annex F; from memory"),
    ("dvb-t2-32k-19/128-pp2-8mhz", 532.0, 1e-9, EN_302_755),
    ("dvb-t2-16k-19/256-pp2-8mhz", 133.0, 1e-9, EN_302_755),
    ("dvb-t2-8k-1/4-pp1-1.7mhz", 1109.985, 1e-3, EN_302_755),
    ("dvb-t2-8k-19/256-pp4-8mhz", 66.5, 1e-9, EN_302_755),
    ("dab-mode-1", 246.0938, 1e-4, EN_300_401),
    ("dab-mode-2", 61.523, 5e-4, EN_300_401),
    ("dab-mode-3", 30.762, 5e-4, EN_300_401),
    ("dab-mode-4", 123.047, 5e-4, EN_300_401),
    ("atsc3-32k-gi4864-sp6_2-6mhz", 703.704, 1e-3, A_327),
    ("atsc3-8k-gi192-sp32_2-6mhz", 27.778, 1e-3, A_327),
    ("isdb-t-mode-3-1/8-6mhz", 126.0, 1e-3, STD_B31),
    ("nrsc-5-fm-hybrid", 150.500, 1e-3, "NRSC-5, constants of an open receiver"),
    ("drm-mode-a", 2666.667, 1e-3, ES_201_980),
    ("drm-mode-e", 250.0, 1e-9, f"{ES_201_980}; from memory"),
]
USEFULS = [
    ("dvb-t-8k-1/4-7mhz", 1024.0, 1e-9, EN_300_744),
    ("dvb-t2-8k-1/4-pp1-1.7mhz", 4439.939, 1e-3, EN_302_755),
    ("dvb-t2-32k-1/128-pp7-8mhz", 3584.0, 1e-9, EN_302_755),
    ("dab-mode-3", 125.0, 1e-9, EN_300_401),
    ("atsc3-16k-gi2432-sp6_2-6mhz", 2370.370, 1e-3, A_327),
    ("nrsc-5-fm-hybrid", 2751.995, 1e-3, "NRSC-5, constants of an open receiver"),
]
KILOMETRES = [
    ("dvb-t-8k-1/4-8mhz", 67.15, EN_300_744),
    ("dvb-t-8k-1/4-7mhz", 76.75, EN_300_744),
    ("dvb-t-8k-1/4-6mhz", 89.54, EN_300_744),
    ("dvb-t2-32k-19/128-pp2-8mhz", 159.49, EN_302_755),
    ("dab-mode-1", 73.78, EN_300_401),
    ("atsc3-32k-gi4864-sp6_2-6mhz", 210.97, A_327),
]
EQUALISED = [
    ("dvb-t-8k-1/4-8mhz", 261.333, "7/24 Tu; from memory"),
    ("dvb-t2-32k-19/128-pp2-8mhz", 532.0, "57/64 Tu/Dx; from memory, agrees with EN 302 755 Table 58"),
    ("atsc3-16k-gi2432-sp6_2-6mhz", 351.852, "ATSC A/327:2018 section 4.2.3.1, 89 % of Tu/Dx"),
]


@pytest.mark.parametrize(("service_id", "theirs_us", "tolerance_us", "source"), GUARDS)
def test_guard_intervals(
    published: Callable[..., None], service_id: str, theirs_us: float, tolerance_us: float, source: str
) -> None:
    """Guard intervals are those of the standards."""
    ours_us = service(service_id).guard_us
    published(f"guard interval of {service_id}", ours_us, theirs_us, tolerance=tolerance_us, unit="us", source=source)


@pytest.mark.parametrize(("service_id", "theirs_us", "tolerance_us", "source"), USEFULS)
def test_useful_parts(
    published: Callable[..., None], service_id: str, theirs_us: float, tolerance_us: float, source: str
) -> None:
    """Useful symbol parts are those of the standards."""
    ours_us = service(service_id).useful_us
    published(f"useful part of {service_id}", ours_us, theirs_us, tolerance=tolerance_us, unit="us", source=source)


@pytest.mark.parametrize(("service_id", "theirs_km", "source"), KILOMETRES)
def test_guard_intervals_as_distances(
    published: Callable[..., None], service_id: str, theirs_km: float, source: str
) -> None:
    """A guard interval as a distance is that of the textbook."""
    ours_km = (service(service_id).guard_us or 0.0) * SPEED_OF_LIGHT_M_PER_US / 1000.0
    published(f"guard distance of {service_id}", ours_km, theirs_km, tolerance=0.01, unit="km", source=source)


@pytest.mark.parametrize(("service_id", "theirs_us", "source"), EQUALISED)
def test_equalisation_intervals(published: Callable[..., None], service_id: str, theirs_us: float, source: str) -> None:
    """Equalisation intervals are those of planning practice."""
    ours_us = service(service_id).equalisation_us
    published(f"equalisation of {service_id}", ours_us, theirs_us, tolerance=1e-3, unit="us", source=source)


def test_table_58_ends_just_at_the_equalisation_interval(published: Callable[..., None]) -> None:
    """The longest guard in units of Tu/Dx that the standard allows (PP8 apart) is 57/64 of it."""
    from sfn.systems.service import services

    reach = {"pp1": 3, "pp2": 6, "pp3": 6, "pp4": 12, "pp5": 12, "pp6": 24, "pp7": 24}
    used = [
        (s.guard_us or 0.0) / (s.useful_us or 1.0) * reach[pilots]
        for s in services()
        if s.family == "dvb-t2" and "miso" not in s.id and (pilots := s.id.split("-")[4]) in reach
    ]
    published("longest guard over Tu/Dx", max(used), 57 / 64, tolerance=1e-12, unit="1", source="EN 302 755 Table 58")
