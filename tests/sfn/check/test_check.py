"""Every planning problem is found, named, and told with what would be right."""

from collections.abc import Callable
from typing import Any

import pytest

from sfn.check import all_problems
from sfn.plan import Network
from tests.sfn.networks import example


def errors(network: Network) -> list[str]:
    """Places and texts of the errors."""
    return [f"{p.where}: {p.what}; {p.expected}" for p in all_problems(network) if p.severity == "error"]


def test_the_example_has_no_error() -> None:
    """The complete example is clean but for what is only assumed."""
    assert [] == errors(example())


def dry(tree: dict[str, Any]) -> None:
    """A release delay a millisecond too short."""
    tree["stages"][3]["release_delay_us"] = 100_000


def wandering(tree: dict[str, Any]) -> None:
    """A receive buffer that adapts, outside any time-stamped section."""
    tree["stages"][6]["adapts"] = True


def own_processor(tree: dict[str, Any]) -> None:
    """A dynamics processor at one site."""
    tree["stages"].append(
        {
            "id": "south-agc",
            "kind": "processing",
            "latency_us": 3000,
            "shapes_waveform": True,
            "tolerance_us": 0,
            "source": "data sheet",
        }
    )
    tree["sites"][1]["chains"][0]["stages"].insert(2, "south-agc")


def two_latencies(tree: dict[str, Any]) -> None:
    """A shared stage reached over different stages."""
    tree["sites"][1]["chains"][0]["stages"].insert(2, "north-exciter")


def twice(tree: dict[str, Any]) -> None:
    """A stage inside the section and in the chain."""
    tree["sites"][0]["chains"][0]["stages"].insert(1, "north-wan")


def absorbed(tree: dict[str, Any]) -> None:
    """A section that already ends behind the modulator."""
    tree["stages"][3]["reference_plane"] = "exciter output"


def wraps(tree: dict[str, Any]) -> None:
    """A release delay longer than the stamps' second."""
    tree["time_stamps"] = {"meaning": "origin"}
    tree["stages"][3]["release_delay_us"] = 1_200_000


@pytest.mark.parametrize(
    ("change", "where", "said"),
    [
        (dry, "stages[3].release_delay_us", "site North ridge (main) has a buffer underrun: section north-release needs 101\u202f000 us for its worst path, margin and processing, but releases after 100\u202f000 us, 1\u202f000 us too soon"),
        (wandering, "stages[6].adapts", "site South ridge (main): stage south-link adapts its delay"),
        (own_processor, "stages[10].shapes_waveform", "site South ridge (main): stage south-agc changes the waveform, but not for North ridge"),
        (two_latencies, "sites[1].chains[0].stages[2]", "sites North ridge and South ridge (main) share stage north-exciter but reach it over different stages"),
        (twice, "sites[0].chains[0].stages[1]", "site North ridge (main): stage north-wan is inside a time-stamped section and in the chain itself"),
        (absorbed, "sites[0].chains[0].stages", "site North ridge (main): section north-release holds up to the exciter output, so it absorbs the modulator north-exciter"),
        (wraps, "stages[3].release_delay_us", "site North ridge (main): section north-release releases 1\u202f200\u202f000 us after its stamp, but stamps repeat after 1 s"),
    ],
)  # fmt: skip
def test_a_wrong_chain_is_an_error(change: Callable[[dict[str, Any]], None], where: str, said: str) -> None:
    """Each is named with the site and the shortfall."""
    found = errors(example(change))

    assert any(line.startswith(f"{where}: {said}") for line in found), found


def test_processing_shared_by_all_sites_is_no_error() -> None:
    """Common practice: done once, upstream of the fork, it is common to all and need not be compensated."""
    assert [] == errors(example(lambda tree: tree["stages"][0].update(shapes_waveform=True)))


def test_processing_inside_a_section_counts_as_passed() -> None:
    """A waveform-changing stage covered by one site's section is not shared by the others."""
    found = errors(example(lambda tree: tree["stages"][2].update(shapes_waveform=True)))

    assert any("north-fec changes the waveform, but not for South ridge" in line for line in found)


def test_a_step_too_coarse_for_the_service_is_questioned() -> None:
    """One 48 kHz sample is 20.8 us: too coarse for FM stereo."""
    change = {"unit": "samples@48000", "greatest": 96_000}
    network = example(lambda tree: tree["sites"][0]["delay_fields"][0].update(change))
    found = [p for p in all_problems(network) if p.where == "sites[0].delay_fields"]

    assert found[0].severity == "warning"
    assert found[0].what == "site North ridge: the finest step is 20.83 us, which leaves up to 10.42 us of launch error"


def test_an_unknown_service_and_a_wild_position_do_not_hide_each_other() -> None:
    """Problems of different kinds are told together."""

    def change(tree: dict[str, Any]) -> None:
        tree["service"] = "fm-steroe"
        tree["sites"][1]["position"]["text"] = "somewhere"

    found = errors(example(change))
    assert any(line.startswith("service: ") and "fm-stereo" in line for line in found)
    assert any(line.startswith("sites[1].position: site South ridge") for line in found)


@pytest.mark.parametrize(("release_us", "repeats"), [(999_999.9, False), (1_000_000, True), (1_000_000.1, True)])
def test_a_stamp_that_repeats_just_at_its_release_cannot_be_told_from_the_next(
    release_us: float, repeats: bool
) -> None:
    """A release delay of the whole second is ambiguous already; a tenth of a microsecond less is not."""

    def change(tree: dict[str, Any]) -> None:
        wraps(tree)
        tree["stages"][3]["release_delay_us"] = release_us

    assert ("stamp-wrap" in {p.code for p in all_problems(example(change))}) is repeats
