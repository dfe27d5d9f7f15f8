"""A service is found by what people know of it, and named by its name as well as by its id."""

import pytest

from sfn.systems.find_service import find_services, usual_modes
from sfn.systems.service import service, service_named, services
from tests.sfn.networks import example

OWN = """format = 1
[[service]]
id = "island-dab"
copy_of = "dab-mode-1"
name = "Island DAB"
"""


def test_every_usual_mode_is_a_service_with_a_source() -> None:
    """No country leads to a mode that does not exist."""
    for one in usual_modes():
        assert one.service == service(one.service).id
        assert one.countries
        assert one.source


@pytest.mark.parametrize(
    ("words", "first"),
    [
        ("spain", "dvb-t-8k-1/4-8mhz-64qam-2/3"),
        ("Japan", "isdb-t-mode-3-1/8-6mhz"),
        ("uk t2", "dvb-t2-32k-1/128-pp7-8mhz-256qam-2/3"),
        ("dab", "dab-mode-1"),
        ("8k 64QAM 1/4 8 MHz 2/3", "dvb-t-8k-1/4-8mhz-64qam-2/3"),
        ("zebra", ""),
    ],
)
def test_words_in_any_order_find_it(words: str, first: str) -> None:
    """Every word must begin a word of it; what has no such word is not offered."""
    found = find_services(words)
    assert first == (found[0].service.id if found else "")


@pytest.mark.parametrize("spelled", ["224us", "224 us", "224 \u00b5s", "224 \u03bcs", "224"])
def test_a_guard_interval_is_found_however_it_is_spelled(spelled: str) -> None:
    """Guard intervals of EN 302 755 Table 67: 32k 1/16 in 8 MHz is 224 us."""
    found = find_services(f"dvb-t2 32k {spelled}")
    assert found
    assert {224.0} == {one.service.guard_us for one in found}
    assert "guard interval 224 µs" in found[0].says


def test_ones_own_service_is_found_too() -> None:
    """A file of one's own is searched beside the shipped one."""
    assert ["island-dab"] == [one.service.id for one in find_services("island", own_services=OWN)]
    assert "island-dab" == service_named("Island DAB", own_services=OWN)


def test_every_shipped_name_names_its_own_service() -> None:
    """What the list shows can be typed back; no two services answer to one name."""
    shown = services()
    assert [one.id for one in shown] == [service_named(one.name) for one in shown]
    assert service("FM stereo") == service("fm-stereo")


def test_a_broken_file_of_ones_own_hides_no_shipped_service() -> None:
    """Its error is told where it is used."""
    assert "dab-mode-1" == service_named("DAB mode I", own_services="not TOML [")


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("\u00b5s", "us"), ("\u03bcs", "us"), ("US", "us"), ("MS", "ms"), ("milliseconds", "ms"), ("100 ns", "100ns"),
        ("samples at 48 kHz", "samples@48000"), ("48kHz samples", "samples@48000"), ("1/16.384 MHz", "1/16.384MHz"),
    ],
)  # fmt: skip
def test_a_unit_is_read_however_it_is_spelled(typed: str, read: str) -> None:
    """In any document, not only from a form."""
    field = example().sites[0].delay_fields[0]
    assert read == type(field).model_validate(field.model_dump() | {"unit": typed}).unit
