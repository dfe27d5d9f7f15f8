"""One stream planned as a whole."""

from fractions import Fraction

import pytest

from sfn.stream.link import Link, LinkPlan, as_answer, comparison, link_plan
from sfn.stream.packet import Headers, packet_of
from sfn.stream.payload import compressed, digital_composite
from sfn.stream.protection import Protection, both_parities, with_repeat, with_second_path

MS = Fraction(1, 1000)


def plan(*, time_s: Fraction = MS, protection: Protection | None = None, **link: object) -> LinkPlan:
    """Digital composite on a link."""
    payload = digital_composite()
    packet = packet_of(payload, time_s=time_s)
    guard = protection or Protection()
    return link_plan(payload, packet, headers=Headers(), protection=guard, link=Link(**link))  # type: ignore[arg-type]


def test_latency_is_the_sum_of_its_elements_by_hand() -> None:
    """Coding 500, packet 1000, 2 hops of 670 bytes at 10 Mbit/s, network, variation, repeat, parity, paths, decoding."""
    guard = with_second_path(with_repeat(both_parities(5, 10), after=20))
    planned = plan(
        protection=guard, capacity_mbps=10, hops=2, network_us=8000, variation_us=5000,
        differential_us=3000, sender_us=500, receiver_us=700,
    )  # fmt: skip

    assert 500 + 1000 + 2 * 536 + 8000 + 5000 + 20_000 + 54_000 + 3000 + 700 == planned.latency_us


def test_look_ahead_is_counted_and_the_frame_only_once() -> None:
    """Coded audio waits for its frame, which is its packet, and its look-ahead."""
    payload = compressed(256, frame_ms=20, look_ahead_ms=6.5)
    planned = link_plan(payload, packet_of(payload), headers=Headers(), protection=Protection(), link=Link())

    assert 26_500 == planned.latency_us


def test_variation_is_absorbed_only_by_time_stamps() -> None:
    """With time stamps the tolerance is nothing; without them it is the delay variation."""
    assert 0 == plan(variation_us=5000).tolerance_us
    assert 5000 == plan(variation_us=5000, time_stamped=False).tolerance_us


def test_adapting_buffer_without_time_stamps_is_an_error_that_says_why() -> None:
    """It is an error only where nothing holds the launch time; the text says what would happen."""
    (problem,) = plan(adapting=True, time_stamped=False).problems

    assert ("link.adapting", "error") == (problem.where, problem.severity)
    assert "each change moves this site's launch time" in problem.what
    assert () == plan(adapting=True).problems


def test_too_large_for_the_mtu_names_the_longest_packet_that_fits() -> None:
    """4 ms of 192 kHz x 24 bit are 2344 bytes; the longest that fits is named, and fits."""
    (problem,) = plan(time_s=4 * MS).problems

    assert "a packet has 2344 bytes with its tunnel, the link passes 1500" == problem.what
    assert "a packet time of at most 2.53125 ms" == problem.expected
    assert () == plan(time_s=Fraction(253125, 100_000_000)).problems


def test_more_than_the_link_carries() -> None:
    """The rate at the link's own layer is compared; the text gives both."""
    (problem,) = plan(capacity_mbps=5.0, capacity_layer="wire").problems

    assert "the stream takes 5.232 Mbit/s at the wire layer, the link carries 5" == problem.what
    assert () == plan(capacity_mbps=5.0, capacity_layer="ip").problems


def test_streams_that_fit_counts_whole_ones() -> None:
    """A microwave of 155 Mbit/s carries 29 streams of 5.232; exactly full is allowed."""
    assert 29 == plan(capacity_mbps=155.0).streams_that_fit
    assert 10 == plan(capacity_mbps=52.32).streams_that_fit
    assert plan().streams_that_fit is None


def test_the_answer_is_flat_and_has_no_infinities() -> None:
    """Every key names its unit or is a word; nothing is NaN."""
    answer = as_answer(plan(capacity_mbps=10.0))

    assert 4.608 == answer["payload_mbps"]
    assert 5.232 == answer["wire_mbps"]
    assert 616 == answer["ip_bytes"]
    assert 72 == answer["time_slots"]


def test_comparison_leaves_out_times_that_hold_no_whole_grains() -> None:
    """A frame of 20 ms fits 20 and 40 ms, not 1 ms."""
    payload = compressed(128, frame_ms=20)
    rows = comparison(payload, times_s=[MS, 20 * MS, 40 * MS], headers=Headers(), protection=Protection(), link=Link())

    assert [20_000.0, 40_000.0] == [row["packet_time_us"] for row in rows]


@pytest.mark.parametrize(
    ("bad", "text"),
    [
        ({"capacity_layer": "fibre"}, "capacity_layer must be one of payload"),
        ({"capacity_mbps": 0}, "capacity_mbps must be above 0"),
        ({"hops": 0}, "hops must be from 1 to 100 hops, got 0"),
        ({"network_us": -1.0}, "network_us must be from 0"),
    ],
)
def test_links_that_cannot_be_are_refused(bad: dict[str, object], text: str) -> None:
    """Refused by name and value."""
    with pytest.raises(ValueError, match="must be") as refusal:
        Link(**bad)  # type: ignore[arg-type]

    assert text in str(refusal.value)
