"""Every page of one network with many site readings, and of one with many revisions: first look, again, one more reading.

    python -m tests.bench.bench_readings [READINGS] [REVISIONS]

Twenty sites; each visit is an hour apart, most report today's settings, every third measures the launch too, some turn
a field. Processor time, beside the plain way: all entries of the network read as objects, once. Reference: one second a
page with 100,000 readings and with 10,000 revisions, and memory that hardly grows.
"""

import random
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from tests.bench.bench_map_page import twenty_sites
from webapp.app import ROUTERS, create_app
from webapp.config.settings import Settings
from webapp.store.store import Store

REFERENCE_S = 1.0
LEFT_OUT = (".pdf", ".zip", ".png", ".json", "export", "/stream", "/qr")
"""Files and what a map draws: their work is not that of the readings."""


def visits(site: str, number: int, fields: dict[str, float], launch_us: float) -> list[tuple[str, dict[str, Any]]]:
    """What was sent from one site."""
    chance, start = random.Random(site), datetime(2020, 1, 1, tzinfo=UTC)
    made = []
    for n in range(number):
        at = start + timedelta(hours=n)
        seen = [round(launch_us + chance.gauss(0, 0.05), 2)] if n % 3 == 0 else []
        turned = n % 50 == 49
        body = {
            "route": "main",
            "plan": {"launch_us": launch_us, **{f"field {name}": value for name, value in fields.items()}},
            "as_set": {name: f"{value + (1 if turned else 0)}" for name, value in fields.items()},
            "units": dict.fromkeys(fields, "us"),
            "readings_us": seen,
            "typed_in": ["reading-1"] if seen else [],
            "plane": "antenna" if seen else "",
            "test_cable_us": 0.0,
            "demodulator_us": 0.0,
            "texts": {"remarks": f"visit {n}"},
            "confirmed": [],
            "sending": f"{site}-{n}",
            "held_at": at.isoformat(),
            "taken_at": f"{at:%Y-%m-%d %H:%M}",
        }
        made.append((site, body))
    return made


def pages(network: int, site: str) -> Iterator[str]:
    """Addresses of a network's pages, out of the application's own routes."""
    for route in (one for router in ROUTERS for one in router.routes):
        if not isinstance(route, APIRoute) or "GET" not in (route.methods or ()):
            continue
        made = route.path.replace("{network_id}", str(network)).replace("{site_id}", site).replace("{number}", "1")
        if route.path.startswith("/networks/{network_id}") and "{" not in made and not made.endswith(LEFT_OUT):
            yield made


def looked(what: Callable[[], Any]) -> float:
    """Processor time of one look."""
    began = time.process_time()
    what()
    return time.process_time() - began


def rss_mb() -> int:
    """Memory of this process now."""
    (line,) = (one for one in Path("/proc/self/status").read_text().splitlines() if one.startswith("VmRSS"))
    return int(line.split()[1]) // 1024


def walk(client: TestClient, network: int, site: str, more: Callable[[], None]) -> None:
    """Print every page: first, again, after one more reading."""
    for address in dict.fromkeys(pages(network, site)):
        answer = client.get(address, follow_redirects=False)
        if answer.status_code not in (200, 422):
            continue
        first, again = (looked(partial(client.get, address)) for _ in range(2))
        more()
        after = looked(partial(client.get, address))
        slow = "  ABOVE" if max(again, after) > REFERENCE_S else ""
        size_mb = len(answer.content) / 1e6
        print(f"{address:44} {first:6.2f} {again:6.2f} {after:6.2f} s {size_mb:6.2f} MB{slow}", flush=True)


def main(readings_n: int, revisions_n: int) -> None:
    """Fill a store, then look."""
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(Path(folder), f"sqlite:///{folder}/store.db", session_key="bench")
        store, document = Store(settings.database_url), twenty_sites()
        network = store.create(document, author="bench", reason="bench").network_id
        with TestClient(create_app(settings, store), base_url="http://127.0.0.1:8430") as client:
            site, kept = document["sites"][0]["id"], []
            for one in document["sites"]:
                (route,) = client.get(f"/api/pages/networks/{network}/sheets/{one['id']}").json()["sheet"]["routes"][:1]
                fields = {field["name"]: field["value"] for field in route["fields"]}
                kept += visits(one["id"], readings_n // 20 + 1, fields, route["row"]["launch_us"])
            spare = kept[:: readings_n // 20 + 1]
            numbers = set(map(id, spare))
            rows = [one for one in kept if id(one) not in numbers]
            store.entries.add_many(network, revision=1, kind="reading", made_by="bench", rows=rows)
            del kept, rows
            empty_mb = rss_mb()
            began = time.process_time()
            client.get(f"/networks/{network}")
            print(f"{readings_n:,} readings, {empty_mb} MB before any is read; reference {REFERENCE_S} s a page")
            print(f"the first page of all reads every one: {time.process_time() - began:.2f} s; {rss_mb()} MB")
            plain = looked(lambda: store.entries.of(network))
            print(f"plain: all of them as objects, and nothing else: {plain:.2f} s; {rss_mb()} MB then")

            def more() -> None:
                """One more reading of the first site, now."""
                body = spare[0][1] | {"held_at": datetime.now(UTC).isoformat()}
                store.entries.add(network, revision=1, site_id=site, kind="reading", made_by="bench", body=body)

            print(f"{'page':44} {'first':>6} {'again':>6} {'more':>6}")
            walk(client, network, site, more)
            print(f"memory now {rss_mb()} MB, at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MB")
            if revisions_n:
                other = store.create(document, author="bench", reason="first").network_id
                for number in range(1, revisions_n):
                    changed = {**document, "notes": f"revision {number + 1}"}
                    store.save(other, changed, base_revision=number, author="bench", reason=f"change {number}")
                print(f"{revisions_n:,} revisions")
                walk(client, other, site, lambda: None)
                print(f"memory now {rss_mb()} MB")
        store.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
