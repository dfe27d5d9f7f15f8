"""Pages of one network with many site readings: first look, again, and after one more reading; processor time.

    python -m tests.bench.bench_readings [READINGS] [SETTINGS_ONLY_SHARE]

Twenty sites; each visit is an hour apart, most report today's settings, every third measures the launch too, some turn
a field. Reference: one second a page with 100,000.
"""

import random
import resource
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from tests.bench.bench_map_page import twenty_sites
from webapp.app import create_app
from webapp.config.settings import Settings
from webapp.store.store import Store

PAGES = ("", "/readings", "/timeline", "/sheets", "/change")
REFERENCE_S = 1.0


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


def main(readings_n: int) -> None:
    """Fill a store, then look."""
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(Path(folder), f"sqlite:///{folder}/store.db", session_key="bench")
        store = Store(settings.database_url)
        document = twenty_sites()
        network = store.create(document, author="bench", reason="bench").network_id
        with TestClient(create_app(settings, store), base_url="http://127.0.0.1:8430") as client:
            address = f"/networks/{network}"
            for site in document["sites"]:
                (route,) = client.get(f"/api/pages{address}/sheets/{site['id']}").json()["sheet"]["routes"][:1]
                fields = {field["name"]: field["value"] for field in route["fields"]}
                rows = visits(site["id"], readings_n // 20, fields, route["row"]["launch_us"])
                store.entries.add_many(network, revision=1, kind="reading", made_by="bench", rows=rows)
            print(f"{readings_n:,} readings of 20 sites; reference {REFERENCE_S} s a page")
            for page in PAGES:
                took = []
                for _ in range(3):
                    began = time.process_time()
                    answer = client.get(address + page)
                    took.append(time.process_time() - began)
                    assert answer.status_code == 200, (page, answer.status_code)
                told = ", ".join(f"{one:.2f}" for one in took)
                print(f"{page or 'network':10} {told} s; {len(answer.content) / 1e6:.2f} MB", flush=True)
        print(f"memory at most: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MB")
        store.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
