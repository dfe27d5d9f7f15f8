"""The pixel grid against PROJ's EPSG:3857 and PROJ's areas."""

import numpy as np
import pytest
from hypothesis import given, strategies as st
from pyproj import Geod, Transformer

from sfn.errors import PlanError
from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.line import inverse

RIDGE = (36.16, -84.414, 36.446, -84.078)
ONE_MILLIMETRE_DEG = 1e-8

areas = st.builds(
    lambda lat, lon, height, width: (lat, lon, lat + height, lon + width),
    st.floats(-84, 83),
    st.floats(-180, 178),
    st.floats(0.05, 1.0),
    st.floats(0.05, 2.0),
)


@given(areas, st.integers(5, 60))
def test_pixel_centres_are_those_of_proj(area: tuple[float, float, float, float], across: int) -> None:
    """Centres through the affine transform and PROJ's EPSG:3857 are the latitudes and longitudes of the grid."""
    grid = grid_for(area, pixel_m=111e3 * np.cos(np.radians(area[0])) * (area[3] - area[1]) / across + 1)
    a, _, c, _, e, f = grid.transform

    lon, lat = Transformer.from_crs("EPSG:3857", "EPSG:4326", always_xy=True).transform(
        c + a * (np.arange(grid.columns_n) + 0.5), np.full(grid.columns_n, f + e * 0.5)
    )

    wrapped = (lon - grid.lon_deg + 180) % 360 - 180
    assert np.abs(wrapped).max() < ONE_MILLIMETRE_DEG
    assert grid.lat_deg[0] == pytest.approx(lat[0], abs=ONE_MILLIMETRE_DEG)


@given(areas, st.floats(50, 5000))
def test_grid_covers_the_area_and_no_more_than_a_pixel_beyond(
    area: tuple[float, float, float, float], pixel_m: float
) -> None:
    """The north-west corner is met, the south-east corner lies in the last pixel."""
    grid = grid_for(area, pixel_m=pixel_m, most_pixels_n=10**12)
    south, west, north, east = grid.bounds_deg

    assert (area[2], area[1]) == pytest.approx((north, west), abs=ONE_MILLIMETRE_DEG)
    assert south <= area[0] + ONE_MILLIMETRE_DEG
    assert east >= area[3] - ONE_MILLIMETRE_DEG
    one_less = Grid(
        grid.west_mercator_m, grid.north_mercator_m, grid.pixel_mercator_m, grid.rows_n - 1, grid.columns_n - 1
    )
    assert grid.rows_n == 1 or one_less.bounds_deg[0] > area[0] - ONE_MILLIMETRE_DEG
    assert grid.columns_n == 1 or one_less.bounds_deg[3] < area[3] + ONE_MILLIMETRE_DEG


@given(areas)
def test_each_centre_lies_in_its_own_pixel(area: tuple[float, float, float, float]) -> None:
    """Centres are found in their own row and column, and points outside are not contained."""
    grid = grid_for(area, pixel_m=9_000)
    lat, lon = grid.points_deg

    row, column = grid.pixels_of(lat, lon)

    assert np.array_equal(np.indices(grid.shape), [row, column])
    assert grid.contains(lat, lon).all()
    south, west, north, east = grid.bounds_deg
    assert grid.contains([area[2], north], [area[1], west]).all()
    outside = [(north + 1e-4, west), (south - 1e-4, west), (south, west - 1e-4), (north, east + 1e-4)]
    assert not grid.contains(*np.array(outside).T).any()


def test_pixel_size_is_on_the_ground_at_the_centre() -> None:
    """A pixel asked for as 100 m is 100 m on the ground east-west, at the centre of the grid."""
    grid = grid_for((59.5, 10.0, 60.5, 11.0), pixel_m=100)
    middle = np.abs(grid.lat_deg - 60.0).argmin()
    lat = grid.lat_deg[middle]

    width_m = inverse(lat, grid.lon_deg[0], lat, grid.lon_deg[1])[0]

    assert 100.0 == pytest.approx(float(width_m), abs=0.01)
    assert 100.0 == pytest.approx(grid.pixel_m, abs=0.01)


@pytest.mark.parametrize("area", [RIDGE, (-54.9, -70.0, -53.0, -66.0), (69.0, 20.0, 71.0, 30.0)])
def test_areas_are_true_areas(area: tuple[float, float, float, float]) -> None:
    """Pixel areas add up to the area of the bounds on the ellipsoid, by PROJ's geodesic polygon."""
    grid = grid_for(area, pixel_m=2_000)
    south, west, north, east = grid.bounds_deg
    along = np.linspace(west, east, 4001)  # parallels are not geodesics: short pieces
    lons, lats = np.concatenate([along, along[::-1]]), np.repeat([south, north], 4001)

    theirs_km2 = abs(Geod(ellps="WGS84").polygon_area_perimeter(lons, lats)[0]) / 1e6

    assert theirs_km2 == pytest.approx(float(grid.pixel_area_km2.sum() * grid.columns_n), rel=1e-7)


def test_too_many_pixels_are_refused_with_what_would_do() -> None:
    """The refusal names the count, the limit, and a size that is then accepted."""
    with pytest.raises(PlanError) as refused:
        grid_for((36, -85, 37, -84), pixel_m=10)

    problem = refused.value.problems[0]
    assert "pixel_m" == problem.where
    assert "10 m makes 99\u202f868\u202f160 pixels" in problem.what
    assert "more than 4\u202f000\u202f000" in problem.what
    proposed_m = float(problem.expected.split()[0])
    assert grid_for((36, -85, 37, -84), pixel_m=proposed_m).pixels_n <= 4_000_000
    with pytest.raises(PlanError):
        grid_for((36, -85, 37, -84), pixel_m=proposed_m * 0.95)


@pytest.mark.parametrize(
    ("bounds", "pixel_m", "words"),
    [
        ((37, -85, 36, -84), 100, "south 37 and north 36 degrees bound no area"),
        ((36, -84, 37, -85), 100, "west -84 and east -85 degrees bound no area"),
        ((36, 179, 37, -179), 100, "go on counting"),
        ((86, 0, 87, 1), 100, "both from -85.051128 to 85.051128"),
        ((float("nan"), 0, 1, 1), 100, "bound no area"),
        ((0, 0, 1, 1), 0, "a pixel of 0 m makes no map"),
        ((0, 0, 1, 1), float("nan"), "a pixel of nan m makes no map"),
        ((0, 0, 1, 1), float("inf"), "a pixel of inf m makes no map"),
    ],
)
def test_what_is_no_area_is_refused_in_words(
    bounds: tuple[float, float, float, float], pixel_m: float, words: str
) -> None:
    """Edges in the wrong order, beyond the projection, or not numbers, are named."""
    with pytest.raises(PlanError, match=words):
        grid_for(bounds, pixel_m=pixel_m)


def test_date_line_can_be_crossed() -> None:
    """An area across the date line goes on counting eastwards, and points of either spelling are found."""
    grid = grid_for((-18, 179, -17, 181), pixel_m=1000)

    assert grid.lon_deg[-1] > 180
    assert grid.contains([-17.5, -17.5], [180.5, -179.5]).all()


def test_latitudes_that_the_map_cannot_show_are_refused() -> None:
    """The pole has no pixel."""
    with pytest.raises(ValueError, match=r"lat_deg must be from -85\.05"):
        grid_for(RIDGE, pixel_m=1000).contains(90, 0)
