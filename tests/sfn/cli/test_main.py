"""The command line never shows a traceback: refusals in words, and a reader that leaves early is no fault."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from sfn.cli import main
from tests.sfn.networks import EXAMPLE_PATH

ROOT = Path(__file__).parents[3]


def test_a_formulas_refusal_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Argument, value, unit and range, exit code 2."""
    arguments = [
        "path",
        "--profile",
        str(ROOT / "README.md"),
        "--frequency-mhz",
        "1",
        "--tx-height-m",
        "10",
        "--rx-height-m",
        "10",
    ]
    assert main([*arguments, "--polarisation", "H", "--time-pct", "50", "--tx", "50,0", "--rx", "50.1,0"]) == 2
    captured = capsys.readouterr()
    assert captured.err
    assert "Traceback" not in captured.err


def test_a_reader_that_has_seen_enough_is_no_fault() -> None:
    """``| head`` closes the pipe: nothing is said on stderr."""
    command = f'"{sys.executable}" -m sfn services --json | head -c 10'
    done = subprocess.run(["sh", "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)

    assert done.stderr == ""


def test_a_southern_place_is_no_option(capsys: pytest.CaptureFixture[str]) -> None:
    """A latitude that begins with a minus is taken as a value."""
    assert main(["point", str(EXAMPLE_PATH), "--at", "-33.9,18.4", "--json"]) == 2
    assert "lies 13168 km from North ridge" in capsys.readouterr().err


def test_check_says_that_no_report_stands_beside_a_document(capsys: pytest.CaptureFixture[str]) -> None:
    """An exported document has none of the application's reports: for people a line, for scripts a count."""
    assert main(["check", str(EXAMPLE_PATH)]) == 0
    assert "no report stands beside this document" in capsys.readouterr().out
    main(["check", "--json", str(EXAMPLE_PATH)])
    assert json.loads(capsys.readouterr().out)["reported_fields_n"] == 0
