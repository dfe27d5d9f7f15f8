"""An option changes the answer or is refused: every pair of options of the commands about links and clocks is walked."""

import argparse
import contextlib
import importlib
import io
import json
import random
from itertools import product

import pytest

from sfn.cli import main

STREAMS = (
    "--composite-khz 60 --bits 24 --packet-ms 1", "--digital-composite --packet-ms 1",
    "--linear-khz 48 --bits 24 --channels 1 --packet-ms 1", "--coded-kbps 256 --frame-ms 24", "--dab-kbps 96,128",
    "--dab-kbps 96 --g703", "--ts-mbps 20", "--t2-mi-mbps 20", "--rate-kbps 500 --packet-ms 4",
)  # fmt: skip
# What each option is given as; an option without a line here fails the test, so that a new one gets its own.
STREAM = {
    "composite_khz": "--composite-khz 60", "digital_composite": "--digital-composite", "linear_khz": "--linear-khz 32",
    "coded_kbps": "--coded-kbps 128", "dab_kbps": "--dab-kbps 64", "ts_mbps": "--ts-mbps 10",
    "t2_mi_mbps": "--t2-mi-mbps 10", "rate_kbps": "--rate-kbps 64", "bits": "--bits 20",
    "composite_rate_khz": "--composite-rate-khz 384", "transition_khz": "--transition-khz 80", "channels": "--channels 2",
    "whole_frames": "--whole-frames", "frame_ms": "--frame-ms 10", "look_ahead_ms": "--look-ahead-ms 3",
    "g703": "--g703", "edi_recovers": "--edi-recovers 2", "t2_mi_frame_ms": "--t2-mi-frame-ms 100",
    "headroom_db": "--headroom-db 6", "packet_ms": "--packet-ms 2", "grains": "--grains 3", "ip": "--ip 6",
    "no_rtp": "--no-rtp", "rtp_extension_bytes": "--rtp-extension-bytes 8", "vlan_tags": "--vlan-tags 1",
    "tunnel_bytes": "--tunnel-bytes 40", "mtu_bytes": "--mtu-bytes 900", "columns": "--columns 5", "rows": "--rows 6",
    "parity": "--parity column --columns 5 --rows 5", "parity_spread": "--parity-spread",
    "repeat_after": "--repeat-after 20", "second_path": "--second-path", "link_mbps": "--link-mbps 100",
    "link_layer": "--link-layer ip", "hops": "--hops 3", "network_ms": "--network-ms 5",
    "variation_ms": "--variation-ms 2", "differential_ms": "--differential-ms 3", "sender_ms": "--sender-ms 2",
    "receiver_ms": "--receiver-ms 2", "no_time_stamps": "--no-time-stamps", "adapting": "--adapting",
    "loss_pct": "--loss-pct 0.1", "burst_packets": "--burst-packets 5", "second_loss_pct": "--second-loss-pct 1",
    "second_burst_packets": "--second-burst-packets 7", "joint_loss_pct": "--joint-loss-pct 0.01",
    "joint_burst_packets": "--joint-burst-packets 3", "joint_interval_pct": "--joint-interval-pct 0.001,0.02",
    "error_every_h": "--error-every-h 24", "greatest_latency_ms": "--greatest-latency-ms 90",
    "greatest_mbps": "--greatest-mbps 1", "compare": "--compare",
}  # fmt: skip
LOSSES = (
    "--loss-pct 1 --packet-ms 4 --parity both --columns 4 --rows 5 --blocks 2000",
    "--loss-pct 0.1 --burst-packets 4 --packet-ms 4 --second-path",
)
LOSS = {
    "loss_pct": "--loss-pct 2", "burst_packets": "--burst-packets 3", "second_loss_pct": "--second-loss-pct 3",
    "second_burst_packets": "--second-burst-packets 6", "joint_loss_pct": "--joint-loss-pct 0.05",
    "joint_burst_packets": "--joint-burst-packets 2", "joint_interval_pct": "--joint-interval-pct 0.01,0.09",
    "capture": "--capture none.csv", "second_capture": "--second-capture none.csv", "port": "--port 5004",
    "source": "--source 0x1", "late_probability": "--late-probability 0.01", "keep_drift": "--keep-drift",
    "packet_ms": "--packet-ms 2", "columns": "--columns 5", "rows": "--rows 6",
    "parity": "--parity column --columns 5 --rows 5", "parity_spread": "--parity-spread",
    "repeat_after": "--repeat-after 20", "second_path": "--second-path", "seed": "--seed 9", "blocks": "--blocks 3000",
    "compare": "--compare",
}  # fmt: skip
CLOCKS = (
    "--limit-us 5 --oscillator ocxo", "--limit-us 5 --frequency-offset 1e-10",
    "--limit-us 5 --temperature-per-degc 1e-9 --swing-degc 8", "--limit-us 5 --site a:ocxo --site b:rubidium",
    "--limit-us 5 --site a:ocxo --site b:locked",
)  # fmt: skip
HOLDOVER = {
    "limit_us": "--limit-us 4", "oscillator": "--oscillator rubidium", "good": "--good", "initial_us": "--initial-us 1",
    "frequency_offset": "--frequency-offset 2e-10", "ageing_per_day": "--ageing-per-day 5e-10",
    "temperature_per_degc": "--temperature-per-degc 5e-11", "step_degc": "--step-degc 6", "swing_degc": "--swing-degc 9",
    "reaction_h": "--reaction-h 2", "locked_us": "--locked-us 0.4", "site": "--site c:ocxo",
}  # fmt: skip
SEPARATELY = {"stream": {"advise", "json", "help"}, "loss": {"json", "help"}, "holdover": {"json", "help"}}


def answer(line: str) -> str | None:
    """The JSON answer of a command; None where it is refused."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main([*line.split(), "--json"])
        except SystemExit as stopped:
            code = int(stopped.code or 0)
    if code != 0:
        assert err.getvalue().strip(), line
        return None
    return json.dumps(json.loads(out.getvalue()))


def declared(command: str) -> set[str]:
    """Every option of a command."""
    parser = argparse.ArgumentParser()
    importlib.import_module(f"sfn.cli.{command}").arguments(parser)
    return {action.dest for action in parser._actions}


@pytest.mark.parametrize(("command", "table"), [("stream", STREAM), ("loss", LOSS), ("holdover", HOLDOVER)])
def test_every_option_is_walked(command: str, table: dict[str, str]) -> None:
    """None is left out, none is gone."""
    assert declared(command) - SEPARATELY[command] == set(table)


def idle(command: str, bases: tuple[str, ...], table: dict[str, str], *, pairs: bool) -> list[str]:
    """Lines of which the last option changes nothing and is not refused."""
    found = []
    for base in bases:
        lines = (
            [base, *(f"{base} {more}" for name, more in table.items() if more.split()[0] not in base)]
            if pairs
            else [base]
        )
        for line in lines:
            alone = answer(f"{command} {line}")
            if alone is None:
                continue
            for more in table.values():
                if more.split()[0] not in line.split() and answer(f"{command} {line} {more}") == alone:
                    found.append(f"{line} {more}")
    return found


@pytest.mark.parametrize(
    ("command", "bases", "table"), [("stream", STREAMS, STREAM), ("loss", LOSSES, LOSS), ("holdover", CLOCKS, HOLDOVER)]
)
def test_an_option_counts_or_is_refused(command: str, bases: tuple[str, ...], table: dict[str, str]) -> None:
    """Beside every kind of payload, network or clock: the answer is another one, or the option is refused by name."""
    assert [] == idle(command, bases, table, pairs=False)


def test_an_option_beside_another_counts_or_is_refused() -> None:
    """A hundred lines of two options each, of all that there are."""
    rng = random.Random(18)
    lines = [(base, a, b) for base, a, b in product(STREAMS[-3:], STREAM.values(), STREAM.values()) if a != b]
    found = []
    for base, first, more in rng.sample(lines, 100):
        if first.split()[0] in base or more.split()[0] in f"{base} {first}".split():
            continue
        alone = answer(f"stream {base} {first}")
        if alone is not None and answer(f"stream {base} {first} {more}") == alone:
            found.append(f"{base} {first} {more}")
    assert [] == found


@pytest.mark.parametrize(
    ("line", "option"),
    [
        ("stream --linear-khz 48 --bits 24 --packet-ms 1 --link-layer wire", "--link-layer"),
        ("stream --linear-khz 48 --bits 24 --packet-ms 1 --hops 1", "--hops"),
        ("stream --rate-kbps 500 --packet-ms 4 --headroom-db 0", "--headroom-db"),
        ("holdover --limit-us 1 --oscillator ocxo --locked-us 0.1", "--locked-us"),
        ("loss --loss-pct 1 --packet-ms 1 --late-probability 1e-4", "--late-probability"),
        ("loss --loss-pct 1 --packet-ms 1 --seed 1", "--seed"),
    ],
)
def test_an_option_typed_with_its_usual_value_is_refused_too(
    line: str, option: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """What counts is that it was typed where it does nothing, not what it was set to."""
    assert 2 == main(line.split())
    assert f"{option} must not be given" in capsys.readouterr().err
