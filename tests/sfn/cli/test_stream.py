"""The stream command: its document, its table, its refusals."""

import json
import re

import pytest

from sfn.cli import main


def test_json_is_one_flat_document(capsys: pytest.CaptureFixture[str]) -> None:
    """Digital composite with 5 x 10 parity: the rate that pencil arithmetic gives, and exit 0."""
    arguments = "stream --digital-composite --packet-ms 1 --parity both --columns 5 --rows 10 --json"

    assert 0 == main(arguments.split())
    answer = json.loads(capsys.readouterr().out)
    assert 6.4448 == answer["ip_mbps"]
    assert 4.608 == answer["payload_mbps"]
    assert 1000 + 54_000 == answer["latency_us"]
    assert 146.3 == round(answer["dynamic_range_db"], 1)


def test_every_key_is_described_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    """No key is printed that ``--help`` does not speak of."""
    assert 0 == main("stream --linear-khz 48 --bits 24 --packet-ms 1/3 --compare --json".split())
    answer = json.loads(capsys.readouterr().out)
    with pytest.raises(SystemExit):
        main(["stream", "--help"])
    text = " ".join(capsys.readouterr().out.split())
    layered = tuple(f"{layer}_{u}" for layer in ("payload", "rtp", "udp", "ip", "tunnel", "ethernet", "wire")
                    for u in ("bytes", "mbps"))  # fmt: skip

    assert [] == [key for key in answer if key not in layered and f"`{key}`" not in text]
    assert all(f" {layer}" in text for layer in ("payload", "rtp", "udp", "tunnel", "ethernet", "wire"))


def test_the_table_is_readable(capsys: pytest.CaptureFixture[str]) -> None:
    """People get layers, elements, share and problems."""
    arguments = "stream --composite-khz 75 --composite-rate-khz 160 --bits 16 --packet-ms 2.5 --link-mbps 2 --adapting --no-time-stamps --compare"

    assert 0 == main(arguments.split())
    out = capsys.readouterr().out
    assert "composite to 75 kHz, 160 kHz x 16 bit" in out
    assert "2.6880" in out
    assert "error: stream: link.adapting: the receive buffer changes by itself" in out
    assert "error: stream: link.capacity_mbps:" in out


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ("--packet-ms 1", "exactly one of --composite-khz"),
        ("--composite-khz 60 --packet-ms 1", "--bits must be given"),
        ("--digital-composite", "a packet time must be chosen"),
        ("--composite-khz 60 --composite-rate-khz 128 --bits 16 --packet-ms 1/3", "nearest are"),
        ("--coded-kbps 128", "--frame-ms must be given"),
        ("--digital-composite --packet-ms 1 --columns 5 --rows 5", "parity must be row, column or both"),
        ("--digital-composite --packet-ms 1 --link-layer air", "capacity_layer must be one of"),
        ("--rate-kbps 64 --packet-ms 1 --advise", "--loss-pct must be given with --advise"),
        ("--dab-kbps 97", "multiples of 8 kbit/s, got 97"),
    ],
)
def test_what_cannot_be_planned_exits_two(arguments: str, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    """One line on stderr, exit 2, never a traceback."""
    assert 2 == main(["stream", *arguments.split()])
    assert text in capsys.readouterr().err


@pytest.mark.parametrize(
    "payload",
    ["--dab-kbps 96,128", "--ts-mbps 22.39", "--rate-kbps 500 --packet-ms 10",
     "--coded-kbps 128 --frame-ms 24"],
)  # fmt: skip
def test_every_payload_can_be_planned(payload: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each kind of payload gives a document with rising rates."""
    assert 0 == main(["stream", *payload.split(), "--json"])
    answer = json.loads(capsys.readouterr().out)
    assert answer["payload_mbps"] < answer["ip_mbps"] < answer["wire_mbps"]


def test_a_number_that_is_none_exits_two(capsys: pytest.CaptureFixture[str]) -> None:
    """A packet time that is no number is refused by the argument's name, as argparse does."""
    with pytest.raises(SystemExit) as refusal:
        main(["stream", "--dab-kbps", "96,x"])

    assert 2 == refusal.value.code
    assert "argument --dab-kbps: a number such as 2.5 or 1/3 is expected, got 'x'" in capsys.readouterr().err


def test_advice_for_one_error_a_week(capsys: pytest.CaptureFixture[str]) -> None:
    """A coded stereo channel over a bursty path: choices come in order, within the ceilings, with reasons."""
    arguments = (
        "stream --coded-kbps 128 --frame-ms 20 --network-ms 10 --advise --loss-pct 0.01 --burst-packets 2 "
        "--second-loss-pct 0.05 --greatest-latency-ms 150"
    )
    assert 0 == main([*arguments.split(), "--json"])
    choices = json.loads(capsys.readouterr().out)["choices"]
    assert choices[0]["meets"]
    assert choices[0]["error_every_s"] >= 604_800
    assert all(c["latency_us"] <= 150_000 for c in choices if c["residual_kind"])
    assert any("at most 150" in c["decides"] for c in choices)
    assert 0 == main(arguments.split())
    assert "protections meet the target" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ("--rate-kbps 64 --packet-ms 1 --bits 16", "--bits must not be given without --composite-khz"),
        (
            "--linear-khz 48 --bits 24 --packet-ms 1 --transition-khz 3",
            "--transition-khz must not be given without --composite-khz",
        ),
        ("--rate-kbps 64 --packet-ms 1 --no-rtp --rtp-extension-bytes 8", "--rtp-extension-bytes must not be given"),
        ("--dab-kbps 96 --no-rtp", "--no-rtp must not be given together with --dab-kbps"),
        ("--ts-mbps 20 --frame-ms 20", "--frame-ms must not be given without --coded-kbps"),
        ("--ts-mbps 20 --g703", "--g703 must not be given without --dab-kbps"),
        ("--dab-kbps 96 --g703 --mtu-bytes 500", "--mtu-bytes must not be given together with --g703"),
        ("--dab-kbps 96 --g703 --edi-recovers 2", "--edi-recovers must not be given together with --g703"),
        (
            "--ts-mbps 20 --advise --loss-pct 1 --second-loss-pct 1 --joint-burst-packets 3",
            "--joint-burst-packets must not be given without --joint-loss-pct or --joint-interval-pct: of independent",
        ),
        (
            "--ts-mbps 20 --advise --loss-pct 1 --second-loss-pct 1 --joint-loss-pct 0 --joint-burst-packets 3",
            "--joint-burst-packets must not be given where both paths lose nothing together",
        ),
        (
            "--ts-mbps 20 --advise --loss-pct 1 --joint-burst-packets 3",
            "--joint-burst-packets must not be given without --second-loss-pct",
        ),
        ("--ts-mbps 20 --hops 3", "--hops must not be given without --link-mbps"),
        ("--ts-mbps 20 --differential-ms 3", "--differential-ms must not be given without --second-path"),
        ("--ts-mbps 20 --adapting", "--adapting must not be given without --no-time-stamps"),
        ("--ts-mbps 20 --loss-pct 3", "--loss-pct must not be given without --advise"),
        ("--ts-mbps 20 --advise --loss-pct 3 --second-path", "--second-path must not be given together with --advise"),
        ("--ts-mbps 20 --packet-ms 1 --grains 7", "--grains must not be given together with --packet-ms"),
    ],
)
def test_options_that_would_do_nothing_are_refused(arguments, text, capsys) -> None:
    """By name, with what they need."""
    if "--grains" in arguments:
        arguments = arguments.replace("--ts-mbps 20", "--rate-kbps 64")
    assert 2 == main(["stream", *arguments.split()])
    assert text in capsys.readouterr().err


def test_a_constant_bit_stream_has_no_largest_packet(capsys) -> None:
    """6144 bytes each 24 ms are a whole line of 2.048 Mbit/s: more than a framed E1 carries, and no packet anywhere."""
    assert 0 == main("stream --dab-kbps 96 --g703 --json".split())
    answer = json.loads(capsys.readouterr().out)

    assert (None, None, []) == (answer["mtu_bytes"], answer["fits_mtu"], answer["problems"])
    assert (32, False, False) == (answer["time_slots"], answer["fits_e1"], answer["fits_t1"])
    assert 6144 * 8 / 0.024 / 1e6 == pytest.approx(answer["payload_mbps"]) == pytest.approx(2.048)
    layers = [
        f"{name}_{unit}" for name in ("rtp", "udp", "ip", "tunnel", "ethernet", "wire") for unit in ("bytes", "mbps")
    ]
    others = ("packets_per_s", "month_bytes", "all_paths_wire_mbps", "overhead_ratio", "e1_links", "t1_links")
    assert {None} == {answer[key] for key in (*layers, *others)}
    assert "one whole line of 2.048 Mbit/s" in answer["line"]
    assert 0 == main("stream --dab-kbps 96 --g703 --link-mbps 2.048".split())
    printed = capsys.readouterr().out
    assert "packet" not in printed.replace("no packets", "")
    assert "takes 100.0 % of the link" in printed


@pytest.mark.parametrize(("layer", "size"), [("wire", 290 + 38), ("ethernet", 290 + 18), ("ip", 290), ("payload", 250)])
def test_serialisation_counts_the_layer_of_the_capacity(layer: str, size: int, capsys) -> None:
    """250 bytes at 2 Mbit/s: as many bytes as that rate is meant to count, and no others."""
    arguments = f"stream --rate-kbps 500 --packet-ms 4 --link-mbps 2 --link-layer {layer} --json"
    assert 0 == main(arguments.split())
    elements = {e["name"]: e["latency_us"] for e in json.loads(capsys.readouterr().out)["elements"]}

    assert 8 * size / 2 == elements["serialisation"]


def test_one_of_a_thing_stands_in_the_singular(capsys: pytest.CaptureFixture[str]) -> None:
    """One fragment a packet, a repeat after one packet, one stream that fits."""
    line = "stream --dab-kbps 96,96,96,96,96,96,96,96 --repeat-after 1 --link-mbps 2.5"
    assert 0 == main(line.split())
    out = capsys.readouterr().out

    assert "\n1 fragment a packet, " in out
    assert "repeat after 1 packet\n" in out
    assert "1 such stream fits" in out
    assert not re.search(r"\b1 (packets|fragments|such streams)\b", out)
