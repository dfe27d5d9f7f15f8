"""A stage's stream plan as text and as a record: the same link plan, through JSON and back."""

import json
from fractions import Fraction
from urllib.parse import urlencode

from hypothesis import given, strategies as st

from sfn.plan.stream_plan import StreamPlan, exactly, quantity
from sfn.stream.link import Link, link_plan
from sfn.stream.loss import bursts, independent
from sfn.stream.packet import Headers, packet_of
from sfn.stream.paths import paths_given
from sfn.stream.payload import linear
from sfn.stream.plan_text import read_text, text_of
from sfn.stream.planned import paths_of, plan_of
from sfn.stream.protection import Protection

TENTHS_MS = st.integers(0, 20_000).map(lambda n: Fraction(n, 10))


def through_json(record: StreamPlan) -> StreamPlan:
    """The record as a document brings it back."""
    return StreamPlan.model_validate_json(json.dumps(record.in_document()))


def typed(value: Fraction, *, comma: bool = False) -> str:
    """A number as people write it: whole, decimal with a point or a comma, or a fraction."""
    text = str(value) if value.denominator == 3 or value.denominator == 1 else f"{float(value):.1f}"
    return text.replace(".", ",") if comma else text


@given(
    packet_ms=st.sampled_from([Fraction(1, 3), Fraction(1, 8), Fraction(1), Fraction(4), Fraction(20, 3)]),
    network=TENTHS_MS,
    variation=TENTHS_MS,
    hops=st.integers(1, 9),
    parity=st.sampled_from(["none", "row", "column", "both"]),
    columns=st.integers(1, 20),
    rows=st.integers(1, 20),
    stamped=st.booleans(),
    second=st.booleans(),
    comma=st.booleans(),
)
def test_text_and_record_give_the_same_plan(
    packet_ms, network, variation, hops, parity, columns, rows, stamped, second, comma
):
    """The plan put together by hand from the figures drawn is that of the text, and that of the record made of it."""
    text = urlencode(
        {
            "payload": "left and right, linear", "packet_ms": str(packet_ms) if packet_ms != Fraction(1, 8) else "0.125",
            "network_ms": typed(network, comma=comma), "variation_ms": typed(variation), "hops": hops, "parity": parity,
            "columns": columns, "rows": rows, "time_stamped": "yes" if stamped else "no", "link_mbps": "100",
            "second_path": "yes" if second else "no",
        }
    )  # fmt: skip
    payload = linear(48_000, bits=24, channels=2)
    row, column = parity in ("row", "both"), parity in ("column", "both")
    expected = link_plan(
        payload,
        packet_of(payload, time_s=packet_ms / 1000),
        headers=Headers(),
        protection=Protection(
            columns=columns if row or column else 0,
            rows=rows if column else 1 if row else 0,
            row_parity=row,
            column_parity=column,
            second_path=second,
        ),
        link=Link(
            capacity_mbps=100,
            hops=hops,
            network_us=float(network * 1000),
            variation_us=float(variation * 1000),
            time_stamped=stamped,
        ),
    )

    record = read_text(text)

    assert expected == plan_of(record) == plan_of(through_json(record))
    assert record == through_json(record) == read_text(text_of(record))


@given(st.fractions(-(10**6), 10**6, max_denominator=10**6))
def test_no_number_is_rounded(value):
    """What is written into a record is what is read out of it, whole, decimal or fraction."""
    held = StreamPlan(network_ms=quantity(value))

    assert value == exactly(through_json(held).network_ms)


@given(st.integers(1, 5000), st.one_of(st.none(), st.integers(1, 60)))
def test_losses_come_through(thousandths_pct, burst):
    """The loss model of the figures drawn is that of the record."""
    text = urlencode({"loss_pct": thousandths_pct / 1000} | ({} if burst is None else {"burst_packets": burst}))
    ratio = thousandths_pct / 1000 / 100
    expected = independent(ratio) if burst is None else bursts(ratio, mean_burst_packets=burst)

    assert paths_given(expected) == paths_of(through_json(read_text(text, losses=True)))


def test_what_a_text_leaves_out_is_written_into_the_record():
    """A later default cannot change a plan that was saved: every key that counts is there, none that does not."""
    kept = read_text("packet_ms=1").in_document()

    assert {"bits", "packet_ms", "ip", "hops", "network_ms", "parity", "time_stamped"} <= set(kept)
    assert not {"columns", "rows", "coded_kbps", "sample_rate_khz", "loss_pct"} & set(kept)
