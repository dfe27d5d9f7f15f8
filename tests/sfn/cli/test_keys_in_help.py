"""Every key of an answer, however deep, stands in the help of its command: answers are walked, not listed here."""

import json
import re

import pytest

from sfn.cli import main
from tests.sfn.networks import EXAMPLE_PATH

# Answers of another command, and maps whose keys are ids of sites.
ELSEWHERE = ("settings", "problems", "relays")
BY_SITE = ("offsets", "sensitivity")
LAYERS = re.compile(r"(payload|rtp|udp|ip|tunnel|ethernet|wire)(_bytes|_mbps)")


def keys(value: object) -> set[str]:
    """Every key of an answer."""
    if isinstance(value, list):
        return set().union(*(keys(one) for one in value)) if value else set()
    if not isinstance(value, dict):
        return set()
    found = set(value)
    for name, one in value.items():
        if name in BY_SITE:
            found |= set().union(*(keys(each) for each in one.values())) if one else set()
        elif name not in ELSEWHERE:
            found |= keys(one)
    return found


def unspoken(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> list[str]:
    """Keys of an answer that its help does not speak of."""
    assert 0 == main([*arguments, "--json"])
    found = keys(json.loads(capsys.readouterr().out))
    with pytest.raises(SystemExit):
        main([arguments[0], "--help"])
    text = capsys.readouterr().out
    assert len(found) > 5
    return sorted(key for key in found if not LAYERS.fullmatch(key) and not re.search(rf"\b{re.escape(key)}\b", text))


@pytest.mark.parametrize(
    "line",
    [
        "stream --digital-composite --packet-ms 1 --compare --advise --loss-pct 0.1 --greatest-latency-ms 20",
        "stream --dab-kbps 96 --g703",
        "loss --loss-pct 1 --packet-ms 4 --compare --blocks 2000",
        "holdover --limit-us 5 --oscillator ocxo",
        "holdover --limit-us 5 --site a:ocxo --site b:locked",
    ],
)
def test_commands_without_a_network(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Links, losses and clocks."""
    assert [] == unspoken(line.split(), capsys)


@pytest.mark.parametrize("second", [False, True])
def test_records(second: bool, tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """One record, and two."""
    path = tmp_path / "a.csv"
    rows = "".join(f"{p},{36_000 + 0.004 * p + (p * 7 % 13) * 1e-5:.6f}\n" for p in range(4000) if p % 1000 >= 5)
    path.write_text("sequence,arrival_s\n" + rows)
    more = ["--second-capture", str(path)] if second else []
    assert [] == unspoken(["loss", "--capture", str(path), *more, "--blocks", "2000"], capsys)


@pytest.mark.parametrize(
    "more", [["repeaters"], ["optimise", "--pixel-m", "1000", "--budget-s", "1", "--max-changed", "1", "--nights", "2"]]
)
def test_commands_on_a_network(more: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Sites fed off air, and offsets in two nights."""
    assert [] == unspoken([more[0], str(EXAMPLE_PATH), *more[1:]], capsys)
