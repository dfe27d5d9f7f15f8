"""The doubts that a position raises by its digits, its datum and its place, each with what it is worth.

Worth is how far the site may stand from where it was taken to be: one step of the last digit written, the stated
accuracy of a datum transformation, the way back into the area that a grid is made for.
"""

from collections.abc import Iterator

from sfn.geodesy.datum import Shifted
from sfn.geodesy.doubt import HALF_ROUND_M, Doubt, doubt, in_words, length_said, worth
from sfn.geodesy.line import inverse
from sfn.units import grouped

# 0.1 arc-second, 3.1 m or 10 ns: what a position should at least be written to, and a transformation be good for.
COARSEST_STEP_DEG = 0.1 / 3600
METRES_PER_DEGREE_M = 111_132.0  # of latitude at 45 degrees
KILOMETRE_M = 1000.0
# A lost hemisphere letter shows beside the other sites, unless it moves the site by less than this.
NEAR_M = 200_000.0
FINER = "0.1 arc-second or finer: seconds with a decimal, degrees with five, metres"


def coarse(step_m: float, *, square: bool) -> Doubt:
    """Too few digits: a square of a grid, or a coarse last digit."""
    what = f"the position is written to {grouped(step_m, '.0f')} m only, that is {grouped(worth(step_m), '.2f')} us"
    kilometres = square and step_m >= KILOMETRE_M * (1 - 1e-9)
    code = "position-kilometre-square" if kilometres else "position-coarse"
    said = {"length_said": f"{grouped(step_m, '.0f')} m", "worth_said": f"{grouped(worth(step_m), '.2f')} us"}
    return doubt(code, "text", what, FINER, doubt_m=step_m, said=said)


def round_numbers(numbers: tuple[float, float], *, unit_m: float, field: str) -> tuple[Doubt, ...]:
    """Eastings and northings in whole kilometres or hundreds of metres: rounded, most likely."""
    for step, words, code in (
        (1000.0, "whole thousands", "position-kilometre-square"),
        (100.0, "whole hundreds", "position-coarse"),
    ):
        if all(number % step == 0 for number in numbers):
            step_m = step * unit_m
            what = f"easting and northing are {words}: rounded to {in_words(step_m)}?"
            expected = "metres to the last digit; with a decimal, such as 500000.0, where they are exact"
            return (doubt(code, field, what, expected, doubt_m=step_m, said=length_said(step_m) | {"rounded": "yes"}),)
    return ()


def datum_doubt(shifted: Shifted) -> Iterator[Doubt]:
    """What the way from the datum to WGS84 leaves open, where it is worth saying."""
    accuracy_m, better = shifted.accuracy_m, shifted.better_transformation
    expected = better or "a position surveyed in WGS 84"
    if accuracy_m is None:
        what = f"no accuracy is stated for the transformation {shifted.transformation}"
        what += f", which moves the place by {in_words(shifted.datum_shift_m)}"
        said = {
            "unstated": "yes",
            **shifted.better_said,
            "transformation": shifted.transformation,
            **length_said(shifted.datum_shift_m),
        }
        yield doubt("position-datum", "crs", what, expected, doubt_m=shifted.datum_shift_m, said=said)
    elif better or accuracy_m > COARSEST_STEP_DEG * METRES_PER_DEGREE_M:
        what = f"{shifted.transformation} is good to {accuracy_m:g} m"
        what += "; there is a better one" if better else f", that is {worth(accuracy_m):.3f} us"
        yield doubt(
            "position-datum", "crs", what, expected, doubt_m=accuracy_m,
            said={"better": better or None, **shifted.better_said, "transformation": shifted.transformation,
                  "good_to": f"{accuracy_m:g} m",
                  "worth_said": f"{worth(accuracy_m):.3f} us"},
        )  # fmt: skip


def outside(shifted: Shifted, *, system_name: str) -> Doubt:
    """A place that a system of coordinates is not made for: as doubtful as the way back is long."""
    lat, lon = shifted.lat_deg, shifted.lon_deg
    what = (
        f"{lat:.4f}, {lon:.4f} lies outside the area of {system_name}, by "
        f"{grouped(shifted.outside_m / 1000, '.0f')} km, that is {grouped(worth(shifted.outside_m), '.0f')} us"
    )
    expected = f"a place within {shifted.outside}; if it is right, written as {lat:.6f}, {lon:.6f} in EPSG:4326"
    said = {
        "at": f"{lat:.4f}, {lon:.4f}", "system": system_name, "km": grouped(shifted.outside_m / 1000, ".0f"),
        "worth_said": f"{grouped(worth(shifted.outside_m), '.0f')} us", "written": f"{lat:.6f}, {lon:.6f}",
        **shifted.area_said,
    }  # fmt: skip
    return doubt("position-outside-area", "crs", what, expected, doubt_m=shifted.outside_m, said=said)


ZEROS = {
    "origin": "0, 0 lies in the Gulf of Guinea",
    "degrees": "a latitude or longitude of exactly 0",
    "grid": "an easting or a northing of exactly 0",
}


def zero(of: str, *, field: str) -> Doubt:
    """An exact zero, one of `ZEROS`: what an empty cell leaves behind."""
    what = f"{ZEROS[of]}: an empty cell?"
    return doubt("position-zero", field, what, "the position", doubt_m=HALF_ROUND_M, said={of: "yes"})


def hemisphere(lat_deg: float, lon_deg: float) -> tuple[Doubt, ...]:
    """Degrees and minutes without letter or sign, too near to the equator or Greenwich for other sites to show it."""
    mirrored = [(lat_deg, -lon_deg, "west of Greenwich"), (-lat_deg, lon_deg, "south of the equator")]
    away = [(float(inverse(lat_deg, lon_deg, lat, lon)[0]), words) for lat, lon, words in mirrored]
    away_m, words = min(away)
    said = {"south" if words == mirrored[1][2] else "west": "yes", **length_said(away_m)}
    if not 0.0 < away_m < NEAR_M:
        return ()
    what = f"no letter says the hemisphere: taken as north and east, {words} it would lie {in_words(away_m)} away"
    expected = "a letter with both, N or S and E or W"
    return (doubt("position-hemisphere", "text", what, expected, doubt_m=away_m, said=said),)
