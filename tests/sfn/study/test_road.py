"""A road against the point answer, against the speed of light, and against what is done to it."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sfn.answer.road_document import document
from sfn.answer.road_files import FORMS, road_csv, road_file, road_lines
from sfn.cli import main
from sfn.errors import PlanError
from sfn.geodesy.line import direct, inverse
from sfn.geodesy.sites import place
from sfn.plan import Network, read, read_file
from sfn.reception.classes import CLASSES
from sfn.reception.point import point_quality, with_verdict
from sfn.reception.quality import yardstick
from sfn.report.stamp import stamp
from sfn.study import point as point_answer
from sfn.study.road_plan import Line, line, on_line
from sfn.study.what_if import WhatIf
from sfn.survey.drive_log import DriveLog
from sfn.survey.track import track_of
from sfn.systems.ofdm import of_strategy
from sfn.terrain.ground import open_ground
from sfn.timing.planned_state import in_state

DEMOS = Path(__file__).parents[3] / "demo_sites"
CORNERS = [(36.19, -84.40), (36.25, -84.33), (36.36, -84.20), (36.42, -84.10)]


@pytest.fixture(scope="module")
def network() -> Network:
    """The ridge demo, over its terrain."""
    return read_file(DEMOS / "fm_ridge.json")


@pytest.fixture(scope="module")
def along(network: Network) -> Line:
    """A line through it, every 500 m."""
    ground = open_ground(network, folder=DEMOS)
    return line(network, track_of(CORNERS, source="test"), spacing_m=500.0, ground=ground, folder=DEMOS)


def test_a_planned_state_has_its_own_powers(network: Network) -> None:
    """Levels kept from today's powers are those that the state's own give when they are computed anew."""
    tree = network.model_dump(mode="json", exclude_none=True)
    first, second = (site["id"] for site in tree["sites"][:2])
    changes = [{"site": first, "power_db": -6.0, "offset_us": 12.5}, {"site": second, "on_air": False}]
    tree["planned"] = [{"name": "phase one", "date": "2027-01-01", "changes": changes}]
    today = read(json.dumps(tree))
    track = track_of(CORNERS[:2], source="test")
    kept = line(today, track, spacing_m=1000.0, folder=DEMOS)
    found = on_line(today, kept, WhatIf(state="phase one"))

    then = in_state(today, "phase one")
    anew = on_line(then, line(then, track, spacing_m=1000.0, folder=DEMOS), WhatIf(state="phase one")).found
    assert found.found.signals.level_dbuvm == pytest.approx(anew.signals.level_dbuvm, abs=1e-9, nan_ok=True)
    assert found.found.signals.level_1pct_dbuvm == pytest.approx(anew.signals.level_1pct_dbuvm, abs=1e-9, nan_ok=True)
    assert found.found.served_m == pytest.approx(anew.served_m)
    assert found.before is not None
    own = found.before.signals.level_dbuvm - found.found.signals.level_dbuvm
    assert own[0] == pytest.approx(6.0, abs=1e-9)
    assert any("phase one" in text for text in found.found.says)


def test_samples_equal_the_point_answer(network: Network, along: Line) -> None:
    """Levels, delays, class and margin of a sample are what the point page says there."""
    answer = document(on_line(network, along, WhatIf()))
    assert answer["before"] is None
    assert "planned_lost_m" not in answer["stretches"][0]
    ground = open_ground(network, folder=DEMOS)
    for sample in answer["samples"][3::15]:
        found = point_answer.point_signals(network, lat_deg=sample["lat"], lon_deg=sample["lon"], ground=ground)
        quality = point_quality(network, found, yardstick(network))
        assert quality is not None
        for mine, theirs in zip(sample["signals"], with_verdict(found, quality).signals, strict=True):
            assert mine["site"] == theirs.site
            assert mine["level_dbuvm"] == pytest.approx(theirs.level_dbuvm, abs=0.05)
            assert mine["delay_difference_us"] == pytest.approx(theirs.delay_difference_us, abs=1e-3)
            assert mine["significant"] == theirs.significant
        assert sample["quality_margin_db"] == pytest.approx(quality.margin_db, abs=0.3)
        assert sample["class"] == quality.class_name or abs(quality.margin_db) < 0.3
        for mode in ("stereo", "mono"):
            assert sample[f"{mode}_snr_db"] == pytest.approx(quality.answer[mode]["snr_local_db"], abs=0.3)


def test_ofdm_samples_bear_the_carrier_to_noise_and_interference_of_the_point() -> None:
    """C/(N+I) of a sample is that of the map's window strategy at the same point, quasi-optimal where none is named."""
    plain = read_file(DEMOS / "dab_plain.json")
    ground = open_ground(plain, folder=DEMOS)
    track = track_of([(52.62, 9.60), (52.74, 9.90)], source="plain")
    made = on_line(plain, line(plain, track, spacing_m=2000.0, ground=ground, folder=DEMOS), WhatIf())
    seen = 0
    for sample in document(made)["samples"][::4]:
        found = point_answer.point_signals(plain, lat_deg=sample["lat"], lon_deg=sample["lon"], ground=ground)
        quality = point_quality(plain, found, yardstick(plain))
        if quality is None:
            continue
        line_there = of_strategy(quality.answer, "quasi-optimal")
        assert sample["cni_db"] == pytest.approx(line_there["cni_db"], abs=0.3)
        assert "stereo_snr_db" not in sample
        seen += 1
    assert seen > 2


def test_stretches_tell_before_and_after(network: Network, along: Line) -> None:
    """What is lost on a stretch as planned and as tried; all of the plan's stretches hold what the plan loses."""
    made = on_line(network, along, WhatIf({"summit": -12.0}))
    assert made.before is not None
    answer = document(made)
    was, now = answer["before"]["stretches"], answer["stretches"]
    plan = on_line(network, along, WhatIf())

    assert [s["lost_m"] for s in was] == [s.lost_m for s in plan.found.stretches]
    assert answer["checksum"] == document(plan)["checksum"]
    whole = made.before.between(0.0, along.samples.length_m)
    assert whole[0] == pytest.approx(sum(s["lost_m"] for s in was))
    assert whole[1] == pytest.approx(min(s["margin_db"] for s in was))
    for one in now:
        assert 0 <= one["planned_lost_m"] <= one["to_m"] - one["from_m"] + 1e-6
        assert one["planned_lost_m"] == pytest.approx(made.before.between(one["from_m"], one["to_m"])[0])
    # Nothing tried moves nothing: a part of the plan against itself.
    for one in was:
        assert plan.found.between(one["from_m"], one["to_m"]) == pytest.approx((one["lost_m"], one["margin_db"]))
    assert any(one["tried_lost_m"] != one["lost_m"] for one in was)


def test_between_two_sites_a_kilometre_is_twice_its_travel_time() -> None:
    """On the line of two sites the delay difference changes by 2 n / c = 6.673 us a kilometre (N 315)."""
    document_ = json.loads((DEMOS / "fm_ridge.json").read_text())
    network = read_file(DEMOS / "fm_ridge.json")
    assert document_["refractivity_n"] == 315
    placed = place(network)
    a, b = placed["summit"], placed["north"]
    whole, azimuth, _ = inverse(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg)
    ends = [direct(a.lat_deg, a.lon_deg, azimuth_deg=azimuth, ground_m=whole * part) for part in (0.3, 0.7)]
    track = track_of([(float(lat), float(lon)) for lat, lon in ends], source="between")
    made = on_line(network, line(network, track, spacing_m=1000.0, folder=DEMOS), WhatIf())
    i, k = made.found.sites.index("summit"), made.found.sites.index("north")
    delay_us = made.found.delay_difference_us[k] - made.found.delay_difference_us[i]
    per_km = np.diff(delay_us)[:-1] / np.diff(made.found.samples.distance_m)[:-1] * 1000

    # The slant of some hundred metres over kilometres takes off less than 1 %.
    assert per_km == pytest.approx(-2e9 * 1.000315 / 299_792_458, rel=0.01)


def test_names_and_numbers_of_a_stretch_are_those_of_its_worst_place(network: Network, along: Line) -> None:
    """Held to the samples of the document: the worst of each stretch has these names, in this order, with this sign."""
    answer = document(on_line(network, along, WhatIf({"summit": -30.0, "west": 20.0})))
    assert len(answer["stretches"]) > 1
    for stretch in answer["stretches"]:
        (worst,) = [s for s in answer["samples"] if (s["lat"], s["lon"]) == (stretch["lat"], stretch["lon"])]
        by_name = {signal["site"]: signal for signal in worst["signals"]}
        first, second = worst["signals"][:2]
        assert (stretch["hurts"], stretch["wanted"], stretch["second"]) == (
            worst["hurts"], first["site"], second["site"],
        )  # fmt: skip
        for key in ("delay_difference_us", "level_difference_db"):
            assert stretch[key] == pytest.approx(second[key])
        if stretch["hurts"] not in (None, stretch["wanted"]):
            assert stretch["hurts_delay_us"] == pytest.approx(by_name[stretch["hurts"]]["delay_difference_us"])
            assert stretch["hurts_level_db"] == pytest.approx(by_name[stretch["hurts"]]["level_difference_db"])


def test_lengths_add_up_and_stretches_hold_what_is_lost(network: Network, along: Line) -> None:
    """Every metre is in one class or unknown; stretches hold just the metres without service."""
    found = on_line(network, along, WhatIf()).found
    whole_m = found.samples.length_m

    assert sum(found.class_m) + found.unknown_m == pytest.approx(whole_m)
    assert sum(s.lost_m for s in found.stretches) == pytest.approx(found.class_m[2] + found.class_m[3])
    assert all(s.from_m < s.to_m <= whole_m + 1e-6 and s.margin_db < 0 for s in found.stretches)
    assert [s.lost_m for s in found.stretches] == sorted((s.lost_m for s in found.stretches), reverse=True)
    worst = found.stretches[0]
    assert worst.class_name == CLASSES[2]
    assert worst.hurts in found.sites
    assert worst.nearest


def test_what_is_tried_moves_delays_alone(network: Network, along: Line) -> None:
    """An offset of +10 us at one site moves its delays by just that; taking it off the air takes it off the road."""
    plan, later = on_line(network, along, WhatIf()), on_line(network, along, WhatIf({"summit": 10.0}))
    i, k = plan.found.sites.index("summit"), plan.found.sites.index("north")

    def difference(of: Any) -> Any:
        return of.found.delay_difference_us[i] - of.found.delay_difference_us[k]

    moved = difference(later) - difference(plan)
    assert moved[np.isfinite(moved)] == pytest.approx(10.0, abs=0.2)  # settings go in steps
    assert np.array_equal(later.found.level_dbuvm, plan.found.level_dbuvm, equal_nan=True)
    assert plan.before is None
    assert later.before is not None
    assert later.before.class_m == plan.found.class_m
    off = on_line(network, along, WhatIf(off_air=frozenset({"summit"})))
    assert "summit" not in off.found.sites
    every = on_line(network, along, WhatIf(off_air=frozenset(s.id for s in network.sites)))
    assert every.found.unknown_m == pytest.approx(along.samples.length_m)
    assert document(every)["samples"][0]["signals"] == []
    with pytest.raises(PlanError, match="no site 'nowhere'"):
        on_line(network, along, WhatIf({"nowhere": 1.0}))


def test_a_log_is_laid_on_the_road(network: Network, along: Line) -> None:
    """Measured 4 dB below the prediction of one site: bias +4 dB; what lies off the road is counted, not used."""
    i = along.signals.sites.index("north")
    lat, lon, level = along.samples.lat_deg, along.samples.lon_deg, along.signals.level_dbuvm[i]
    log = DriveLog(
        np.append(lat, 36.0), np.append(lon, -84.0), np.append(level - 4.0, 50.0), ("north",) * (len(lat) + 1)
    )
    from dataclasses import replace

    found = on_line(network, replace(along, log=log), WhatIf()).measured
    assert found is not None
    assert found.bias_db == pytest.approx(4.0, abs=0.1)  # the last piece is taken together with its neighbour
    assert found.off_n == 1
    away = replace(log, lat_deg=log.lat_deg + 5.0)
    with pytest.raises(PlanError, match="lies nowhere on the road"):
        on_line(network, replace(along, log=away), WhatIf())


def test_files_bear_unit_revision_and_try(network: Network, along: Line) -> None:
    """Every form says what it is of; that of a try says so first."""
    made = on_line(network, along, WhatIf({"summit": 10.0}))
    by = stamp(network, revision=7, made_at=datetime.now(UTC), says=made.found.says)
    table = road_csv(made.found, by).splitlines()
    lines = road_lines(made.found, by)

    assert "TRY_summit_delay_difference_us_revision_7" in table[0]
    assert f"checksum {by.checksum}" in table[0]
    assert "TRY_stereo_snr_db_revision_7" in table[0]
    assert len(table) == 1 + len(along.samples.distance_m)
    assert lines["properties"]["revision"] == "7"
    assert all(f["properties"]["state"].startswith("TRY") for f in lines["features"])
    length = sum(
        f["properties"]["to_m"] - f["properties"]["from_m"]
        for f in lines["features"]
        if f["geometry"]["type"] == "LineString"
    )
    assert length == pytest.approx(along.samples.length_m, abs=1.0)
    for form in FORMS:
        assert len(road_file(made, form, by)) > 500
    assert b"TRY, not the plan" in road_file(made, "kml", by)


def test_the_chart_says_where_the_terrain_leaves_out_a_path(network: Network, along: Line) -> None:
    """Hatching and its words stand on a chart that leaves the terrain, and on no other."""
    ground = open_ground(network, folder=DEMOS)
    beyond = track_of([(36.25, -84.33), (36.25, -84.60)], source="beyond")
    leaving = on_line(network, line(network, beyond, spacing_m=500.0, ground=ground, folder=DEMOS), WhatIf())
    assert not leaving.found.covered.all()
    assert not all(sample["covered"] for sample in document(leaving)["samples"])
    said = []
    for made in (leaving, on_line(network, along, WhatIf())):
        by = stamp(network, revision=1, made_at=datetime.now(UTC))
        said.append(b"terrain leaves out" in road_file(made, "svg", by))
    assert said == [True, False]


def test_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command answers like the functions, writes its file, and refuses in words."""
    (tmp_path / "l.csv").write_text("lat,lon\n" + "".join(f"{a},{b}\n" for a, b in CORNERS))
    asked = ["road", str(DEMOS / "fm_ridge.json"), str(tmp_path / "l.csv"), "--spacing-m", "2000"]
    assert main([*asked, "--offset", "summit:-5", "--json", "--out", str(tmp_path / "r.kml")]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["tried"]
    assert answer["before"]["served_m"] > 0
    assert "<kml" in (tmp_path / "r.kml").read_text()
    assert main([*asked, "--off", "gap"]) == 0
    assert "TRY: Long gap: not transmitting" in capsys.readouterr().out
    assert main([*asked, "--offset", "summit"]) == 2
    assert "SITE:VALUE" in capsys.readouterr().err
    assert main([*asked, "--out", str(tmp_path / "r.doc")]) == 2
    assert "one of .csv" in capsys.readouterr().err
