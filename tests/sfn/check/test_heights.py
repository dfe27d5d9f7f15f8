"""Typed ground heights are held against the terrain."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from sfn.check import all_problems
from sfn.check.heights import height_problems, offered_heights, reach_problems
from sfn.geodesy.sites import place
from sfn.plan import Network, read_file
from sfn.terrain.ground import Ground
from sfn.terrain.ridge import ridge

RIDGE = Path(__file__).parents[3] / "demo_sites" / "fm_ridge.json"


@dataclass(frozen=True)
class At:
    """A place."""

    lat_deg: float
    lon_deg: float


def network(**heights: float) -> Network:
    """The ridge network with some ground heights typed anew."""
    read = read_file(RIDGE)
    sites = tuple(s.model_copy(update={"ground_m": heights.get(s.id, s.ground_m)}) for s in read.sites)
    return read.model_copy(update={"sites": sites})


def test_the_terrains_height_is_offered() -> None:
    """At the summit 1 076 m, off the terrain nothing."""
    found = offered_heights(ridge(), {"a": At(36.19833, -84.23083), "b": At(10.0, 10.0)})

    assert 1076.0 == pytest.approx(found["a"], abs=0.5)
    assert found["b"] is None


def test_a_height_31_m_off_is_questioned_and_one_29_m_off_is_not() -> None:
    """The typed height, the terrain's and the site's name stand in the warning."""
    read = network()
    placed = place(read)
    true_m = offered_heights(ridge(), placed)["summit"]
    near, far = (network(summit=round(true_m) + more) for more in (29, 31))

    assert "sites[0].ground_m" not in [p.where for p in height_problems(near, placed, ridge())]
    (problem,) = [p for p in height_problems(far, placed, ridge()) if p.where == "sites[0].ground_m"]
    assert "warning" == problem.severity
    assert (
        f"site {read.sites[0].name}: is {far.sites[0].ground_m:g} m, the terrain ridge has 1076 m there" == problem.what
    )


def test_a_site_off_the_terrain_is_said() -> None:
    """Without ground under a site there will be no level, and the check says so."""
    read = network()
    placed = dict(place(read)) | {"summit": At(36.0, -84.2)}

    assert any("stands where the terrain ridge is not known" in p.what for p in height_problems(read, placed, ridge()))


def test_the_whole_check_asks_when_it_has_terrain() -> None:
    """all_problems() holds heights against the terrain when it is given, and is as before when it is not."""
    wrong = network(summit=400.0)

    assert any("sites[0].ground_m" == p.where for p in all_problems(wrong, ground=Ground(terrain=ridge())))
    assert not any("sites[0].ground_m" == p.where for p in all_problems(wrong))


def test_cover_and_zones_that_do_not_reach_a_site_are_said() -> None:
    """A site beyond the files of cover or zones is named, with what counts there instead; those inside are not."""
    read = network()
    placed = dict(place(read)) | {read.sites[1].id: At(40.0, -84.2)}
    found = reach_problems(read, placed, Ground(cover=ridge(), zones=ridge()))

    assert ["cover.folder", "zones.folder"] == [p.where for p in found]
    assert (
        f"the ground cover of ridge does not reach {read.sites[1].name}: the ground there counts as bare"
        == found[0].what
    )
    assert "all counts as inland there" in found[1].what
    assert () == reach_problems(read, place(read), Ground(cover=ridge(), zones=ridge()))
