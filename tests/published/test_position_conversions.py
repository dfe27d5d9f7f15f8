"""Published worked examples of projections, grid references and datum shifts."""

from collections.abc import Callable

import pytest
from pyproj import Transformer

from sfn.errors import PlanError
from sfn.geodesy.datum import to_utm
from sfn.geodesy.line import inverse, travel_time
from sfn.geodesy.position import Located, locate, three_forms

GN72 = "EPSG Guidance Note 7-2"
OS_GUIDE = "Ordnance Survey, A guide to coordinate systems in Great Britain, annex"
GEOCONVERT = "GeoConvert manual page"
GDA = "GDA94 Technical Manual, Flinders Peak"

FLINDERS_TEXT = "37°57'03.72030\"S 144°25'29.52440\"E"
CAISTER_TEXT = "52°39'27.2531\"N 1°43'04.5177\"E"
NORTH_SEA_WGS84 = "53°48'33.820\"N 2°07'46.380\"E"
NORTH_SEA_ED50 = "53°48'36.565\"N 2°07'51.477\"E"


def apart_m(a: Located, b: Located) -> float:
    """Distance between two positions."""
    return float(inverse(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg)[0])


@pytest.mark.parametrize(
    ("what", "degrees", "degrees_crs", "easting_m", "northing_m", "grid_crs", "tolerance_m", "source", "reason"),
    [
        (
            "Transverse Mercator, British grid",
            "50°30'00.000\"N 0°30'00.000\"E",
            "EPSG:4277",
            577_274.99,
            69_740.50,
            "EPSG:27700",
            0.012,
            GN72 + ", Transverse Mercator",
            "published with a rounded scale factor: 0.006 m and 0.008 m by the exact one",
        ),
        (
            "Transverse Mercator, Caister",
            CAISTER_TEXT,
            "EPSG:4277",
            651_409.903,
            313_177.270,
            "EPSG:27700",
            0.003,
            OS_GUIDE,
            "1e-4 arc-second is 3 mm",
        ),
        (
            "MGA zone 55",
            FLINDERS_TEXT,
            "EPSG:4283",
            273_741.297,
            5_796_489.777,
            "EPSG:28355",
            0.001,
            GDA + ", easting and northing from memory",
            "the published digits",
        ),
    ],
)
def test_degrees_and_grid_are_one_place(
    published: Callable[..., None],
    what: str,
    degrees: str,
    degrees_crs: str,
    easting_m: float,
    northing_m: float,
    grid_crs: str,
    tolerance_m: float,
    source: str,
    reason: str,
) -> None:
    """The published latitude and longitude, and the published easting and northing, are located at one place."""
    from_degrees = locate(text=degrees, crs=degrees_crs)
    from_grid = locate(easting_m=easting_m, northing_m=northing_m, crs=grid_crs)

    published(
        f"{what}: degrees to grid",
        apart_m(from_degrees, from_grid),
        0.0,
        tolerance=tolerance_m,
        unit="m",
        source=source,
        reason=reason,
    )
    assert from_degrees.transformation == from_grid.transformation


def test_utm_and_mgrs_of_a_manual_page(published: Callable[..., None]) -> None:
    """33.3 N 44.4 E to UTM and back, and to MGRS."""
    located = locate(text="38n 444140.54 3684706.36")
    easting_m, northing_m = to_utm(33.3, 44.4, zone=38, north=True)

    published("UTM to latitude", located.lat_deg, 33.3, tolerance=1e-7, unit="deg", source=GEOCONVERT)
    published("UTM to longitude", located.lon_deg, 44.4, tolerance=1e-7, unit="deg", source=GEOCONVERT)
    published("UTM easting", easting_m, 444_140.54, tolerance=0.01, unit="m", source=GEOCONVERT)
    published("UTM northing", northing_m, 3_684_706.36, tolerance=0.01, unit="m", source=GEOCONVERT)
    assert "38SMB4414084706" == three_forms(33.3, 44.4).mgrs.replace(" ", "")


def test_flinders_peak_in_utm_and_mgrs(published: Callable[..., None]) -> None:
    """The survey mark in UTM zone 55 south and its MGRS square."""
    mark = locate(text=FLINDERS_TEXT)
    easting_m, northing_m = to_utm(mark.lat_deg, mark.lon_deg, zone=55, north=False)
    source = GDA + ", from memory"

    published("UTM easting", easting_m, 273_741.297, tolerance=1e-3, unit="m", source=source)
    published("UTM northing", northing_m, 5_796_489.777, tolerance=1e-3, unit="m", source=source)
    assert "55HBT7374196489" == three_forms(mark.lat_deg, mark.lon_deg).mgrs.replace(" ", "")
    assert apart_m(mark, locate(text="55S 273741.297 5796489.777")) < 1e-3


def test_geocentric_shift_example(published: Callable[..., None]) -> None:
    """WGS84 to Cartesian, the published shift, and back to ED50: every intermediate, by PROJ that `datum` stands on."""
    source = GN72 + ", geographic/geocentric and geocentric translations"
    degrees = locate(text=NORTH_SEA_WGS84)
    cartesian = Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=WGS84"
    )
    xyz = cartesian.transform(degrees.lon_deg, degrees.lat_deg, 73.0)
    for axis, ours, theirs in zip("XYZ", xyz, (3_771_793.97, 140_253.34, 5_124_304.35), strict=True):
        published(f"geocentric {axis}", ours, theirs, tolerance=0.01, unit="m", source=source)

    shifted = [ours + shift for ours, shift in zip(xyz, (84.87, 96.49, 116.95), strict=True)]
    for axis, ours, theirs in zip("XYZ", shifted, (3_771_878.84, 140_349.83, 5_124_421.30), strict=True):
        published(f"geocentric {axis}, shifted", ours, theirs, tolerance=0.01, unit="m", source=source)

    back = Transformer.from_pipeline(
        "+proj=pipeline +step +inv +proj=cart +ellps=intl +step +proj=unitconvert +xy_in=rad +xy_out=deg"
    )
    lon, lat, height_m = back.transform(*shifted)
    published("ED50 latitude", lat, 53 + 48 / 60 + 36.565 / 3600, tolerance=1e-3 / 3600, unit="deg", source=source)
    published("ED50 longitude", lon, 2 + 7 / 60 + 51.477 / 3600, tolerance=1e-3 / 3600, unit="deg", source=source)
    published("ED50 height", height_m, 28.02, tolerance=0.01, unit="m", source=source)
    displacement_m = inverse(degrees.lat_deg, degrees.lon_deg, lat, lon)[0]
    published("ED50 read as WGS84", displacement_m, 126.11, tolerance=0.02, unit="m", source="by geographiclib")
    published(
        "ED50 read as WGS84", travel_time(displacement_m), 0.421, tolerance=1e-3, unit="us", source="by geographiclib"
    )


def test_ed50_position_is_that_of_the_example_within_the_stated_accuracy(published: Callable[..., None]) -> None:
    """The ED50 text of the example leads to its WGS84 place as well as the chosen transformation promises."""
    ours, theirs = locate(text=NORTH_SEA_ED50, crs="EPSG:4230"), locate(text=NORTH_SEA_WGS84)

    published(
        "ED50 to WGS84, North Sea",
        apart_m(ours, theirs),
        0.0,
        tolerance=6.0,
        unit="m",
        source=GN72 + ", geocentric translations",
        reason="another transformation: the North Sea's own (1 m) against the example's mean shift",
    )


def test_osgb36_read_as_wgs84_in_norfolk(published: Callable[..., None]) -> None:
    """What overlooking OSGB36 costs at Caister, with the seven parameters that EPSG gives."""
    located = locate(text=CAISTER_TEXT, crs="EPSG:4277")

    published(
        "OSGB36 read as WGS84", located.datum_shift_m, 134.4, tolerance=0.1, unit="m", source="EPSG:1314, 7 parameters"
    )
    published(
        "OSGB36 read as WGS84", travel_time(located.datum_shift_m), 0.448, tolerance=1e-3, unit="us", source="EPSG:1314"
    )


def test_caister_in_cartesian_coordinates(published: Callable[..., None]) -> None:
    """The same mark on the Airy ellipsoid, 24.700 m up, by PROJ that `datum` stands on."""
    to_cartesian = Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=airy"
    )
    xyz = to_cartesian.transform(1 + 43 / 60 + 4.5177 / 3600, 52 + 39 / 60 + 27.2531 / 3600, 24.700)

    for axis, ours, theirs in zip("XYZ", xyz, (3_874_938.849, 116_218.624, 5_047_168.208), strict=True):
        published(f"Cartesian {axis}", ours, theirs, tolerance=0.002, unit="m", source=OS_GUIDE + ", from memory")


def test_caister_by_the_letters_of_its_grid(published: Callable[..., None]) -> None:
    """TG 51409 13177 is the square metre that holds the published easting and northing."""
    lettered, degrees = locate(text="TG 51409 13177"), locate(text=CAISTER_TEXT, crs="EPSG:4277")

    published(
        "British letters, Caister",
        apart_m(lettered, degrees),
        0.0,
        tolerance=0.71,
        unit="m",
        source=OS_GUIDE,
        reason="the reference names a square of 1 m; its middle is taken",
    )
    assert "position-datum" in {doubt.code for doubt in lettered.doubts}


def test_a_published_place_in_a_zone_of_feet(published: Callable[..., None]) -> None:
    """Texas South Central, 28 30 N 96 00 W in US survey feet: by its own fields, as a text and as bare numbers."""
    degrees = locate(text="28°30'00.00\"N 96°00'00.00\"W", crs="EPSG:4267")
    ways = {
        "fields": locate(easting_ft=2_963_503.91, northing_ft=254_759.80, crs="EPSG:32040"),
        "text": locate(text="2963503.91 ft E 254759.80 ft N", crs="EPSG:32040"),
        "bare": locate(text="2963503.91 254759.80", crs="EPSG:32040"),
    }

    for how, located in ways.items():
        published(
            f"Lambert Conic Conformal, feet, {how}",
            apart_m(located, degrees),
            0.0,
            tolerance=0.005,
            unit="m",
            source=GN72 + ", Lambert Conic Conformal (2SP), from memory",
            reason="0.01 foot is 3 mm",
        )
    with pytest.raises(PlanError, match="taken as US survey foot it lies inside"):
        locate(easting_m=2_963_503.91, northing_m=254_759.80, crs="EPSG:32040")


def test_a_published_place_in_a_grid_that_puts_the_northing_first(published: Callable[..., None]) -> None:
    """Lambert Azimuthal Equal Area of Europe, 50 N 5 E: easting is easting, whatever the order of the code's axes."""
    degrees = locate(text="50°00'00.000\"N 5°00'00.000\"E", crs="EPSG:4258")
    located = locate(text="N 2999718.85 E 3962799.45", crs="EPSG:3035")

    published(
        "Lambert Azimuthal Equal Area",
        apart_m(located, degrees),
        0.0,
        tolerance=0.01,
        unit="m",
        source=GN72 + ", Lambert Azimuthal Equal Area, from memory",
        reason="the published digits",
    )
    fields = locate(easting_m=3_962_799.45, northing_m=2_999_718.85, crs="EPSG:3035")
    assert ["position-axis-order"] == [doubt.code for doubt in fields.doubts]
