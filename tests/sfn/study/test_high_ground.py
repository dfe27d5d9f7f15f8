"""High ground and tables of masts: tops that were put there are found, and cells are read or refused by name."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sfn.answer.site_files import read_sites
from sfn.errors import PlanError
from sfn.geodesy.line import inverse
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.study.high_ground import AskedGround, high_ground
from sfn.study.mast import Mast
from sfn.study.mast_table import masts_of
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.ground import Ground
from sfn.terrain.heights import HeightGrid
from tests.sfn.networks import EXAMPLE_PATH

NORTH, WEST, STEP = 36.45, -84.45, 1 / 1200
# Row and column of a top, and how high it rises above the plain of 200 m: two, one close to the first, one too low.
TOPS = ((120, 120, 300.0), (300, 420, 180.0), (120, 130, 250.0), (480, 120, 12.0))
AREA = (36.0, -84.44, 36.44, -84.0)
NOBODY = tuple(np.zeros(0) for _ in range(3))


def country() -> tuple[Network, Ground]:
    """A plain with tops, and a network in it."""
    row, column = np.mgrid[0:560, 0:560]
    height = np.full(row.shape, 200.0)
    for top_row, top_column, rise in TOPS:
        height += rise * np.exp(-((row - top_row) ** 2 + (column - top_column) ** 2) / (2 * 3.0**2))
    ground = Ground(terrain=terrain_from_grid(HeightGrid(height.astype(np.float32), NORTH, WEST, STEP, STEP), name="t"))
    tree = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    tree["terrain"] = {"source": "ridge"}
    return read(json.dumps(tree)), ground


def found(asked: AskedGround, targets: Any = NOBODY) -> tuple[tuple[Mast, ...], tuple[str, ...]]:
    """High ground in that country."""
    network, ground = country()
    return high_ground(network, asked, placed=place(network), ground=ground, targets=targets)


def at(row: float, column: float) -> tuple[float, float]:
    """Where a sample lies. [degrees]"""
    return NORTH - row * STEP, WEST + column * STEP


def test_the_tops_that_were_put_there_are_found() -> None:
    """Both high tops stand there to a step; the one close to a higher one, and the one of 12 m, do not."""
    lat, lon = at(210, 270)
    masts, said = found(AskedGround(AREA, 30.0, 0.1, near=("Middle", lat, lon), apart_m=2000.0))

    assert len(masts) == 2
    for top_row, top_column, rise in TOPS[:2]:
        top_lat, top_lon = at(top_row, top_column)
        near = [one for one in masts if inverse(one.at.lat_deg, one.at.lon_deg, top_lat, top_lon)[0] < 10.0]
        assert len(near) == 1
        assert near[0].ground_m == pytest.approx(200.0 + rise, abs=1.0)
        assert near[0].antenna_m == 30.0
    assert said[0].startswith("2 points in the area are the highest within 2.0")
    assert "0 of 2 do not see Middle over the bare ground" in said


def test_a_top_behind_another_does_not_see_the_place() -> None:
    """The second top stands between the first and the place; over so many kilometres it hides it."""
    # On the far side of the second top, in line with the first, low behind it.
    beyond = 300 + 180 * 0.06, 420 + 300 * 0.06
    lat, lon = at(*beyond)
    masts, said = found(AskedGround(AREA, 10.0, 0.1, near=("Shadow", lat, lon), apart_m=2000.0))

    assert [round(one.ground_m) for one in masts] == [380]
    assert "1 of 2 do not see Shadow over the bare ground" in said


def test_those_that_see_most_come_first_and_no_more_than_asked() -> None:
    """Of the places not served, weighed; the lower top sees more of them, and one alone is asked for."""
    # Just behind the higher top, hidden from the other by it; and in sight of both.
    hidden, open_ = at(300 + 180 * 0.06, 420 + 300 * 0.06), at(210, 270)
    targets = (np.array([hidden[0], open_[0]]), np.array([hidden[1], open_[1]]), np.array([500.0, 100.0]))
    masts, said = found(AskedGround(AREA, 10.0, 0.1, apart_m=2000.0, most_n=1), targets)

    assert [round(one.ground_m) for one in masts] == [380]
    assert any("of the 2 that do, the 1 that see most are taken" in one for one in said)
    assert any("it sees 600 of those looked for" in one for one in masts[0].said)


def test_how_far_and_how_far_apart() -> None:
    """Within 4 km of a place near the second top the first is not looked at; 500 m apart a third stands there."""
    lat, lon = at(290, 405)
    near, _ = found(AskedGround(AREA, 30.0, 0.1, near=("Here", lat, lon), within_m=4000.0))
    lat, lon = at(210, 270)
    apart, said = found(AskedGround(AREA, 30.0, 0.1, near=("Middle", lat, lon), apart_m=500.0))

    assert [round(one.ground_m) for one in near] == [380]
    assert sorted(round(one.ground_m, -1) for one in apart) == [380, 450, 500]
    assert "heights every 93 m" in said[0]


def _without_terrain(_: Network) -> Ground:
    return Ground()


@pytest.mark.parametrize(
    ("asked", "ground", "codes"),
    [
        (AskedGround(AREA, 30.0, 0.1), None, ["all-served"]),
        (AskedGround(AREA, 0.1, 0.1, apart_m=5.0), None, ["out-of-range", "out-of-range"]),
        (AskedGround(AREA, 30.0, 0.1), _without_terrain, ["no-terrain"]),
        (AskedGround((36.0, -84.44, 36.02, -84.4), 30.0, 0.1, near=("Far", 36.01, -84.42)), None, ["no-high-ground"]),
    ],
)
def test_what_cannot_be_found_is_said(
    asked: AskedGround, ground: Callable[[Network], Ground] | None, codes: list[str]
) -> None:
    """Nobody to see, figures out of range, no terrain, level ground."""
    network, usual = country()
    with pytest.raises(PlanError) as refused:
        high_ground(
            network, asked, placed=place(network), ground=usual if ground is None else ground(network), targets=NOBODY
        )

    assert [one.code for one in refused.value.problems] == codes


def masts(text: str, **more: Any) -> tuple[Mast, ...]:
    """A table in that country."""
    network, ground = country()
    return masts_of(
        read_sites(text.encode(), source="masts.csv"), network, placed=place(network), ground=ground, **more
    )


def test_a_table_is_read_with_its_units() -> None:
    """Feet, watts and milliseconds; the ground is the terrain's, the planes are shared as at the nearest site."""
    (one,) = masts("mast;lat;lon;antenna (ft);erp (W);feed (ms)\nOld quarry;36,10;-84,30;100;50;180,5\n")

    assert one.name == "Old quarry"
    assert one.antenna_m == pytest.approx(30.48)
    assert (one.erp_kw.h, one.erp_kw.v) == (0.05, 0.05)
    assert one.feed_us == 180_500.0
    assert one.ground_m == 200.0
    assert any("its ground of 200 m is the terrain's" in said for said in one.said)
    assert any("written to" in said for said in one.said)


def test_cells_of_its_own_go_before_figures_for_all() -> None:
    """A mast without its own height and e.r.p. takes those given for all; each plane may have its own."""
    own, given = masts(
        "name,position,ground_m,antenna_m,erp_h_kw,erp_v_kw\n"
        'Own,"36.10000, -84.30000",210,25,0.4,0\nGiven,"36.12000, -84.30000",,,,\n',
        antenna_m=40.0, erp_kw=0.2,
    )  # fmt: skip

    assert (own.ground_m, own.antenna_m, own.erp_kw.h, own.erp_kw.v) == (210.0, 25.0, 0.4, 0.0)
    assert (given.antenna_m, given.erp_kw.h, given.erp_kw.v) == (40.0, 0.2, 0.2)


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("name,position\nA,\"36.1, -84.3\"\n", ["antenna-height-missing", "erp-missing"]),
        ("name,antenna_m,erp_kw\nA,30,0.1\n", ["position-missing"]),
        ("name,position,antenna_m,erp_kw,pattern\nA,\"36.1, -84.3\",30,0.1,elsewhere\n", ["pattern-unknown"]),
        ("name,position,antenna_m,erp_kw,azimuth_deg\nA,\"36.1, -84.3\",30,0.1,90\n", ["option-idle"]),
        ("name,position,antenna_m,erp_kw,erp_h_kw\nA,\"36.1, -84.3\",30,0.1,0.1\n", ["erp-twice"]),
        ("name,position,antenna_m,erp_h_kw\nA,\"36.1, -84.3\",30,0\n", ["out-of-range"]),
        ("name,position,antenna_m,erp_kw\nA,\"12.1, -84.3\",30,0.1\n", ["ground-height-missing"]),
        ("name,position,antenna_m,erp_kw\nA,\"36.1, -84.3\",high,0.1\n", ["not-a-number"]),
    ],
)  # fmt: skip
def test_what_a_line_lacks_is_named(text: str, codes: list[str]) -> None:
    """Each with its line and column."""
    with pytest.raises(PlanError) as refused:
        masts(text)

    assert [one.code for one in refused.value.problems] == codes
    assert all(one.where.startswith("masts.csv line 2") for one in refused.value.problems)
