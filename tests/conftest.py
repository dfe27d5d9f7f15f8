"""Shared fixtures: the root of the tree, and the recorder of published checks."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# A busy machine is slow at random: how long an example takes says nothing about the code.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

ROOT = Path(__file__).parent.parent


def pytest_addoption(parser: pytest.Parser) -> None:
    """``--trust`` prints and stores the table of published checks."""
    parser.addoption("--trust", action="store_true", help="print every published check and store it for the trust page")


@pytest.fixture
def published(record_property: Callable[[str, object], None]) -> Callable[..., None]:
    """Compare one number of ours with a published one, and record both for the trust table.

    Call ``published("what", ours, theirs, tolerance=, unit=, source=, reason=)``; `source` names document,
    table or equation, or says "from memory".
    """

    def compare(
        what: str,
        ours: float,
        theirs: float,
        *,
        tolerance: float,
        unit: str,
        source: str,
        reason: str = "the published digits",
    ) -> None:
        record_property(
            "published",
            {
                "what": what,
                "ours": float(ours),
                "theirs": float(theirs),
                "tolerance": tolerance,
                "unit": unit,
                "source": source,
                "reason": reason,
            },
        )

        assert abs(ours - theirs) <= tolerance, (
            f"{what}: ours {ours!r}, {source} says {theirs!r}, tolerance {tolerance} {unit}"
        )

    return compare


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Print the trust table when asked."""
    if not config.getoption("--trust"):
        return
    rows = [
        value
        for report in terminalreporter.stats.get("passed", [])
        for key, value in report.user_properties
        if key == "published"
    ]
    for row in rows:
        row["difference"] = row["ours"] - row["theirs"]
        numbers = f"{row['ours']:>18.9g} {row['theirs']:>18.9g} {row['difference']:>+11.2e} {row['tolerance']:>9.2g}"
        terminalreporter.write_line(f"{row['what'][:60]:60} {numbers} {row['unit']:8} {row['source']}")
    text = json.dumps(rows, indent=1, ensure_ascii=False) + "\n"
    (ROOT / "webapp" / "trust.json").write_text(text, encoding="utf-8")
