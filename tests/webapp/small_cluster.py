"""A real scheduler and real workers on loopback, as processes of their own, for the tests of `webapp.work.workers`."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
BEGIN_S = 120.0
QUIET = {
    "DASK_DISTRIBUTED__DASHBOARD__LINK": "", "DASK_DISTRIBUTED__WORKER__MEMORY__SPILL": "False",
    "OPENBLAS_NUM_THREADS": "1",
}  # fmt: skip


def distributed_or_left_out() -> None:
    """In CI `distributed` must be there; on a user's machine what needs it is named as left out."""
    if find_spec("distributed") is None:
        assert os.environ.get("CI") != "true", "CI needs distributed (group dev)"
        pytest.skip("left out, distributed is not installed", allow_module_level=True)


def free_port() -> int:
    """A port of loopback that nobody listens at."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


class SmallCluster:
    """One scheduler, and workers of one thread without a nanny: one that is killed stays away."""

    def __init__(self, folder: Path, *, port: int | None = None) -> None:
        self._folder, self._port = folder, port or free_port()
        self.address = f"tcp://127.0.0.1:{self._port}"
        self.scheduler: subprocess.Popen[bytes] | None = None
        self.workers: list[subprocess.Popen[bytes]] = []

    def start_scheduler(self) -> None:
        """Begin it, and wait until it listens."""
        self.scheduler = self._run("scheduler", "scheduler", "--port", f"{self._port}", "--no-dashboard")
        ends = time.monotonic() + BEGIN_S
        while time.monotonic() < ends:
            with socket.socket() as asked:
                if asked.connect_ex(("127.0.0.1", self._port)) == 0:
                    return
            time.sleep(0.05)
        raise AssertionError(self.log("scheduler"))

    def start_worker(self, **environ: str) -> subprocess.Popen[bytes]:
        """Begin one more."""
        made = self._run(
            f"worker-{len(self.workers)}", "worker", self.address, "--nthreads", "1", "--no-nanny", "--no-dashboard",
            "--local-directory", str(self._folder / "scratch"), **environ,
        )  # fmt: skip
        self.workers.append(made)
        return made

    def log(self, name: str) -> str:
        """What a process has written."""
        return (self._folder / f"{name}.log").read_text(encoding="utf-8", errors="replace")

    def _run(self, name: str, *words: str, **environ: str) -> subprocess.Popen[bytes]:
        with (self._folder / f"{name}.log").open("w") as log:
            return subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_" + words[0], *words[1:], "--host", "127.0.0.1"],
                cwd=ROOT, env={**_bare(), **QUIET, **environ}, stdout=log, stderr=log,
            )  # fmt: skip

    def kill(self, process: "subprocess.Popen[bytes] | None") -> None:
        """SIGKILL, as a machine that loses its power."""
        if process is not None and process.poll() is None:
            process.send_signal(signal.SIGKILL)
            process.wait(10)

    def close(self) -> None:
        """End everything that was begun."""
        for one in (*self.workers, self.scheduler):
            self.kill(one)


def _bare() -> dict[str, str]:
    """The environment without settings of ours or of dask's."""
    return {name: value for name, value in os.environ.items() if not re.match("SFN_DELAYS_|DASK_", name)}


@contextmanager
def small_cluster(folder: Path, *, workers_n: int = 2, **environ: str) -> Iterator[SmallCluster]:
    """A scheduler and workers, ended afterwards."""
    made = SmallCluster(folder)
    try:
        made.start_scheduler()
        for _ in range(workers_n):
            made.start_worker(**environ)
        yield made
    finally:
        made.close()


def until(holds: Any, what: str, *, within_s: float = 120.0) -> None:
    """Wait until something holds."""
    ends = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < ends, f"not within {within_s} s: {what}"
        time.sleep(0.02)
