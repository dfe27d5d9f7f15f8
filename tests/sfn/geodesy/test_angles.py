"""Every spelling of latitude and longitude that is read, and every one that is refused."""

import re

import pytest
from hypothesis import assume, given, settings, strategies as st

from sfn.errors import PlanError
from sfn.geodesy.angles import read_angles

NORTH_RIDGE = (36.37, -84.25)  # 36 22 12 N, 84 15 0 W
ROUNDING_DEG = 1e-12

SPELLINGS = [
    "36.37000, -84.25000",
    "36.37000 -84.25000",
    "36.37;-84.25",
    "(36.37, -84.25)",
    "36.37, -84.25,",
    "36.37 −84.25",
    "+36.370-084.250/",
    "36.37°, -84.25°",
    "36.37N 84.25W",
    "36.37 N, 84.25 W",
    "N36.37 W84.25",
    "N36.37W84.25",
    "36.37N84.25W",
    "84.25W 36.37N",
    "w 84.25 n 36.37",
    "36.37 north, 84.25 west",
    "36.37 degrees north, 84.25 degrees west",
    "lat 36.37 lon -84.25",
    "Latitude: 36.37, Longitude: -84.25",
    "lon=-84.25 lat=36.37",
    "lng: -84.25; lat: 36.37",
    "36,37 -84,25",
    "36,37; -84,25",
    "36,37000,-84,25000",
    "36,37, -84,25",
    "36,37N 84,25W",
    "36 22.2 N 84 15 W",
    "36°22.2'N 84°15.0'W",
    "N 36° 22.2' W 84° 15'",
    "36°22,2'N 84°15,0'W",
    "36 22.2 -84 15.0",
    "36°22'12.0\"N 84°15'00.0\"W",
    "36º22′12″N 84º15′00″W",
    "36˚22’12”N, 84˚15’00”W",
    "36°22'12''N 84°15'00''W",
    "36° 22' 12\" N 84° 15' 0\" W",
    "36°22'12N 084°15'00W",
    "36 22 12 N, 84 15 00 W",
    "36 22 12 -84 15 00",
    "36 22 12, -84 15 00",
    "36°22'12\" -84°15'0\"",
    "36:22:12N 84:15:00W",
    "36:22:12 -84:15:00",
    "36-22-12 N 084-15-00 W",
    "36-22-12N 084-15-00W",
    "36d22m12sN 84d15m0sW",
    "36d 22m 12s N, 84d 15m 00s W",
    "36 deg 22 min 12 sec N 84 deg 15 min 0 sec W",
    "362212N 0841500W",
    "362212.0N0841500.0W",
    "3622.2N 08415.0W",
    "84W1500 36N2212",
    "36 22 12\t-84 15 00",
    "36.37\n-84.25",
    "36N2212 084W1500",
    "\u00a036°\u00a022'\u00a012\"\u00a0N\u00a084°\u00a015'\u00a00\"\u00a0W",
]


@pytest.mark.parametrize("text", SPELLINGS)
def test_spellings_of_one_place(text: str) -> None:
    """All of these are the same place."""
    angles = read_angles(text)

    assert NORTH_RIDGE == pytest.approx((angles.lat_deg, angles.lon_deg), abs=ROUNDING_DEG)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the position is empty"),
        ("()", "the position is empty"),
        ("somewhere", "'somewhere' is not understood"),
        ("36.37", "cannot be read as a position: where latitude ends and longitude begins cannot be told"),
        ("36,84", "the comma in '36,84' can be a decimal comma or stand between two numbers"),
        ("36°15,24°", "can be read as 36.25, 24 and, with decimal commas, as 36, 15.24"),
        ("36°5,20", "latitude and longitude are not written to the same parts"),
        ("36,2,84", "this has the form of 3 such numbers"),
        ("36.37-84.25", "the dash in '36.37-84.25' can be a minus sign or stand between two numbers"),
        ("36-84", "cannot be told, with 2 numbers"),
        ("-36.37-84.25", "can be a minus sign or stand between"),
        ("36,37-84,25", "can be a minus sign or stand between"),
        ("36 deg-84 deg", "can be a minus sign or stand between"),
        ("36-22-12-84-15-00", "cannot be told, with 6 numbers"),
        ("36.37 - 84.25", "can be a minus sign or stand between"),
        ("36°22'12\"-84°15'0\"", "can be a minus sign or stand between"),
        ("36.37; -84 15 00", "latitude and longitude are not written to the same parts"),
        ("36 22 12 0.65", "one of latitude and longitude would have a fraction and the other none"),
        ("36-24 15", "latitude and longitude are not written to the same parts"),
        ("36 22 12 84 15", "cannot be told, with 5 numbers"),
        ("36.37N, 84.25", "one of the two has a hemisphere letter, the other has none"),
        ("36.37N 84.25N", "both numbers are said to be the latitude"),
        ("-36.37 S 84.25 W", "the latitude has both a minus sign and the letter S"),
        ("lat 36.37 E lon 84.25 N", "the letter E does not belong to a latitude"),
        ("36.37N 84.25O", "the letter O in '36.37N 84.25O' can be west"),
        ("36d22m12S 84d15m0W", "the letter S after minutes marked m can be seconds or south"),
        ("-98.25, 36.37", "latitude -98.25 is beyond 90 degrees; was longitude written first?"),
        ("36.37, 275.75", "longitude 275.75 is beyond 180 degrees"),
        ("90.0001 N 0 E", "latitude 90.0001 is beyond 90 degrees"),
        ("36 75 N 84 15 W", "minutes of the latitude must be below 60, got 75"),
        ("36 22 12 N 84 15 60.0 W", "seconds of the longitude must be below 60, got 60.0"),
        ("36.5 22 N 84 15 W", "degrees 36.5 of the latitude have a fraction although a smaller part follows"),
        ("36221N 0841500W", "36221N has neither the 4 nor the 6 digits of a packed latitude"),
        ('36°12"N 84°15"W', "the parts of the latitude are not degrees, minutes and seconds"),
        ("36 22 12 5 N 84 W", "the parts of the latitude are not degrees, minutes and seconds"),
        ("° N 36 84", "has no number before it"),
        ("--36 84", "there are two signs before one number"),
        ("36..5 84", "is not understood"),
        ("٣٦ ٨٤", "is not understood"),
    ],
)
def test_what_cannot_be_read_is_refused_with_the_reason(text: str, words: str) -> None:
    """A text that is no position, or two positions, is refused in words that say why, with an example of a good one."""
    with pytest.raises(PlanError, match=re.escape(words)) as refused:
        read_angles(text)

    problem = refused.value.problems[0]
    assert "text" == problem.where
    assert problem.expected


@pytest.mark.parametrize(
    ("text", "kind", "step_deg"),
    [
        ("36.37000, -84.25000", "decimal degrees", 1e-5),
        ("36.37, -84.25000", "decimal degrees", 1e-2),
        ("36 22.20 N 84 15.00 W", "degrees and minutes", 0.01 / 60),
        ("36 22 12.0 N 84 15 00.0 W", "degrees, minutes and seconds", 0.1 / 3600),
        ("36 22 12 N 84 15 00 W", "degrees, minutes and seconds", 1 / 3600),
        ("362212N 0841500W", "degrees, minutes and seconds", 1 / 3600),
    ],
)
def test_resolution_is_that_of_the_last_digit(text: str, kind: str, step_deg: float) -> None:
    """The step of the last digit, the coarser of the two, and the name of the form."""
    angles = read_angles(text)

    assert kind == angles.kind
    assert step_deg == pytest.approx(angles.resolution_deg)


def test_minus_zero_degrees_keep_their_sign() -> None:
    """-0 30 is half a degree south, not north."""
    angles = read_angles("-0 30 0, -0 15 0")

    assert (angles.lat_deg, angles.lon_deg) == (-0.5, -0.25)


hundredths = st.integers(0, 90 * 360_000 - 1)
STYLES = [
    "{d}°{m:02d}'{s:05.2f}\"{h}",
    "{d} {m} {s:.2f} {h}",
    "{h}{d:03d} {m:02d} {s:05.2f}",
    "{d}:{m:02d}:{s:05.2f}{h}",
    "{d}-{m:02d}-{s:05.2f}{h}",
    "{d}d{m}m{s:.2f}s{h}",
]


@given(
    hundredths, hundredths, st.booleans(), st.booleans(), st.sampled_from(STYLES), st.sampled_from([" ", ", ", "; "])
)
def test_degrees_minutes_seconds_come_back(
    lat: int, lon: int, south: bool, west: bool, style: str, between: str
) -> None:
    """Any position written as degrees, minutes and seconds is read as what was written, to the last digit."""
    texts = []
    for value, letter in ((lat, "NS"[south]), (2 * lon, "EW"[west])):
        minutes, rest = divmod(value, 6000)
        texts.append(style.format(d=minutes // 60, m=minutes % 60, s=rest / 100, h=letter))

    angles = read_angles(between.join(texts))

    expected = (lat / 360_000 * (-1 if south else 1), 2 * lon / 360_000 * (-1 if west else 1))
    assert expected == pytest.approx((angles.lat_deg, angles.lon_deg), abs=ROUNDING_DEG)


@given(st.floats(-90, 90), st.floats(-180, 180), st.integers(0, 9), st.booleans(), st.sampled_from([" ", ";", "; "]))
def test_decimal_degrees_come_back(lat: float, lon: float, digits: int, comma: bool, between: str) -> None:
    """Any position written in decimal degrees, with points or commas, is read as what was written."""
    texts = [f"{lat:.{digits}f}", f"{lon:.{digits}f}"]

    angles = read_angles(between.join(text.replace(".", ",") if comma else text for text in texts))

    assert (float(texts[0]), float(texts[1])) == (angles.lat_deg, angles.lon_deg)


JOINTS = ["", " ", ":", "-"]
MARKS = [("", "", ""), ("°", "'", '"'), ("°", "′", "″"), ("d", "m", "s"), (" deg", " min", " sec"), ("°", "'", "")]


@st.composite
def written(draw: st.DrawFn, *, axis: str) -> tuple[str, float]:
    """One coordinate in a random spelling, and its value."""
    parts_n = draw(st.integers(1, 3))
    digits = draw(st.integers(0, 4))
    marks, joint = draw(st.sampled_from(MARKS)), draw(st.sampled_from(JOINTS))
    assume(parts_n == 1 or joint or all(marks[: parts_n - 1]))
    numbers = [
        draw(st.integers(0, 89 if axis == "lat" else 179)),
        *(draw(st.integers(0, 59)) for _ in range(parts_n - 1)),
    ]
    texts = [str(number) for number in numbers]
    if digits:
        texts[-1] += f".{draw(st.integers(0, 10**digits - 1)):0{digits}d}"
    value = sum(float(text) / 60**place for place, text in enumerate(texts))
    body = joint.join(text + mark for text, mark in zip(texts, marks, strict=False))
    negative = draw(st.booleans())
    letter = ("NS" if axis == "lat" else "EW")[negative]
    gap = draw(st.sampled_from(["", " "]))
    style = draw(st.sampled_from(["sign", "before", "behind"]))
    text = {"sign": "-" * negative + body, "before": letter + gap + body, "behind": body + gap + letter}[style]
    return text, -value if negative else value


@given(
    written(axis="lat"),
    written(axis="lon"),
    st.sampled_from([" ", ", ", ",", "; ", "/", " - ", "-", "\t"]),
    st.booleans(),
)
@settings(max_examples=200)
def test_what_is_read_is_what_was_written_or_it_is_refused(
    lat: tuple[str, float], lon: tuple[str, float], between: str, commas: bool
) -> None:
    """Two coordinates in any mixture of spellings are read as written, or not at all: never as another place."""
    text = lat[0] + between + lon[0]
    bare = [[word for word in re.split("[^0-9.]+", part) if word] for part, _ in (lat, lon)]
    # bare numbers alone do not tell 1 + 3 from 2 + 2: asked for equal parts, so only these are promised
    assume(re.search("[A-Za-z°]", text) or len(bare[0]) == len(bare[1]) or len(bare[0] + bare[1]) != 4)
    try:
        angles = read_angles(text.replace(".", ",") if commas else text)
    except PlanError:
        return

    assert (lat[1], lon[1]) == pytest.approx((angles.lat_deg, angles.lon_deg), abs=1e-9)
