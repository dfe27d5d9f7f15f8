"""How long the application takes to start, and the library to open a demo: fresh processes, by the clock.

From the start of ``python -m webapp`` until it says that it is ready (imports, every route and form, an empty
database made), and of ``import sfn; sfn.load_demo(...)``. References: 3 s and 0.5 s; beside each run, what importing
the libraries alone takes that the application cannot do without. Compiled modules are kept as Python keeps them: a
first run is not counted.

    python -m tests.bench.bench_start [runs]
"""

import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

ROOT = Path(__file__).parents[2]
START_S, DEMO_S = 3.0, 0.5
LIBRARIES = "import numpy, numba, rasterio, pyproj, sqlalchemy, alembic.config, fastapi, jinja2, uvicorn, pydantic"
DEMO = "import sfn; sfn.load_demo('fm_ridge')"


def kept() -> dict[str, str]:
    """The environment, in which Python keeps what it compiled."""
    return {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}


def ready_s() -> float:
    """A server's start on a free port, with a data folder of its own; ended afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        begun = time.perf_counter()
        command = [sys.executable, "-m", "webapp", "--port", "0", "--data", folder]
        server = subprocess.Popen(command, cwd=ROOT, env=kept(), stdout=subprocess.PIPE, text=True)
        assert server.stdout is not None
        try:
            for line in server.stdout:
                if "is ready" in line:
                    return time.perf_counter() - begun
            raise RuntimeError("the server ended before it was ready")
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(30)
            server.stdout.close()


def run_s(code: str) -> float:
    """A process that does this and ends."""
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=kept(), check=True)
    return time.perf_counter() - begun


def main(runs: int) -> None:
    """Print medians, and the least, in turn."""
    rows = [(ready_s(), run_s(LIBRARIES), run_s(DEMO)) for _ in range(runs + 1)][1:]
    names = ("application ready", "libraries alone", "load_demo")
    for name, values, most in zip(names, zip(*rows, strict=True), (START_S, None, DEMO_S), strict=True):
        asked = "" if most is None else f", asked {most} s: ratio {median(values) / most:.2f}"
        print(f"{name}: median {median(values):.2f} s, least {min(values):.2f} s of {runs}{asked}")
    print(f"application over libraries: {median(row[0] / row[1] for row in rows):.2f}; load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
