"""On any road of any network a stretch's names, numbers and class are those of one place, written as A minus B."""

import csv
import io
import json
import re
from datetime import UTC, datetime
from itertools import pairwise
from math import hypot
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyproj import Geod

from sfn.answer.road_document import document
from sfn.answer.road_files import road_csv, road_lines
from sfn.cli.road import _difference
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.report.stamp import stamp
from sfn.study.road_plan import PlannedRoad, line, on_line
from sfn.study.what_if import WhatIf, tried
from sfn.survey.track import track_of

DEMOS = Path(__file__).parents[2] / "demo_sites"
DEMO = json.loads((DEMOS / "dab_plain.json").read_text(encoding="utf-8"))
US_PER_M = (1 + 315e-6) / 299.792458
WGS84 = Geod(ellps="WGS84")


def random_network(seed: int) -> Network:
    """Three to six sites strewn over a plain, of any power and offset, for DAB, DVB-T and FM."""
    rng = np.random.default_rng(seed)
    tree: dict[str, Any] = json.loads(json.dumps(DEMO))
    tree["sites"] = tree["sites"][: int(rng.integers(3, 7))]
    tree["service"], tree["frequency_mhz"] = [
        ("dab-mode-1", 225.648), ("fm-stereo", 98.0), ("dvb-t-8k-1/4-8mhz", 690.0)
    ][seed % 3]  # fmt: skip
    for site in tree["sites"]:
        site["position"] = {"text": f"{52.7 + rng.uniform(-0.4, 0.4):.5f}, {10.0 + rng.uniform(-0.7, 0.7):.5f}"}
        site["offset_us"] = float(rng.uniform(-250, 250))
        site["erp_kw"] = {plane: float(10 ** rng.uniform(-1.5, 1.0)) for plane in site["erp_kw"]}
    tree.pop("listeners", None)
    return read(json.dumps(tree))


def random_road(seed: int) -> PlannedRoad:
    """A zigzag through a random network, every 2 km."""
    network, rng = random_network(seed), np.random.default_rng(1000 + seed)
    corners = [(52.7 + rng.uniform(-0.4, 0.4), 10.0 + rng.uniform(-0.7, 0.7)) for _ in range(4)]
    return on_line(network, line(network, track_of(corners, source="random"), spacing_m=2000.0, folder=DEMOS), WhatIf())


def arrivals_at(network: Network, lat: float, lon: float, ground_m: float) -> dict[str, float]:
    """Arrival of each site: launch plus n/c times the slanted geodesic. [us]"""
    placed = place(network)
    launches = tried(network, WhatIf(), placed=placed).launches
    made = {}
    for site in network.sites:
        if site.on_air:
            at = placed[site.id]
            along_m = WGS84.inv(at.lon_deg, at.lat_deg, lon, lat)[2]
            up_m = site.ground_m + site.antenna_m - ground_m - network.receiver.height_m
            made[site.id] = launches[site.id] + hypot(along_m, up_m) * US_PER_M
    return made


@pytest.mark.parametrize("seed", range(12))
def test_a_stretch_speaks_of_one_place(seed: int) -> None:
    """Class, who hurts, who is strongest and both differences are recomputed from the place's levels and arrivals."""
    made = random_road(seed)
    network, answer = made.found.network, document(made)
    samples = {(one["lat"], one["lon"]): one for one in answer["samples"]}
    names = {site.id: site.name for site in network.sites}
    for said, one in zip(answer["stretches"], made.found.stretches, strict=True):
        here = samples[said["lat"], said["lon"]]
        inside = [
            k for k in answer["samples"]
            if said["from_m"] - 1 <= k["distance_m"] <= said["to_m"] + 1 and k["class"] in (
                "upset by our own sites", "too weak", "disturbed by another station"
            )
        ]  # fmt: skip
        assert said["margin_db"] == pytest.approx(min(k["quality_margin_db"] for k in inside))
        assert said["margin_db"] == here["quality_margin_db"]
        assert (said["worst_class"], said["worst_for_people"]) == (here["class"], here["for_people"])
        assert said["hurts"] == here["hurts"]
        level = {k["site"]: k["level_dbuvm"] for k in here["signals"]}
        order = sorted(level, key=lambda site: -level[site])
        assert [said["wanted"], said["second"]] == order[:2]
        arrival = arrivals_at(network, said["lat"], said["lon"], here["rx_ground_m"] or 0.0)
        pairs = {(said["second"], said["wanted"]): (said["level_difference_db"], said["delay_difference_us"])}
        if said["hurts"] not in (None, said["wanted"]):
            pairs[said["hurts"], said["wanted"]] = said["hurts_level_db"], said["hurts_delay_us"]
            assert (said["hurts_level_db"], said["hurts_delay_us"]) == (here["hurts_level_db"], here["hurts_delay_us"])
        else:
            assert said["hurts_delay_us"] is here["hurts_delay_us"] is None
        for (first, second), (level_db, delay_us) in pairs.items():
            assert level_db == pytest.approx(level[first] - level[second], abs=1e-4)
            assert delay_us == pytest.approx(arrival[first] - arrival[second], abs=0.05)
        told = re.fullmatch(r"(.+) minus (.+) ([+−]?[\d\u202f\u2009  .]+)", _difference(one, names))
        assert told is not None
        first, second = (next(site for site, name in names.items() if name == word) for word in told.groups()[:2])
        value = float(re.sub(r"[^\d.+-]", "", told[3].replace("−", "-")))
        assert value == pytest.approx(arrival[first] - arrival[second], abs=0.11)


def test_the_files_name_the_pair_of_each_number() -> None:
    """CSV: hurts minus strongest stands beside second minus strongest; GeoJSON: a worst place has its own class."""
    seen = 0
    for seed in range(6):
        made = random_road(seed)
        answer, by = document(made), stamp(made.found.network, revision=None, made_at=datetime.now(UTC))
        rows = list(csv.reader(io.StringIO(road_csv(made.found, by))))
        at = {name: next(k for k, head in enumerate(rows[0]) if head.startswith(name)) for name in (
            "hurts_delay_us", "hurts_level_db", "delay_difference_us",
        )}  # fmt: skip
        for row, one in zip(rows[1:], answer["samples"], strict=True):
            for name, k in at.items():
                assert row[k] == "" if one[name] is None else float(row[k]) == pytest.approx(one[name], abs=0.01)
            seen += one["hurts_delay_us"] is not None
        marks = [f["properties"] for f in road_lines(made.found, by)["features"] if f["properties"].get("kind")]
        assert [m["label"] for m in marks] == [
            f"{n}: {s['worst_for_people']}" for n, s in enumerate(answer["stretches"], start=1)
        ]
    assert seen > 20
    assert all(a["lost_m"] >= b["lost_m"] for a, b in pairwise(answer["stretches"]))
