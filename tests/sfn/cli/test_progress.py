"""How far a command has come: plain lines into a file or a log, one line that overwrites itself on a terminal."""

import re

import pytest

from sfn.cli import main, progress
from sfn.cli.progress import PLAIN_EVERY_S, progress_teller
from tests.sfn.networks import EXAMPLE_PATH


def test_plain_lines_come_at_intervals(capsys: pytest.CaptureFixture[str]) -> None:
    """Of a minute in steps of a second a line every ten seconds; what is over before says nothing."""
    now = [100.0]
    tell = progress_teller(clock=lambda: now[0])
    for second in range(61):
        now[0] = 100.0 + second
        tell("search" if second < 30 else "chain tolerances", second, 60)
    lines = capsys.readouterr().err.splitlines()
    assert lines == [
        "search: 16 %, 10 s", "search: 33 %, 20 s", "chain tolerances: 50 %, 30 s",
        "chain tolerances: 66 %, 40 s", "chain tolerances: 83 %, 50 s", "chain tolerances: 100 %, 60 s",
    ]  # fmt: skip
    short = progress_teller(clock=lambda: 0.0)
    for done in range(5):
        short("levels", done, 4)
    assert capsys.readouterr().err == ""


def test_a_terminal_has_one_line(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Every step overwrites the one before."""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    tell = progress_teller()
    tell("search", 1, 4)
    tell("search", 2, 0)
    assert capsys.readouterr().err == "\rsearch: 25 %   \rsearch: 200 %   "


def test_a_search_that_writes_into_a_file_tells_how_far_it_is(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Levels, search and what comes after it, each in plain lines on stderr; the answer is alone on stdout."""
    assert 5.0 <= PLAIN_EVERY_S <= 30.0
    monkeypatch.setattr(progress, "PLAIN_EVERY_S", 0.0)
    assert main(["optimise", str(EXAMPLE_PATH), "--pixel-m", "2000", "--budget-s", "1", "--json"]) == 0
    told = capsys.readouterr()
    assert told.out.startswith("{")
    lines = [line for line in told.err.splitlines() if re.fullmatch(r"[^\r%]+: \d+ %, \d+ s", line)]
    phases = {line.partition(":")[0] for line in lines}
    assert len(phases) >= 3
    assert "chain tolerances" in phases
    assert "\r" not in told.err
