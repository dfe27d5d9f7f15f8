"""Slips of the pen that only show beside the other sites."""

from collections.abc import Iterable
from dataclasses import replace

import pytest

from sfn.geodesy.plausible import Standing, implausible
from sfn.geodesy.position import Located, locate

RIDGE = {"north": "36.37000, -84.25000", "south": "36.20500, -84.21000", "gap": "36.28000, -84.19000"}


def standing(sites: Iterable[tuple[str, Located]]) -> list[Standing]:
    """Sites by name, in the order of a document; the id is the name in capitals."""
    return [Standing(index, name.upper(), name, located) for index, (name, located) in enumerate(sites)]


def network(*extra: tuple[str, Located]) -> list[Standing]:
    """Three sites of one ridge, and whatever else."""
    return standing([(name, locate(text=text)) for name, text in RIDGE.items()] + list(extra))


def test_sites_of_one_valley_are_plausible() -> None:
    """Nothing is said about sites that lie together, nor about a lone one or none."""
    assert () == implausible(network())
    assert () == implausible(network()[:1])
    assert () == implausible([])


@pytest.mark.parametrize(
    ("text", "slip"),
    [
        ("36.30000, 84.20000", "east and west exchanged (the sign of the longitude)"),
        ("-36.30000, -84.20000", "north and south exchanged (the sign of the latitude)"),
        ("-36.30000, 84.20000", "both signs changed"),
        ("-84.20000, 36.30000", "latitude and longitude exchanged"),
        ("84.20000, 36.30000", "latitude and longitude exchanged and a sign changed"),
        ("84.20000, -36.30000", "latitude and longitude exchanged and both signs changed"),
        ("17 north 751500 4020500", "UTM zone 16, not 17"),
        ("15 north 751500 4020500", "UTM zone 16, not 15"),
        ("16 south 751500 4020500", "the southern half of UTM zone 16"),
    ],
)
def test_the_slip_that_brings_a_site_back_is_named(text: str, slip: str) -> None:
    """A stray site is found and the slip that explains it is named; the others are left alone."""
    (problem,) = implausible(network(("stray", locate(text=text))))

    assert "sites[3].position" == problem.where
    assert ("position-slip", ("STRAY",)) == (problem.code, problem.sites)
    assert "warning" == problem.severity
    assert problem.what.startswith("stray is ")
    assert "km from the nearest of the other sites" in problem.what
    wanted = "the northern half of UTM zone 16" if "south" in text else slip
    assert problem.expected.startswith(f"{wanted} would put it ")


def test_a_far_site_that_no_slip_explains_is_questioned_all_the_same() -> None:
    """A site in another country is questioned without a guess."""
    (problem,) = implausible(network(("far", locate(text="51.00000, 9.00000"))))

    assert "a position near the other sites" == problem.expected
    assert "far is 7\u202f1" in problem.what
    assert ("position-mistyped", {"away_m"}) == (problem.code, set(problem.values))


def test_of_two_sites_either_may_be_the_stray_one() -> None:
    """With two sites and a lost sign, both are shown with what would bring them together."""
    first, second = implausible(
        standing([("north", locate(text=RIDGE["north"])), ("other", locate(text="36.30000, 84.20000"))])
    )

    assert ("sites[0].position", "sites[1].position") == (first.where, second.where)
    assert first.expected.startswith("east and west exchanged")


def test_two_stray_sites_do_not_vouch_for_each_other() -> None:
    """Two sites with the same slip lie together, but away from the most."""
    strays = [(f"stray {i}", locate(text=f"36.3{i}000, 84.20000")) for i in (1, 2)]

    problems = implausible(network(*strays))

    assert ["sites[3].position", "sites[4].position"] == [problem.where for problem in problems]


def test_a_chain_of_sites_over_a_country_is_one_network() -> None:
    """Sites 150 km apart in a row are linked through their neighbours."""
    sites = [(f"site {i}", locate(text=f"{48 + 1.3 * i:.5f}, 9.00000")) for i in range(6)]

    assert () == implausible(standing(sites))


def test_mixed_datums_are_named_with_what_they_cost() -> None:
    """The site in the other datum is named, and how far off it would lie if that were overlooked."""
    sites = [(f"site {i}", locate(text=f"50.{i}0000, 8.00000")) for i in (1, 2)]
    sites.append(("old survey", locate(text="50.30000, 8.00000", crs="EPSG:4230")))

    (problem,) = implausible(standing(sites))

    assert "sites[2].position.crs" == problem.where
    assert problem.what.startswith("old survey is given in ED50, most sites in WGS 84; read as WGS 84 it would lie 12")
    assert "0.41" in problem.what


def test_sites_all_in_one_old_datum_are_not_mixed() -> None:
    """One datum for all, whichever, is no mixture."""
    assert () == implausible(standing((f"s{i}", locate(text=f"50.{i}0000, 8.00000", crs="EPSG:4230")) for i in (1, 2)))


def valley(*places: tuple[float, float], stray: tuple[float, float], crs: str = "") -> list[Standing]:
    """Sites of one valley and one more, in degrees or as easting and northing of a grid."""
    given = [*places, stray]
    located = [
        locate(easting_m=x, northing_m=y, crs=crs) if crs else locate(text=f"{x:.5f}, {y:.5f}") for x, y in given
    ]
    return standing((f"s{n}", at) for n, at in enumerate(located))


@pytest.mark.parametrize(
    ("sites", "slip", "moved_m"),
    [
        # British grid, both orders inside its area: sqrt(2) times the difference of the numbers away.
        (
            valley(
                (400_120, 300_230), (408_340, 305_450), (395_560, 309_670), stray=(303_890.5, 402_340.5), crs="27700"
            ),
            "easting and northing exchanged",
            2**0.5 * (402_340.5 - 303_890.5),
        ),
        # Latitude and longitude nearly alike: some 50 km only.
        (
            valley((37.10000, 37.45000), (37.15000, 37.52000), (37.05000, 37.40000), stray=(37.48000, 37.12000)),
            "latitude and longitude exchanged",
            None,
        ),
    ],
)
def test_an_exchange_is_named_within_what_a_network_spans(
    sites: list[Standing], slip: str, moved_m: float | None
) -> None:
    """Less than 200 km from the others, yet out of their scale: one numbers' exchange brings it among them."""
    found = [problem for problem in implausible(sites) if problem.code.startswith("position-")]

    assert [(p.code, p.sites) for p in found] == [("position-slip", ("S3",))]
    assert found[0].expected.startswith(f"{slip} would put it ")
    assert float(found[0].values["doubt_us"] or 0) > 100
    if moved_m is not None:  # the scale of the grid is within 0.1 % of one
        assert found[0].values["doubt_m"] == pytest.approx(moved_m, rel=2e-3)


def test_a_site_a_little_apart_that_no_exchange_explains_is_left_alone() -> None:
    """Forty kilometres up the road."""
    sites = valley((36.37, -84.25), (36.205, -84.21), (36.28, -84.19), stray=(36.70, -84.20))
    assert implausible(sites) == ()


@pytest.mark.parametrize(
    ("masts", "named"), [(("", ""), True), (("High tower", ""), True), (("High tower", "high tower "), False)]
)
def test_one_position_twice_is_questioned_unless_both_name_the_mast(masts: tuple[str, str], named: bool) -> None:
    """With both names; a mast named at one of them says nothing of the other."""
    sites = network(("copy", locate(text=RIDGE["gap"])))
    sites = [*sites[:2], replace(sites[2], mast=masts[0]), replace(sites[3], mast=masts[1])]
    found = [p for p in implausible(sites) if p.code == "position-shared"]

    assert [p.sites for p in found] == ([("GAP", "COPY")] if named else [])
    assert all("gap and copy stand at exactly one position" in p.what for p in found)
