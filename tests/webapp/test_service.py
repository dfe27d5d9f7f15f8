"""The service as a process: it starts without a home folder, ends at SIGTERM with its computations, and begins again."""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2 as httpx
import pytest

from tests.webapp.conftest import token_in
from webapp.__main__ import main

ROOT = Path(__file__).parents[2]


@contextmanager
def started(data: Path, log: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The real process with hardly an environment, and a home folder that cannot be; gives it and its address."""
    env = {
        "PATH": os.environ["PATH"], "HOME": "/dev/null/nowhere", "SFN_DELAYS_DATA": str(data),
        "SFN_DELAYS_LOG": "json", "OPENBLAS_NUM_THREADS": "1",
    }  # fmt: skip
    with log.open("w", encoding="utf-8") as written:
        process = subprocess.Popen(
            [sys.executable, "-m", "webapp", "--port", "0"], cwd=ROOT, env=env, text=True,
            stdout=subprocess.PIPE, stderr=written,
        )  # fmt: skip
        try:
            assert process.stdout is not None
            said = process.stdout.readline()
            found = re.search(r"open (http://\S+)/ in a browser", said)
            assert found, said + log.read_text(encoding="utf-8")
            yield process, found[1]
        finally:
            process.kill()
            process.communicate(timeout=30)


def test_it_ends_at_sigterm_with_its_computations_and_begins_again(tmp_path: Path) -> None:
    """Levels are being computed: the process ends by itself with 0, and what was saved is there at the next start."""
    data, log = tmp_path / "data", tmp_path / "log"
    with started(data, log) as (process, address), httpx.Client(base_url=address, timeout=120) as client:
        token = token_in(client.get("/").text)
        assert client.post("/networks/demo/fm_ridge", data={"csrf_token": token}).status_code == 303
        asked = client.post(
            "/networks/1/map/levels?pixel_m=100", data={"csrf_token": token}, headers={"Accept": "application/json"}
        )
        assert asked.status_code == 202, asked.text
        job = f"/jobs/{asked.json()['id']}"
        wanted = {"Accept": "application/json"}
        ends = time.monotonic() + 60
        while client.get(job, headers=wanted).json()["state"] == "waiting" and time.monotonic() < ends:
            time.sleep(0.05)
        assert client.get(job, headers=wanted).json()["state"] == "running"
        process.send_signal(signal.SIGTERM)
        assert process.wait(180) == 0  # a kernel that is being compiled cannot be stopped
    written = log.read_text(encoding="utf-8")
    assert '"message": "ending; computations that are stopped: 1"' in written
    assert "raceback" not in written
    with started(data, log) as (process, address):
        assert httpx.get(f"{address}/readyz", timeout=60).json() == {"status": "ready"}
        assert "/networks/1" in httpx.get(f"{address}/", timeout=60).text
        process.send_signal(signal.SIGTERM)
        assert process.wait(180) == 0  # a kernel that is being compiled cannot be stopped


def test_service_files_are_written_and_nothing_is_overwritten(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Four files, each once; no data folder is made for it."""
    folder = tmp_path / "there"
    assert main(["service-files", str(folder)]) == 0
    assert {file.name for file in folder.iterdir()} == {
        "Caddyfile", "Containerfile", "compose.yaml", "sfn-delays.service",
    }  # fmt: skip
    assert main(["--data", str(tmp_path / "data"), "service-files", str(folder)]) == 2
    assert "a new file" in capsys.readouterr().err
    assert not (tmp_path / "data").exists()


def test_the_containers_file_is_of_two_stages_and_not_roots(tmp_path: Path) -> None:
    """What runs is not root, and what built it is left behind."""
    text = (ROOT / "webapp" / "service_files" / "Containerfile").read_text(encoding="utf-8")
    steps = [line for line in text.splitlines() if line and not line.startswith(("#", " "))]
    stages = [n for n, line in enumerate(steps) if line.startswith("FROM ")]
    assert len(stages) == 2
    last = steps[stages[1] :]
    users = [line.split()[1] for line in last if line.startswith("USER ")]
    assert users
    assert "root" not in users[-1]
    assert not users[-1].startswith("0")
    assert any(line.startswith("COPY --from=made ") for line in last)
    assert "has not been built" in text


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze looks through the unit")
def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path: Path) -> None:
    """Its own reader, with the program's path exchanged for one that is there."""
    text = (ROOT / "webapp" / "service_files" / "sfn-delays.service").read_text(encoding="utf-8")
    unit = tmp_path / "sfn-delays.service"
    unit.write_text(text.replace("/opt/sfn-delays/bin/python", shutil.which("true") or "/bin/true"), encoding="utf-8")
    done = subprocess.run(["systemd-analyze", "verify", str(unit)], capture_output=True, text=True, timeout=60)
    ours = [line for line in (done.stdout + done.stderr).splitlines() if "sfn-delays" in line]
    assert ours == []
