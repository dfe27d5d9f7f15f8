"""What optimise says of the settings of devices, held to every setting there is: brute force on small random networks.

The lattice is written here: a launch is the latency and the whole step nearest to what is wished, and an automatic
common delay follows the slowest chain. Only the reception of a set of launches is the engine's.
"""

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import combinations, product

import numpy as np
import pytest

from sfn.answer.optimise_document import document
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import read
from sfn.reception.coverage import coverage, usual_bounds
from sfn.solve.objective import score
from sfn.study.optimise import optimise
from sfn.study.optimised import Asked
from sfn.terrain.ground import Ground

PIXEL_M = 8000.0
FIXED_US = 2500.0
NONE_US = 1e-6


def invented(rng, sites_n, *, automatic, fields, routes):
    """A network of FM sites with coarse devices, its latencies and its steps."""
    latency = [float(rng.choice([600.0, 1000.0, 1400.0]) + np.round(rng.uniform(0, 50), 1)) for _ in range(sites_n)]
    steps = [float(rng.choice([5, 8, 10])) for _ in range(sites_n)]
    sites, stages = [], []
    for i in range(sites_n):
        stages.append(
            {"id": f"l{i}", "kind": "other", "latency_us": latency[i], "source": "measured", "date": "2026-09-14"}
        )
        field = {"unit": "us", "least": 0, "greatest": 4000, "sign": "later", "insertion_us": 0, "set": None}
        own = [field | {"name": "fine", "step": steps[i]}]
        if fields == 2:
            own.append(field | {"name": "coarse", "step": 8 * steps[i]})
        sites.append(
            {
                "id": f"s{i}",
                "name": f"Hill {i}",
                "position": {"text": f"{36.2 + rng.uniform(-0.15, 0.15):.5f}, {-84.2 + rng.uniform(-0.2, 0.2):.5f}"},
                "ground_m": 300 + int(rng.integers(0, 300)),
                "antenna_m": 60,
                "erp_kw": {"h": round(10 ** rng.uniform(-1, 0.7), 2), "v": 0},
                "on_air": True,
                "offset_us": 0,
                "offset_held": False,
                "fed_off_air_from": None,
                "delay_fields": own,
                "chains": [{"route": route, "stages": [f"l{i}"]} for route in ("main", "standby")[:routes]],
            }
        )  # fmt: skip
    tree = {
        "format": 1,
        "name": "invented",
        "service": "fm-stereo",
        "frequency_mhz": 98.3,
        "refractivity_n": 315,
        "delta_n": 45,
        "surface_refractivity_n0": 325,
        "receiver": {"height_m": 1.5},
        "reference_point": "studio output",
        "common_delay": {"mode": "automatic", "margin_us": 3} if automatic else {"mode": "fixed", "value_us": FIXED_US},
        "stages": stages,
        "sites": sites,
    }
    return read(json.dumps(tree)), np.array(latency), np.array(steps)


def launches_of(wishes, latency, step, *, common_us=None):
    """Launches (K, S) of wishes (K, S), by hand."""
    common = (latency - wishes).max(axis=1, keepdims=True) + 3.0 if common_us is None else common_us
    added = np.maximum(np.floor((common + wishes - latency) / step + 0.5), 0)
    return latency + step * added


def lattice(latency, step, most_us, *, held=(), common_us=None):
    """Every set of launches that wishes within the limit come to, as they differ, by trying wishes 0.5 us apart."""
    count = latency.size
    line = np.arange(-most_us, most_us + 0.25, 0.5)
    if common_us is not None:
        axes = [
            np.unique(launches_of((np.zeros(1) if i in held else line)[:, None], latency[i], step[i],
                                  common_us=common_us))
            for i in range(count)
        ]  # fmt: skip
        return np.array(list(product(*axes)))
    # an automatic one couples them: every set of wishes
    axes = [np.zeros(1) if i in held else line for i in range(count)]
    wishes = np.array(list(product(*axes)))
    made = launches_of(wishes, latency, step)
    return np.unique(np.round(made - made[:, :1], 6), axis=0)


def near(launches, step):
    """Launches one step of one site, or of two, away."""
    moves = [np.eye(step.size)[i] * sign * step[i] for i in range(step.size) for sign in (1, -1)]
    pairs = [one + other for one, other in combinations(moves, 2) if ((one != 0) & (other != 0)).sum() == 0]
    return [launches + move for move in (*moves, *pairs)]


CASES = [
    (seed, *case)
    for seed, case in enumerate(
        [(2, 20, False, 1, 1), (3, 20, False, 1, 1), (2, 12, True, 1, 1), (2, 20, False, 2, 2), (2, 15, True, 2, 1),
         (2, 12, True, 2, 2), (3, 5, True, 1, 1), (3, 12, False, 2, 1), (2, 40, False, 1, 2)]
    )
]  # fmt: skip
MISSED_PCT = []


@pytest.mark.parametrize(("seed", "sites_n", "most_us", "automatic", "fields", "routes"), CASES)
def test_no_setting_within_the_limits_is_better(seed, sites_n, most_us, automatic, fields, routes):
    """Free, one site held, and one device changed: held to brute force, a part of the freedom never beats the whole."""
    rng = np.random.default_rng(100 + seed)
    network, latency, step = invented(rng, sites_n, automatic=automatic, fields=fields, routes=routes)
    placed = place(network)
    grid = grid_for(usual_bounds(placed, ground=Ground()), pixel_m=PIXEL_M)
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(network, grid, placed=placed, ground=Ground(), executor=executor)
    common = None if automatic else FIXED_US
    asked = Asked(most_us=float(most_us), budget_s=0.5, by_area=True)
    ways = {"free": asked, "held": replace(asked, held=frozenset({"s1"}))}
    if not automatic:
        ways["one changed"] = replace(asked, most_changed=1)
    left, known = {}, {}

    def judged(what, launches):
        """What launches leave without service, reckoned once."""
        key = tuple(np.round(launches - launches[0], 6))
        if key not in known:
            known[key] = score(what, launches).without_service
        return known[key]

    for name, one in ways.items():
        found = optimise(network, computed, one, placed=placed)
        answer = document(found)
        now = launches_of(np.zeros((1, sites_n)), latency, step, common_us=common)[0]
        every = lattice(latency, step, most_us, held={1} if name == "held" else (), common_us=common)
        if name == "one changed":
            every = every[(np.abs(every - now) > NONE_US).sum(axis=1) <= 1]
        best = min(judged(found.what, launches) for launches in every)
        at = np.array([found.table.launches()[site] for site in found.what.sites])
        left[name] = answer["after"]["without_service"]
        assert any(np.ptp(at - launches) < 1e-4 for launches in every), (name, "not within the limits")
        assert judged(found.what, at) == pytest.approx(left[name], abs=1e-6)
        before = judged(found.what, now)
        missed = 100 * (left[name] - best) / (before - best) if before - best > NONE_US else 0.0
        MISSED_PCT.append(missed)
        assert missed <= 3.0, name
        assert answer["lower_bound"] <= best + NONE_US
        if answer["ended"] == "exhaustive":
            assert left[name] == pytest.approx(best, abs=1e-6), name
        assert (answer["ended"] == "exhaustive") == (routes == 1), name
        if answer["settled_on_devices"]:
            inside = {tuple(np.round(launches - launches[0], 4)) for launches in every}
            for other in near(at, step):
                if tuple(np.round(other - other[0], 4)) in inside:
                    assert judged(found.what, other) >= left[name] - NONE_US, (name, other - at)
    for name, value in left.items():
        assert left["free"] <= value + NONE_US, name


def test_half_of_them_miss_next_to_nothing():
    """The median of what was missed above is at most 1 %."""
    if len(MISSED_PCT) < len(CASES):
        pytest.skip("the networks above were not all looked at")
    assert float(np.median(MISSED_PCT)) <= 1.0
