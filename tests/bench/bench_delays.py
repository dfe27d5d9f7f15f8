"""Delay table of 200 sites x 30 stages, beside a plain sum in binary floats of the same table; and the whole answer."""

import json
import statistics
import time
from collections.abc import Callable
from pathlib import Path

from sfn.plan import Network, read
from sfn.timing import delay_table

EXAMPLE = Path(__file__).parents[1] / "sfn" / "example-network.json"
SITES, STAGES = 200, 30


def large() -> Network:
    """A network in which every site has a chain, a device and figures of its own."""
    tree = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    model = tree["sites"][1]
    tree["stages"], tree["sites"] = [], []
    for i in range(SITES):
        names = [f"s{i}-{j}" for j in range(STAGES)]
        for j, name in enumerate(names):
            latency = round(1000.1 + i + j * 1.37, 3)
            tree["stages"].append(
                {"id": name, "kind": "other", "latency_us": latency, "tolerance_us": 1, "source": "data sheet"}
            )
        fields = [field | {"insertion_us": i / 10} for field in model["delay_fields"]]
        tree["sites"].append(
            model | {"id": f"x{i}", "delay_fields": fields, "chains": [{"route": "main", "stages": names}]}
        )
    return read(json.dumps(tree))


def in_floats(network: Network) -> list[tuple[float, float, float]]:
    """The same arithmetic as a spreadsheet does it: sums and rounding in binary floats."""
    stages = {stage.id: stage for stage in network.stages}
    latency = {s.id: sum(stages[name].latency_us or 0.0 for name in s.chains[0].stages) for s in network.sites}
    common = max(latency[s.id] - s.offset_us for s in network.sites) + 500.0
    rows = []
    for site in network.sites:
        added = common + site.offset_us - latency[site.id]
        coarse = added // 1000.0
        rows.append((added, coarse, round((added - coarse * 1000.0) / 0.1) * 0.1))
    return rows


def median_ms(work: Callable[[], object]) -> float:
    """Median of 15 runs."""
    times = []
    for _ in range(15):
        start = time.perf_counter()
        work()
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


if __name__ == "__main__":
    network = large()
    ours, plain = median_ms(lambda: delay_table(network)), median_ms(lambda: in_floats(network))
    print(f"delay table, {SITES} sites x {STAGES} stages: {ours:.1f} ms (to reach: under 50 ms)")
    print(f"bare sums in binary floats, no records: {plain:.1f} ms; ratio {ours / plain:.1f}")
