"""What a refusal costs the server, for bodies as large as the largest right ones: processor time and memory.

Each body goes over HTTP to a server of its own, forked from one that has loaded everything; the growth is of its
largest resident set (Linux alone: /proc). `python -m tests.bench.bench_refusals [WORD]` takes the cases with WORD.
"""

import copy
import gc
import http.client
import json
import os
import shutil
import signal
import socket
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import uvicorn

from webapp.__main__ import COLLECTED_AT
from webapp.app import create_app
from webapp.config.limits import Limits
from webapp.config.settings import read_settings
from webapp.shell.connections import protocol
from webapp.store.store import Store

EXAMPLE = json.loads((Path(__file__).parents[1] / "sfn" / "example-network.json").read_text(encoding="utf-8"))
AGAIN_N = 4
"""Further times: at the first the system gives the process its memory, which costs by machine as much again."""
JSON = {"Content-Type": "application/json"}


def largest() -> dict[str, Any]:
    """200 sites of 30 stages, each with patterns a degree apart in both planes."""
    document = copy.deepcopy(EXAMPLE)
    site, stage = document["sites"][0], document["stages"][0]
    pattern = [[angle, 3 + (angle % 7) / 10] for angle in range(360)]
    document |= {"stages": [], "sites": []}
    for i in range(200):
        ids = [f"s{i}-{k}" for k in range(30)]
        document["stages"] += [{**stage, "id": one} for one in ids]
        document["sites"].append(
            {
                **site,
                "id": f"site-{i}",
                "name": f"Site {i}",
                "position": {"text": f"{36 + i * 0.003:.4f} {-84 - i * 0.003:.4f}"},
                "chains": [{"route": "main", "stages": ids}],
                "antenna": {"horizontal": pattern, "vertical_plane": {"horizontal": pattern}},
            }
        )
    return document


def _changed(change: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    document = largest()
    change(document)
    return document


def _everywhere(document: dict[str, Any]) -> None:
    for site in document["sites"]:
        site["ground_m"] = "high"
    for stage in document["stages"]:
        stage["latency_us"] = -1


def documents() -> Iterator[tuple[str, Any]]:
    """Names of the cases and documents."""
    yield "right", largest()
    yield "one value of the last site", _changed(lambda d: d["sites"][-1].update(ground_m="high"))
    yield "one value of the first site", _changed(lambda d: d["sites"][0].update(ground_m="high"))
    yield "the last site names no stage", _changed(lambda d: d["sites"][-1]["chains"][0]["stages"].append("none"))
    yield "each site and each stage", _changed(_everywhere)
    yield "159 000 pairs of numbers as stages", EXAMPLE | {"stages": [[1, 2]] * 159_000}
    yield "159 000 empty lists as stages", EXAMPLE | {"stages": [[]] * 159_000}
    yield "59 000 objects of five keys as stages", EXAMPLE | {"stages": [dict.fromkeys("abcde", 1)] * 59_000}
    yield "19 900 numbers as notes", EXAMPLE | {"notes": [1] * 19_900}
    yield "450 numbers in each of 1 500 lists", EXAMPLE | {"notes": [[1] * 10] * 1_500}


def roads() -> Iterator[tuple[str, Any]]:
    """The same of a line and a log."""
    line = [[36 + i * 1e-6, -84.0] for i in range(20_000)]
    level = {"lat": 36.12345, "lon": -84.12345, "level_dbuvm": 54.3, "site": "north"}
    log = [level] * 49_999
    yield "last level", {"line": line, "log": [*log, level | {"level_dbuvm": "loud"}]}
    yield "first level", {"line": line, "log": [level | {"level_dbuvm": "loud"}, *log]}
    yield "site of the last level", {"line": line, "log": [*log, level | {"site": "none"}]}
    yield "every level", {"line": line, "log": [level | {"level_dbuvm": "loud"}] * 50_000}
    yield "last place of the line", {"line": [*line[:-1], [91, 0]], "log": log}
    yield "spacing", {"line": line, "log": log, "spacing_m": 1}


def cases() -> Iterator[tuple[str, str, Any]]:
    """Name, address, body."""
    for name, document in documents():
        yield f"document: {name}", "/api/networks", {"document": document, "author": "a", "reason": "b"}
    for name, body in roads():
        yield f"road: {name}", "/api/networks/1/road", body


def serve(port: int, data: str) -> None:
    """A server as `python -m webapp` has it."""
    settings = read_settings({"SFN_DELAYS_DATA": data})
    app = create_app(settings, Store(settings.database_url))
    gc.collect()
    gc.freeze()
    gc.set_threshold(*COLLECTED_AT)
    config = uvicorn.Config(app, port=port, http=protocol(Limits()), log_config=None, access_log=False)
    uvicorn.Server(config).run()


def sent(port: int, path: str, body: Any = None) -> tuple[int, bytes, float]:
    """Status, answer and seconds."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    text = None if body is None else json.dumps(body, separators=(",", ":"))
    began_s = time.perf_counter()
    connection.request("GET" if text is None else "POST", path, body=text, headers=JSON)
    answer = connection.getresponse()
    return answer.status, answer.read(), time.perf_counter() - began_s


def processor_s(pid: int) -> float:
    """Of a process, user and system."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(pid: int, key: str) -> float:
    """VmRSS or VmHWM."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith(key))


def measured(path: str, body: Any) -> str:
    """One case, in words."""
    data = tempfile.mkdtemp()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    pid = os.fork()
    if pid == 0:
        try:
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, 1)
            os.dup2(null, 2)
            serve(port, data)
        finally:
            os._exit(0)
    try:
        for _ in range(600):
            try:
                sent(port, "/api/networks")
                break
            except OSError:
                time.sleep(0.05)
        sent(port, "/api/networks", {"document": EXAMPLE, "author": "a", "reason": "b"})
        sent(port, path, {"author": "a"})  # whatever is loaded at the first use
        before_mb, before_s = resident_mb(pid, "VmRSS"), processor_s(pid)
        Path(f"/proc/{pid}/clear_refs").write_text("5")
        status, answer, seconds = sent(port, path, body)
        grown_mb, spent_s = resident_mb(pid, "VmHWM") - before_mb, processor_s(pid) - before_s
        before_s = processor_s(pid)
        for _ in range(AGAIN_N):
            sent(port, path, body)
        again_s = (processor_s(pid) - before_s) / AGAIN_N
    finally:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        shutil.rmtree(data, ignore_errors=True)
    figures = f"{status} {1e3 * spent_s:5.0f} ms processor, again {1e3 * again_s:5.0f} ms"
    figures += f" {1e3 * seconds:5.0f} ms clock {grown_mb:+5.0f} MB"
    return f"{figures} {len(answer):6} bytes of answer {answer[:240]!r}"


def main() -> None:
    """Print one line a case."""
    word = sys.argv[1] if len(sys.argv) > 1 else ""
    for name, path, body in cases():
        if word in name:
            size_mb = len(json.dumps(body, separators=(",", ":"))) / 1e6
            print(f"{name:45} {size_mb:4.1f} MB {measured(path, body)}", flush=True)


if __name__ == "__main__":
    main()
