"""Lengths on a map against geographiclib, and scale bars that are as long as they say."""

import itertools
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from sfn.geodesy.sites import place
from sfn.plan import Place, read
from sfn.study.find_place import NamedPlace, PlaceList, find_place
from sfn.study.ruler import BAR_RATIO, measured, scale_bar

RIDGE = Path(__file__).parents[3] / "demo_sites/fm_ridge.json"


@pytest.mark.parametrize(
    ("here", "there"),
    [((36.19833, -84.23083), (36.41, -84.17583)), ((60.0, 10.0), (60.5, 11.0)), ((-0.01, 179.99), (0.01, -179.99))],
)
def test_a_length_is_the_geodesic_and_its_time_at_the_networks_refractivity(
    here: tuple[float, float], there: tuple[float, float]
) -> None:
    """To a millimetre of geographiclib; t = s n / c with c = 299792458 m/s."""
    expected = Geodesic.WGS84.Inverse(*here, *there)
    found = measured(*here, *there, refractivity_n=330.0)

    assert found.ground_m == pytest.approx(expected["s12"], abs=1e-3)
    assert found.azimuth_deg == pytest.approx(expected["azi1"] % 360, abs=1e-6)
    assert found.travel_us == pytest.approx(expected["s12"] * 1.000330 / 299.792458, abs=1e-5)
    assert f"{expected['s12'] / 1000:.3f} km" in found.says.replace("\u202f", "")


def test_a_place_measured_to_itself_has_no_direction() -> None:
    """No azimuth is told for a length of nothing."""
    assert "north" not in measured(36.0, -84.0, 36.0, -84.0, refractivity_n=315.0).says


@pytest.mark.parametrize(("lat", "wide"), [(0.0, 0.4), (36.3, 0.6), (60.0, 0.6), (70.0, 30.0), (36.3, 0.003)])
def test_a_bar_is_as_long_as_it_says_at_its_latitude(lat: float, wide: float) -> None:
    """Along the parallel: 512 short geodesics by geographiclib add up to the map's width."""
    made = scale_bar(lat_deg=lat, west_deg=-84.0, east_deg=-84.0 + wide, refractivity_n=315.0)
    assert made is not None
    steps = [-84.0 + k * wide / 512 for k in range(513)]
    width_m = sum(
        Geodesic.WGS84.Inverse(lat, a, lat, b)["s12"] for a, b in itertools.pairwise(steps)
    )  # fmt: skip
    assert made.width_ratio * width_m == pytest.approx(made.length_m, rel=2e-3)
    assert 0.4 * BAR_RATIO <= made.width_ratio <= BAR_RATIO
    assert str(round(made.length_m))[0] in "125"
    assert made.travel_us == pytest.approx(made.length_m * 1.000315 / 299.792458, rel=1e-9)


def test_no_bar_stands_on_half_a_globe() -> None:
    """Where no length is true across the map, none is told."""
    assert scale_bar(lat_deg=0.0, west_deg=-150.0, east_deg=150.0, refractivity_n=315.0) is None


def test_places_are_found_without_accents_sites_first() -> None:
    """Sites before towns, names that begin so before others, large towns first; a position as people write it."""
    network = read(RIDGE.read_text(encoding="utf-8"))
    towns = [
        Place(name="Nordhäusern", lat=36.3, lon=-84.2, people=900),
        Place(name="Nordknob", lat=36.3, lon=-84.3, people=4000),
        Place(name="Elsewhere", lat=36.3, lon=-84.4, people=9000),
    ]
    placed = place(network)

    def names(text: str) -> list[str]:
        return [one.name for one in find_place(network, text, placed=placed, places=towns)]

    mine = PlaceList("my masts", (NamedPlace("Nordknob", 36.301, -84.299), NamedPlace("Nordmühle", 36.1, -84.1)))
    open_list = PlaceList(
        "open names", (NamedPlace("Nordknob", 30.0, -84.3, 50.0), NamedPlace("Nordhof", 36.2, -84.2, 0.0))
    )
    found = find_place(network, "nord", placed=placed, places=towns, lists=[mine, open_list])
    assert [(one.name, one.kind, one.people, one.source) for one in found] == [
        ("Nordknob", "place", 4000.0, "places where people are counted; my masts"),
        ("Nordhäusern", "place", 900.0, "places where people are counted"),
        ("Nordknob", "place", 50.0, "open names"),
        ("Nordhof", "name", None, "open names"),
        ("Nordmühle", "name", None, "my masts"),
    ]
    (site,) = [one for one in find_place(network, "knob", placed=placed, places=[], lists=[mine]) if one.kind == "site"]
    assert site.source == "sites of the network"
    assert names("NORD") == ["Nordknob", "Nordhäusern"]
    assert names("hausern") == ["Nordhäusern"]
    assert names("knob") == ["North knob", "Nordknob"]
    assert names("  ") == names("nowhere") == []
    (here,) = find_place(network, "36°15'N 84°18'W", placed=placed, places=towns)
    assert (here.kind, here.lat_deg, here.lon_deg) == ("position", pytest.approx(36.25), pytest.approx(-84.3))
