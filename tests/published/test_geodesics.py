"""Published geodesics: survey lines, the GeodTest set, Vincenty's table, near-antipodal pairs."""

import math
from collections.abc import Callable

import pytest
from pyproj import Geod

from sfn.geodesy.line import inverse, travel_time

# The Flinders Peak line is published on GRS80; WGS84 differs from it by 0.1 mm in the polar axis.
FLINDERS = (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
BUNINYONG = (-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)
GDA94 = "GDA94 Technical Manual, Flinders Peak to Buninyong"
GEODTEST = "GeodTest set, as in geographiclib's tests"
VINCENTY = "T. Vincenty, Survey Review 23 (1975), table II"
SECOND_DEG = 1 / 3600


def dms(degrees: int, minutes: int, seconds: float) -> float:
    """Degrees from degrees, minutes and seconds."""
    return degrees + minutes / 60 + seconds / 3600


def test_flinders_peak_to_buninyong(published: Callable[..., None]) -> None:
    """The survey line and its travel time at N = 315, to the millimetre and a tenth of a nanosecond."""
    ground_m, azimuth_deg, back_deg = inverse(*FLINDERS, *BUNINYONG)

    published("geodesic", ground_m, 54_972.271, tolerance=1e-3, unit="m", source=GDA94)
    published("azimuth", azimuth_deg, dms(306, 52, 5.37), tolerance=0.01 * SECOND_DEG, unit="deg", source=GDA94)
    published("reverse azimuth", back_deg, dms(127, 10, 25.07), tolerance=0.01 * SECOND_DEG, unit="deg", source=GDA94)
    published(
        "travel time, N = 315",
        travel_time(ground_m),
        54_972.271 * 1.000315 / 299.792458,
        tolerance=1e-4,
        unit="us",
        source=GDA94 + "; ITU-R P.453 eq. (1)",
    )
    published("travel time", travel_time(ground_m), 183.4255, tolerance=1e-4, unit="us", source="pencil: 54 972.271 m")


@pytest.mark.parametrize(
    ("line", "ground_m", "azimuth_deg"),
    [
        ((35.60777, -139.44815, -11.17491, -69.95921), 8_935_244.5604818305, 111.098748429560326),
        ((-19.79938, -174.47484, -11.99349, -154.35109), 2_319_004.8601169389, 71.167275780171533),
        ((55.52454, 106.05087, 77.03196, 197.18234), 4_105_086.1713924406, None),
    ],
)
def test_geodtest_rows(
    published: Callable[..., None], line: tuple[float, ...], ground_m: float, azimuth_deg: float | None
) -> None:
    """Rows of the GeodTest set, whose numbers are good to the nanometre."""
    ours_m, ours_deg, _ = inverse(*line)

    published("geodesic", ours_m, ground_m, tolerance=1e-8, unit="m", source=GEODTEST)
    if azimuth_deg is not None:
        published("azimuth", ours_deg, azimuth_deg, tolerance=1e-12, unit="deg", source=GEODTEST)


def test_long_lines(published: Callable[..., None]) -> None:
    """Across the Atlantic: the two lines that the libraries' documentation carries."""
    ground_m, azimuth_deg, back_deg = inverse(40.6, -73.8, 49.01666667, 2.55)
    source = "geographiclib's tests, GeodSolve0"
    published("geodesic", ground_m, 5_853_226, tolerance=0.5, unit="m", source=source)
    published("azimuth", azimuth_deg, 53.47022, tolerance=5e-6, unit="deg", source=source)
    published("azimuth at the end", back_deg - 180, 111.59367, tolerance=5e-6, unit="deg", source=source)

    ground_m, azimuth_deg, back_deg = inverse(40.6, -73.8, 51.6, -0.5)
    source = "JFK to LHR, input of PROJ's geod examples; numbers by geographiclib"
    published("geodesic", ground_m, 5_551_759.400, tolerance=1e-3, unit="m", source=source)
    published("azimuth", azimuth_deg, 51.198883, tolerance=1e-6, unit="deg", source=source)
    published("azimuth at the end", back_deg - 180, 107.821777, tolerance=1e-6, unit="deg", source=source)


def test_nearly_antipodal_pairs_converge(published: Callable[..., None]) -> None:
    """Where iterations of Vincenty's kind fail, an answer comes all the same."""
    ground_m, azimuth_deg, _ = inverse(0, 0, 0, 179.5)
    source = "geographiclib's tests, GeodSolve2"
    published("geodesic", ground_m, 19_980_862, tolerance=0.5, unit="m", source="geographiclib's tests, antipodal")
    published(
        "azimuth north of the equator",
        min(azimuth_deg, 180 - azimuth_deg),  # both ways round are equally short
        55.96650,
        tolerance=5e-6,
        unit="deg",
        source=source,
    )
    published("pole to pole", inverse(0, 0, 0, 180)[0], 20_003_931, tolerance=0.5, unit="m", source=source)


@pytest.mark.parametrize(
    ("ellipsoid", "lat1", "lat2", "longitude_difference", "ground_m", "azimuths"),
    [
        (
            {"a": 6_377_397.155, "rf": 299.1528128},
            dms(55, 45, 0),
            -dms(33, 26, 0),
            dms(108, 13, 0),
            14_110_526.170,
            (dms(96, 36, 8.79960), dms(137, 52, 22.01454)),
        ),
        (
            {"a": 6_378_388.0, "rf": 297.0},
            dms(37, 19, 54.95367),
            dms(26, 7, 42.83946),
            dms(41, 28, 35.50729),
            4_085_966.703,
            (dms(95, 27, 59.63089), dms(118, 5, 58.96161)),
        ),
        (
            {"a": 6_378_388.0, "rf": 297.0},
            dms(35, 16, 11.24862),
            dms(67, 22, 14.77638),
            dms(137, 47, 28.31435),
            8_084_823.839,
            None,
        ),
    ],
)
def test_vincenty_table(
    published: Callable[..., None],
    ellipsoid: dict[str, float],
    lat1: float,
    lat2: float,
    longitude_difference: float,
    ground_m: float,
    azimuths: tuple[float, float] | None,
) -> None:
    """Lines (a), (b), (c) on the ellipsoids of the paper, by the engine of pyproj that `line` stands on."""
    ahead, back, ours_m = Geod(**ellipsoid).inv(0.0, lat1, longitude_difference, lat2)

    published("geodesic", ours_m, ground_m, tolerance=1e-3, unit="m", source=VINCENTY)
    if azimuths:
        for what, ours, theirs in zip(("azimuth", "azimuth at the end"), (ahead, back + 180), azimuths, strict=True):
            published(what, math.fmod(ours, 360), theirs, tolerance=1e-4 * SECOND_DEG, unit="deg", source=VINCENTY)
