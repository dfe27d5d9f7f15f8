"""What an option of a command means when it is left out is what the page's field stands ready with, or both say how not.

One table: command, option, where the page's field stands. Fields of streams, losses and clocks take theirs from
`webapp.forms.usual`, others from the value in their template. A page's field without an option of the same meaning
(and the reverse) is not listed: there is nothing to hold.
"""

import argparse
import re
from fractions import Fraction
from pathlib import Path

import pytest

from sfn.cli import arrivals as arrivals_command, calibrate, correlate, holdover, loss, optimise, road, runs, stream
from sfn.stream.fields import PAYLOAD_KEYS
from webapp.coverage.road import USUAL_SPACING_M
from webapp.forms import stream as forms
from webapp.forms.usual import USUAL
from webapp.timing import offsets

TEMPLATES = Path(__file__).parents[1] / "templates"
COMMANDS = {
    "stream": stream, "loss": loss, "holdover": holdover, "arrivals": arrivals_command, "correlate": correlate,
    "calibrate": calibrate, "runs": runs, "optimise": optimise, "road": road,
}  # fmt: skip

_PLAN = (
    "composite_rate_khz", "transition_khz", "channels", "look_ahead_ms", "ip", "vlan_tags", "tunnel_bytes", "mtu_bytes",
    "parity", "repeat_after", "second_path", "parity_spread", "adapting", "g703", "link_mbps", "link_layer", "hops",
    "network_ms", "variation_ms", "differential_ms", "sender_ms", "receiver_ms", "burst_packets", "second_loss_pct",
    "second_burst_packets", "joint_loss_pct", "joint_burst_packets", "error_every_h", "greatest_latency_ms",
    "greatest_mbps",
)  # fmt: skip
_LOSS = (
    "burst_packets", "second_loss_pct", "second_burst_packets", "joint_loss_pct", "joint_burst_packets", "port", "source",
    "late_probability",
)  # fmt: skip
SAME = [
    *(("stream", name, USUAL[name]) for name in _PLAN),
    *(("loss", name, USUAL[name]) for name in _LOSS),
    ("holdover", "locked_us", USUAL["locked_us"]),
    ("optimise", "seed", offsets.USUAL["seed"]),
    ("optimise", "max_offset_us", offsets.USUAL["most_us"]),
    ("optimise", "max_move_us", offsets.USUAL["most_move_us"]),
    ("optimise", "max_changed", offsets.USUAL["most_changed"]),
    ("road", "spacing_m", str(USUAL_SPACING_M)),
]
# Command, option, the form's name, what the page stands ready with.
DIFFERENT = [
    ("stream", "columns", "columns"),
    ("stream", "rows", "rows"),
    ("stream", "bits", "bits"),
    ("stream", "frame_ms", "frame_ms"),
    ("stream", "packet_ms", "packet_ms"),
    ("stream", "loss_pct", "loss_pct"),
    ("loss", "packet_ms", "packet_ms"),
    ("loss", "loss_pct", "loss_pct"),
    ("holdover", "step_degc", "step_degc"),
    ("holdover", "swing_degc", "swing_degc"),
    ("holdover", "reaction_h", "reaction_h"),
    ("holdover", "frequency_offset", "own_frequency_offset"),
    ("holdover", "ageing_per_day", "own_ageing_per_day"),
    ("holdover", "temperature_per_degc", "own_temperature_per_degc"),
]
# Command, option, template, id of the input, or what stands in `typed.get` of it.
IN_TEMPLATES = [
    ("correlate", "reference_channel", "prove/measurements.html", "reference_channel"),
    ("correlate", "expected_us", "prove/measurements.html", "expected_us"),
    ("correlate", "search_us", "prove/measurements.html", "search_us"),
    ("arrivals", "reference_channel", "prove/measurements.html", "iq-channel"),
    ("arrivals", "launch_uncertainty_us", "prove/measurements.html", "iq-launch"),
    ("arrivals", "search_us", "prove/measurements.html", "iq-search"),
    ("arrivals", "spread_us", "prove/measurements.html", "iq-spread"),
    ("calibrate", "sectors", "prove/drives.html", "sectors"),
    ("calibrate", "stretch_m", "prove/drives.html", "stretch_m"),
    ("runs", "stretch_m", "prove/drives.html", "run-stretch"),
]


def option(command: str, name: str) -> argparse.Action:
    """One option as its command declares it."""
    parser = argparse.ArgumentParser()
    COMMANDS[command].arguments(parser)
    return next(action for action in parser._actions if action.dest == name)


def same(held: object, typed: str) -> bool:
    """Whether a command's default is what stands in a field."""
    if held is None or held is False:
        return typed in ("", "no")
    if isinstance(held, int | float | Fraction):
        return typed != "" and float(held) == pytest.approx(float(typed))
    return str(held) == typed


@pytest.mark.parametrize(("command", "name", "typed"), SAME)
def test_a_field_stands_ready_with_what_the_command_takes(command, name, typed):
    """Left out on either side, the same is meant."""
    assert same(option(command, name).default, typed), (option(command, name).default, typed)


@pytest.mark.parametrize(("command", "name", "template", "identifier"), IN_TEMPLATES)
def test_a_template_stands_ready_with_what_the_command_takes(command, name, template, identifier):
    """The same of values that a template has."""
    text = (TEMPLATES / template).read_text(encoding="utf-8")
    (value,) = re.findall(rf'<input id="{identifier}"[^>]*?value="(?:{{{{ typed\.get\("\w+", ")?([^"]*)"', text)

    assert same(option(command, name).default, value), value


@pytest.mark.parametrize(("command", "name", "field"), DIFFERENT)
def test_where_they_part_both_say_so(command, name, field):
    """The command's help names what the page stands ready with, and the page's help names the command."""
    asks = [
        ask
        for part in vars(forms).values()
        if isinstance(part, tuple)
        for ask in part
        if isinstance(ask, forms.Ask) and ask.name == field
    ]

    assert not same(option(command, name).default, USUAL[field])
    said = option(command, name).help or ""
    assert float(said.partition("page: ")[2].rstrip(")")) == float(USUAL[field])
    assert asks
    assert any("ommand" in ask.help for ask in asks)


def test_the_search_has_less_time_on_the_page_and_both_say_so():
    """A person waits for the page's."""
    text = (TEMPLATES / "timing/offsets.html").read_text(encoding="utf-8")

    assert (60.0, "20") == (option("optimise", "budget_s").default, offsets.USUAL["budget_s"])
    assert "60; page: 20" in (option("optimise", "budget_s").help or "")
    assert "The command takes 60 s." in text


def test_every_field_of_a_link_is_held():
    """A new figure of a stream plan with an option of its own name stands in one of the two lists."""
    parser = argparse.ArgumentParser()
    stream.arguments(parser)
    options = {action.dest for action in parser._actions}
    listed = {name for command, name, *_ in (*SAME, *DIFFERENT) if command == "stream"}
    kinds = {key for keys in PAYLOAD_KEYS.values() for key in keys} & {
        "coded_kbps",
        "rate_kbps",
    }  # they choose the payload

    assert (options & set(USUAL)) - listed - kinds == set()
