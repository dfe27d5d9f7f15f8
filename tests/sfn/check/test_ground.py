"""What levels rest on is doubted by the check: averaged terrain, treetops without cover, usual air in warm countries."""

from dataclasses import replace

import numpy as np
import pytest

from sfn.answer.contours import document, features
from sfn.check import all_problems
from sfn.check.doubts import consequence_of
from sfn.check.ground import ground_basis_problems
from sfn.geodesy.sites import place
from sfn.study.contours import Contours
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.ground import Ground, ground_window, window_averaged
from sfn.terrain.heights import HeightGrid
from tests.sfn.networks import example


def fine(step_deg: float) -> Ground:
    """Ground of a few samples so close together."""
    return Ground(terrain_from_grid(HeightGrid(np.zeros((4, 4), np.float32), 48.0, 11.0, step_deg, step_deg), name="t"))


def test_a_network_too_large_for_its_terrain_is_remarked() -> None:
    """Over samples of a third of a metre the usual map averages, and the check says how much; over 30 m it does not."""
    network = example()
    found, none = (all_problems(network, ground=fine(step)) for step in (1.0 / 360_000.0, 1.0 / 3600.0))
    averaged = [p for p in found if p.code == "terrain-averaged"]

    assert len(averaged) == 1
    assert "samples. Ridges count too low" in averaged[0].what
    assert {t.site for t in averaged[0].touches} == {s.id for s in network.sites}
    assert consequence_of(averaged[0], tolerated_us=1.0) == "remark"
    assert not [p for p in none if p.code == "terrain-averaged"]


def test_terrain_finer_than_profiles_step_is_remarked() -> None:
    """Five metres are, twenty-one are not."""
    network = example()
    finer, usual = (
        [p for p in ground_basis_problems(network, place(network), fine(step)) if p.code == "terrain-finer-than-steps"]
        for step in (5.0 / 111_195.0, 1.0 / 3600.0)
    )

    assert len(finer) == 1
    assert "one every 20 m" in finer[0].what
    assert usual == []


@pytest.mark.parametrize("side_deg", [0.001, 0.4, 2.0])
def test_what_is_said_beforehand_is_what_is_read(side_deg: float) -> None:
    """How much coarser a window becomes is told without reading it."""
    ground, bounds = fine(1.0 / 1200.0), (48.0, 11.0, 48.0 + side_deg, 11.0 + side_deg)
    read = ground_window(
        ground, south_deg=bounds[0], west_deg=bounds[1], north_deg=bounds[2], east_deg=bounds[3], most_samples=50_000
    )

    assert read.averaged == window_averaged(ground, bounds, most_samples=50_000)


def test_files_of_contours_say_it() -> None:
    """GeoJSON and answer alike; nothing where terrain is as it is."""
    plain = Contours(at_dbuvm=60.0, smooth=False, sites=(), insides=())
    coarse = replace(plain, averaged=(3, 1, 1))

    assert "properties" not in features(plain)
    assert "mean of 3 x 3 samples" in features(coarse)["properties"]["terrain_averaged"]
    assert "mean of 3 x 3 samples" in document(coarse, file=None)["terrain_averaged"]


def test_treetops_without_cover_and_usual_air_near_the_equator() -> None:
    """Each with its own code; none where the plan says better."""
    network = example()
    placed = place(network)
    warm = {key: replace(at, lat_deg=12.0, lon_deg=20.0) for key, at in placed.items()}
    surface = replace(fine(1.0 / 1200.0), surface=True)
    told = network.model_copy(update={"delta_n": 60.0})

    def codes(*about: object) -> set[str]:
        """What is found."""
        return {p.code for p in ground_basis_problems(*about)}  # type: ignore[arg-type]

    assert "surface-without-cover" in codes(network, placed, surface)
    assert "surface-without-cover" not in codes(network, placed, replace(surface, cover=surface.terrain))
    assert "refractivity-usual" in codes(network, warm, Ground())
    assert "refractivity-usual" not in codes(told, warm, Ground()) | codes(network, placed, Ground())


def test_one_low_site_that_lowers_the_whole_country_is_asked_about() -> None:
    """Without terrain the plain lies at the lowest site's ground: 499 m below the others is let pass, 500 m is not."""
    network = example()  # 850, 900 and 560 m
    for low_m, expected in ((401.0, set()), (400.0, {"south"}), (350.0, {"north", "south"})):
        sites = [s.model_copy(update={"ground_m": low_m}) if s.id == "gap" else s for s in network.sites]
        found = [
            p
            for p in all_problems(network.model_copy(update={"sites": tuple(sites)}))
            if p.code == "far-above-the-plain"
        ]
        assert {t.site for p in found for t in p.touches} == expected
        assert all("the ground of Gap, the lowest site" in p.what for p in found)
        assert all(consequence_of(p, tolerated_us=1.0) == "remark" for p in found)
    level = fine(1.0 / 3600.0)
    assert not [p for p in all_problems(network, ground=level) if p.code == "far-above-the-plain"]
