"""Shared fixtures: the root of the tree, and the recorder of published checks."""

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# A busy machine is slow at random: how long an example takes says nothing about the code.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

ROOT = Path(__file__).parent.parent
# One letter of every script that CI has a font for: .ci/run installs them.
SCRIPTS = "北서かกकعא"
LEFT_OUT = ("no poppler on this machine", "no fonts on this machine", "no PostgreSQL on this machine")


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


@pytest.fixture(scope="session")
def poppler() -> None:
    """Poppler's programs, which read what was printed; in CI they must be there."""
    if shutil.which("pdftotext") is None or shutil.which("pdftoppm") is None:
        assert os.environ.get("CI") != "true", "CI needs poppler-utils: .ci/run installs it"
        pytest.skip(f"left out, {LEFT_OUT[0]} (Debian: poppler-utils)")


@pytest.fixture(scope="session")
def paper_fonts(poppler: None) -> None:
    """Fonts of every script that paper is tested with; in CI they must be there."""
    from webapp.paper.fonts import Fonts

    if missing := Fonts(SCRIPTS).missing:
        named = ", ".join(f"{one.script} (Debian: {one.package})" for one in missing)
        assert os.environ.get("CI") != "true", f"CI needs fonts for {named}: .ci/run installs them"
        pytest.skip(f"left out, {LEFT_OUT[1]} for {named}")


def _name_what_was_left_out(terminalreporter: Any) -> None:
    """Tests that ask for programs or fonts that a user's machine may lack."""
    for why in LEFT_OUT:
        left_out = [r for r in terminalreporter.stats.get("skipped", []) if why in str(r.longrepr)]
        if left_out:
            terminalreporter.section(f"not checked: {why}")
            for report in left_out:
                terminalreporter.write_line(report.nodeid)


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Name what was left out; print the trust table when asked."""
    _name_what_was_left_out(terminalreporter)
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
