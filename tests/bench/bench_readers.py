"""Fifty people reading at once: how long a page takes, of a server in a process of its own over loopback.

    python -m tests.bench.bench_readers [READERS] [SECONDS]

Three demos and a network of twenty sites; each reader opens a page of one of them by chance, looks at it for two to four
seconds, opens the next. Reference: 95 of 100 pages within a second on two cores, which readers and server share.
Beside them half as many, and each page once and alone.
"""

import http.client
import json
import os
import random
import signal
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from tests.bench.bench_map_page import twenty_sites
from tests.bench.bench_readings import pages
from tests.bench.bench_refusals import sent, serve

DEMOS = Path(__file__).parents[2] / "demo_sites"
REFERENCE_S = 1.0
MOST_READERS, MOST_S = 100, 120.0
"""A load test is bounded, on this machine alone."""


def reader(port: int, addresses: list[str], until_s: float, seed: int, found: list[tuple[str, float, int]]) -> None:
    """One person."""
    chance = random.Random(seed)
    time.sleep(chance.uniform(0, 3))
    while time.perf_counter() < until_s:
        address = chance.choice(addresses)
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        began_s = time.perf_counter()
        connection.request("GET", address)
        answer = connection.getresponse()
        answer.read()
        found.append((address, time.perf_counter() - began_s, answer.status))
        connection.close()
        time.sleep(chance.uniform(2, 4))


def read_by(readers_n: int, port: int, addresses: list[str], seconds: float) -> str:
    """All of them at once, in words."""
    found: list[tuple[str, float, int]] = []
    until_s = time.perf_counter() + seconds
    people = [
        threading.Thread(target=reader, args=(port, addresses, until_s, seed, found)) for seed in range(readers_n)
    ]
    for one in people:
        one.start()
    for one in people:
        one.join()
    took = np.array([seconds for _, seconds, _ in found])
    wrong = [(address, status) for address, _, status in found if status not in (200, 422)]
    slowest = sorted(found, key=lambda one: -one[1])[:3]
    p50, p95 = np.percentile(took, [50, 95])
    said = f"{readers_n} readers, {len(took)} pages: median {p50:.3f} s, p95 {p95:.3f} s, most {took.max():.2f} s"
    said += f"; p95 / reference {p95 / REFERENCE_S:.2f}; {len(wrong)} not answered"
    return said + "".join(f"\n    {seconds:.2f} s {address}" for address, seconds, _ in slowest)


def main(readers_n: int, seconds: float) -> None:
    """Start, look at each page once, then let them read."""
    with tempfile.TemporaryDirectory() as data:
        port = 8431
        pid = os.fork()
        if pid == 0:
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, 1)
            os.dup2(null, 2)
            serve(port, data)
            os._exit(0)
        try:
            for _ in range(600):
                try:
                    sent(port, "/healthz")
                    break
                except OSError:
                    time.sleep(0.1)
            demos = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(DEMOS.glob("*.json"))]
            addresses = []
            for document in [*demos, twenty_sites()]:
                status, answer, _ = sent(port, "/api/networks", {"document": document, "author": "a", "reason": "b"})
                assert status == 201, answer[:300]
                number, site = json.loads(answer)["network"], document["sites"][0]["id"]
                addresses += list(dict.fromkeys(pages(number, site)))
            once = [(address, *sent(port, address)[::2]) for address in addresses]
            addresses = [address for address, status, _ in once if status in (200, 422)]
            print(f"{len(addresses)} pages, each once and alone: {np.percentile([s for *_, s in once], 95):.3f} s p95")
            print(read_by(readers_n, port, addresses, seconds))
            print(read_by(readers_n // 2, port, addresses, seconds / 2))
        finally:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)


if __name__ == "__main__":
    main(
        min(int(sys.argv[1]) if len(sys.argv) > 1 else 50, MOST_READERS),
        min(float(sys.argv[2]) if len(sys.argv) > 2 else 40.0, MOST_S),
    )
