"""Before and after: rows add up, and who gains and who loses is told apart."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from sfn.answer.zones import document
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.reception.coverage import coverage
from sfn.study.compared import compared
from sfn.study.what_if import WhatIf, tried
from sfn.study.zones import Zones, pair_fields, zones
from sfn.terrain.ground import Ground
from tests.sfn.networks import example

# The gap filler is given enough power to serve whole pixels, to listeners who are content with little.
NETWORK = example(
    lambda tree: [
        tree["sites"][2].update(erp_kw={"h": 5.0, "v": 5.0}),
        tree.update(thresholds={"adequate_snr_db": 15, "target_snr_db": 25}),
    ]
)

SERVED = ["clear stereo, with margin", "clear stereo, low margin", "clear, partly or wholly mono"]
LOST = ["distorted by our own transmitters", "disturbed by another station", "signal too weak"]


@pytest.fixture(scope="module")
def maps() -> tuple[Zones, Zones]:
    """The example as planned, and with a drifted clock and a site off air, with ten people in each pixel."""
    grid = grid_for((36.1, -84.4, 36.45, -84.0), pixel_m=1000)
    placed = place(NETWORK)
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(NETWORK, grid, placed=placed, ground=Ground(), executor=executor)
    made = []
    for what in (WhatIf(), WhatIf(clock_errors_us={"south": 40.0}, off_air=frozenset({"gap"}))):
        now = tried(NETWORK, what, placed=placed)
        made.append(zones(now.network, computed, now.launches, people=np.full(grid.pixels_n, 10.0)))
    return made[0], made[1]


def test_changes_add_up(maps: tuple[Zones, Zones]) -> None:
    """Gained minus lost is the change of the two adequate classes, and of all sites together."""
    found = compared(*maps)
    net = found.gained.area_km2 - found.lost.area_km2
    people = (found.gained.people or 0) - (found.lost.people or 0)

    assert [row.label for row in found.classes[:3]] == SERVED
    assert net == pytest.approx(sum(row.change.area_km2 for row in found.classes[:3]))
    assert net == pytest.approx(sum(row.change.area_km2 for row in found.sites))
    assert people == pytest.approx(sum(row.change.people or 0 for row in found.sites))
    assert found.gained.area_km2 > 0
    assert found.gained == compared(maps[1], maps[0]).lost


def test_a_site_off_air_serves_nobody(maps: tuple[Zones, Zones]) -> None:
    """Its row stays, with nothing in it."""
    gap = next(row for row in compared(*maps).sites if row.label.startswith("Gap"))

    assert gap.planned.area_km2 > 0
    assert (gap.tried.area_km2, gap.tried.people) == (0, 0)


def test_the_answer_counts_people_in_the_overlap(maps: tuple[Zones, Zones]) -> None:
    """Ten in each pixel of the zone."""
    zone = np.isfinite(maps[0].found.delay_spread_us).sum()

    assert document(maps[0], {})["overlap"]["people"] == 10 * zone


def test_sites_and_classes_add_up_to_the_classes(maps: tuple[Zones, Zones]) -> None:
    """Each class is split among the sites without rest, as planned and as tried; what is off the air has nothing."""
    found = compared(*maps)
    for k, row in enumerate(found.classes):
        for side in ("planned", "tried"):
            parts = [getattr(site.classes[k], side) for site in found.strongest]
            whole = getattr(row, side)
            assert sum(part.area_km2 for part in parts) == pytest.approx(whole.area_km2)
            assert sum(part.people for part in parts) == pytest.approx(whole.people)
    gap = next(site for site in found.strongest if site.label.startswith("Gap"))
    assert [row.label for row in gap.classes] == [*SERVED, *LOST]
    assert [row.tried.area_km2 for row in gap.classes] == [0] * len([*SERVED, *LOST])
    served = [sum(row.planned.area_km2 for row in site.classes[:3]) for site in found.strongest]
    assert served == pytest.approx([row.planned.area_km2 for row in found.sites])


def test_a_pair_is_compared_behind_the_receiving_antenna() -> None:
    """Wavefronts and the equal-signal band use what receivers get: the map's own level difference where the pair is the
    two strongest, and not that of the bare field.
    """
    network = example(
        lambda tree: tree["sites"].__delitem__(2) or tree.update(receiver={"height_m": 10, "antenna": "roof"})
    )
    grid, placed = grid_for((36.1, -84.4, 36.45, -84.0), pixel_m=2000), place(network)
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(network, grid, placed=placed, ground=Ground(), executor=executor)
    now = tried(network, WhatIf(), placed=placed)
    found = zones(now.network, computed, now.launches)
    delay, level = pair_fields(found, now.launches, "north", "south")
    shown = found.found.level_difference_db.reshape(grid.shape)
    known = np.isfinite(shown)

    np.testing.assert_allclose(np.abs(level[known]), np.abs(shown[known]), atol=1e-3)
    bare = computed.level_dbuvm[1].astype(float) - computed.level_dbuvm[0]
    assert np.abs(level - bare.reshape(grid.shape)).max() > 10.0  # BS.599: up to 12 dB from behind
    silent = zones(tried(network, WhatIf(off_air=frozenset({"south"})), placed=placed).network, computed, now.launches)
    assert np.isfinite(pair_fields(silent, now.launches, "north", "south")[1]).any()
    assert delay.shape == grid.shape
