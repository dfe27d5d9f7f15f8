"""Times of OFDM modes against their documents."""

from collections.abc import Callable
from fractions import Fraction

import pytest

from sfn.systems.service import service, services
from sfn.units import SPEED_OF_LIGHT_M_PER_US, unit_length_us

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
    ("dvb-t2-lite-16k-19/128-pp3-8mhz", 266.0, 1e-9, EN_302_755),
    ("isdb-tsb-mode-3-1/8-1seg", 126.0, 1e-9, "ARIB STD-B29, times of mode 3; from memory"),
    ("isdb-tsb-mode-2-1/16-3seg", 31.5, 1e-9, "ARIB STD-B29, times of mode 2; from memory"),
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
    ("dvb-t2-lite-8k-1/4-pp1-1.7mhz", 4439.939, 1e-3, EN_302_755),
    ("isdb-tsb-mode-3-1/8-1seg", 1008.0, 1e-9, "ARIB STD-B29, times of mode 3; from memory"),
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
    ("atsc3-16k-gi2432-sp6_2-6mhz", 351.852, "the guard interval, which is longer than 75 % of Tu/Dx"),
    ("atsc3-16k-gi1536-sp8_2-6mhz", 222.222, "ATSC A/327:2018 section 4.2.3.1, 75 % of Tu/Dx"),
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


# EN 302 755 V1.4.1, typed in a second time: guard interval in samples (Table 67), pilots without MISO (Table 58).
TABLE_67_AND_58 = """
32k 1/128 256 7|1/32 1024 4,6|1/16 2048 2,8,4|19/256 2432 2,8,4|1/8 4096 2,8|19/128 4864 2,8
16k 1/128 128 7|1/32 512 7,4,6|1/16 1024 2,8,4,5|19/256 1216 2,8,4,5|1/8 2048 2,3,8|19/128 2432 2,3,8|1/4 4096 1,8
8k 1/128 64 7|1/32 256 7,4|1/16 512 8,4,5|19/256 608 8,4,5|1/8 1024 2,3,8|19/128 1216 2,3,8|1/4 2048 1,8
4k 1/32 128 7,4|1/16 256 4,5|1/8 512 2,3|1/4 1024 1
2k 1/32 64 7,4|1/16 128 4,5|1/8 256 2,3|1/4 512 1
1k 1/16 64 4,5|1/8 128 2,3|1/4 256 1
"""


def test_every_cell_of_tables_67_and_58() -> None:
    """Exactly the combinations of the tables exist, each with its guard interval in samples of 7/64 us."""
    typed = {}
    for line in TABLE_67_AND_58.split("\n")[1:-1]:
        transform, cells = line.split(" ", 1)
        for cell in cells.split("|"):
            guard, samples, patterns = cell.split(" ")
            for pattern in patterns.split(","):
                typed[f"dvb-t2-{transform}-{guard}-pp{pattern}-8mhz"] = int(samples)
    ours = {
        s.id: (s.guard_us or 0.0) * 64 / 7
        for s in services()
        if s.family == "dvb-t2" and s.id.endswith("-8mhz") and "miso" not in s.id
    }

    assert ours == pytest.approx(typed, rel=1e-12)


def test_units_of_delay_fields_in_streams(published: Callable[..., None]) -> None:
    """Transmit offsets of DVB and ATSC 3.0, T2-MI subseconds and DAB time stamps."""
    tist = unit_length_us("1/16.384MHz")
    cases = [
        ("tx_time_offset code of +100 us", Fraction(100) / unit_length_us("100ns"), 1000, "ATSC A/324 section 8.3.1"),
        ("tx_time_offset code -0x8000 in us", -0x8000 * unit_length_us("100ns"), -3276.8, "ATSC A/324 section 8.3.1"),
        ("T2-MI subseconds of 0.5 s at 8 MHz", 500_000 / unit_length_us("1/64MHz"), 32e6, "ETSI TS 102 773 Table 4"),
        ("DAB TIST of 100 us", (Fraction(100) / tist + Fraction(1, 2)) // 1, 1638, "ETS 300 799; digits from memory"),
        ("DAB TIST 1638 in us", 1638 * tist, 99.976, "ETS 300 799; digits from memory"),
    ]
    for what, ours, theirs, source in cases:
        published(what, float(ours), theirs, tolerance=0.0005, unit="1 or us", source=source)


def test_dab_symbol(published: Callable[..., None]) -> None:
    """A whole mode I symbol."""
    of = service("dab-mode-1")
    ours_us = (of.useful_us or 0.0) + (of.guard_us or 0.0)
    published("DAB mode I symbol", ours_us, 1246.0938, tolerance=1e-4, unit="us", source=EN_300_401)


def test_table_58_ends_just_at_the_equalisation_interval(published: Callable[..., None]) -> None:
    """The longest guard in units of Tu/Dx that the standard allows (PP8 apart) is 57/64 of it."""
    reach = {"pp1": 3, "pp2": 6, "pp3": 6, "pp4": 12, "pp5": 12, "pp6": 24, "pp7": 24}
    used = [
        (s.guard_us or 0.0) / (s.useful_us or 1.0) * reach[pilots]
        for s in services()
        if s.family == "dvb-t2" and "miso" not in s.id and (pilots := s.id.split("-")[4]) in reach
    ]
    published("longest guard over Tu/Dx", max(used), 57 / 64, tolerance=1e-12, unit="1", source="EN 302 755 Table 58")
