"""A real server in a process of its own, and a real Chromium."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
ROOT = Path(__file__).parents[2]
# Nothing of the browser's own may ask the network for anything.
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)

# Server, browser and two runs of tests share the cores: what a page shows at once is there after seconds at times.
expect.set_options(timeout=15_000)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Without Chromium the browser tests are left out by name on a user's machine; in CI that is a failure.

    In CI one that fell is run once more, on a page of its own: it is named, and falls if it falls twice.
    """
    in_ci = os.environ.get("CI") == "true"
    for item in items:
        if item.path.parent != Path(__file__).parent:
            continue
        if in_ci:
            item.add_marker(pytest.mark.flaky(reruns=1))
        elif not CHROMIUM:
            item.add_marker(pytest.mark.skip(reason=f"left out, no Chromium on this machine: {item.name}"))


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Name what was left out, and what fell once."""
    fell_once = terminalreporter.stats.get("rerun", [])
    if fell_once:
        terminalreporter.section("fell once, and was run again: a race in a page or in its test, to be looked at")
        for report in fell_once:
            terminalreporter.write_line(f"{report.nodeid}\n{report.longreprtext}")
    left_out = [
        r for r in terminalreporter.stats.get("skipped", []) if "no Chromium on this machine" in str(r.longrepr)
    ]
    if left_out:
        terminalreporter.section("not checked: there is no Chromium on this machine")
        for report in left_out:
            terminalreporter.write_line(report.nodeid)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium without a window."""
    assert CHROMIUM, "CI needs Chromium: .ci/run installs it"
    with sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield made
        made.close()


@pytest.fixture(scope="session")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where a freshly started application answers."""
    folder = tmp_path_factory.mktemp("data")
    subprocess.run([sys.executable, "-m", "sfn.study.warm"], cwd=ROOT, check=True)  # two minutes in a fresh clone
    command = [sys.executable, "-m", "webapp", "--port", "0", "--data", str(folder)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        assert server.stdout is not None
        line = server.stdout.readline()
        yield next(word for word in line.split() if word.startswith("http")).rstrip("/")
        server.terminate()
        server.wait(20)


@pytest.fixture(params=[(1280, 900), (390, 844)], ids=["desktop", "phone"])
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A page at desktop and at telephone width; anything the browser complains about fails the test."""
    width, height = request.param
    context = browser.new_context(viewport={"width": width, "height": height})
    made = context.new_page()
    complaints: list[str] = []
    made.on("pageerror", lambda error: complaints.append(str(error)))
    made.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    made.on(
        "request",
        lambda sent: (
            complaints.append(sent.url) if "127.0.0.1" not in sent.url and sent.url.startswith("http") else None
        ),
    )
    yield made
    context.close()
    assert complaints == []
