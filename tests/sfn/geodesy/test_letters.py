"""British and Irish references, and the names of grids that are not read."""

import pytest
from hypothesis import given, settings, strategies as st

from sfn.errors import PlanError
from sfn.geodesy.letters import read_lettered
from sfn.geodesy.position import locate

# The National Grid as its maps print it: rows from the north, squares of 100 km from the west, from memory.
BRITISH = """HL HM HN HO HP JL JM
HQ HR HS HT HU JQ JR
HV HW HX HY HZ JV JW
NA NB NC ND NE OA OB
NF NG NH NJ NK OF OG
NL NM NN NO NP OL OM
NQ NR NS NT NU OQ OR
NV NW NX NY NZ OV OW
SA SB SC SD SE TA TB
SF SG SH SJ SK TF TG
SL SM SN SO SP TL TM
SQ SR SS ST SU TQ TR
SV SW SX SY SZ TV TW"""
IRISH = "ABCDE FGHJK LMNOP QRSTU VWXYZ"


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 12), st.integers(0, 6), st.integers(1, 5), st.data())
def test_british_squares_are_those_of_the_printed_grid(row: int, column: int, digits: int, data: st.DataObject) -> None:
    """Any reference is the middle of its square in eastings and northings, and says how large the square is."""
    pair = BRITISH.splitlines()[row].split()[column]
    most = 10**digits - 1
    east, north = data.draw(st.integers(0, most)), data.draw(st.integers(0, most))
    side_m = 10 ** (5 - digits)
    easting = column * 100_000 + (east + 0.5) * side_m
    northing = (12 - row) * 100_000 + (north + 0.5) * side_m
    text = data.draw(st.sampled_from(["{} {} {}", "{}{}{}", "{}{} {}"])).format(
        pair.lower() if digits % 2 else pair, f"{east:0{digits}d}", f"{north:0{digits}d}"
    )

    square = read_lettered(text, code=4326)

    assert square is not None
    assert (27700, easting, northing, side_m) == (square.code, square.easting_m, square.northing_m, square.side_m)


@pytest.mark.parametrize(
    ("text", "easting_m", "northing_m", "side_m", "code"),
    [
        ("TQ 38876 12345", 538_876.5, 112_345.5, 1.0, None),
        ("su3876 1234", 438_765.0, 112_345.0, 10.0, "position-coarse"),
        ("NT 38 12", 338_500.0, 612_500.0, 1000.0, "position-kilometre-square"),
    ],
)
def test_a_square_is_its_middle_and_doubted_by_its_side(
    text: str, easting_m: float, northing_m: float, side_m: float, code: str | None
) -> None:
    """A lettered reference is located where its numbers are, with a doubt as large as its square and its datum's."""
    lettered = locate(text=text)
    numeric = locate(text=f"E {easting_m} m N {northing_m} m", crs="EPSG:27700")

    assert (numeric.lat_deg, numeric.lon_deg) == (lettered.lat_deg, lettered.lon_deg)
    worth_m = {d.code: d.doubt_m for d in lettered.doubts}
    expected = {"position-datum": 2.0} | ({code: side_m} if code else {})
    assert expected == pytest.approx(worth_m)
    assert side_m + 2.0 == pytest.approx(lettered.position_m)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 4), st.integers(0, 4), st.integers(10_000, 99_999), st.integers(10_000, 99_999))
def test_irish_squares_are_five_by_five(row: int, column: int, east: int, north: int) -> None:
    """One letter, A in the north-west; metres are those of the Irish grid."""
    letter = IRISH.split()[row][column]

    square = read_lettered(f"{letter} {east} {north}", code=29903)

    assert square is not None
    assert (column * 100_000 + east + 0.5, (4 - row) * 100_000 + north + 0.5) == (square.easting_m, square.northing_m)


def test_letters_bring_their_own_grid() -> None:
    """Without another crs, letters mean the grid on its own datum, not WGS84."""
    assert ("EPSG:27700", "OSGB36") == (locate(text="TQ 38876 12345").crs, locate(text="TQ 38876 12345").datum)
    assert ("EPSG:29903", "TM75") == (locate(text="O 15904 34671").crs, locate(text="O 15904 34671").datum)
    assert "EPSG:29902" == locate(text="O 15904 34671", crs="EPSG:29902").crs


@pytest.mark.parametrize(
    ("text", "crs", "words"),
    [
        ("TQ 388 1234", "EPSG:4326", "has 7 digits; easting and northing need the same number"),
        ("AA 388 123", "EPSG:4326", "AA in 'AA 388 123' is no square of the British National Grid"),
        (
            "TQ 388 123",
            "EPSG:32630",
            "is a reference to the British National Grid, EPSG:27700, but the crs is EPSG:32630",
        ),
        ("O 15904 34671", "EPSG:27700", "is a reference to the Irish grid"),
        ("N 36 84", "EPSG:4326", "can be square N of the Irish grid, or a hemisphere before degrees"),
        ("JO31AB", "EPSG:4326", "looks like a Maidenhead locator"),
        ("GJPJ3716", "EPSG:4326", "looks like a World Geographic Reference (GEOREF)"),
        ("361HN37", "EPSG:4326", "looks like a Global Area Reference (GARS)"),
        ("9C3W9QCJ+2VX", "EPSG:4326", "looks like an Open Location Code"),
        ("TQ38C", "EPSG:4326", "looks like a British tetrad"),
        ("BQ31 12345 67890", "EPSG:4326", "looks like a lettered grid reference of another grid"),
        ("filled.count.soap", "EPSG:4326", "looks like an address of three words"),
    ],
)
def test_other_letters_are_refused_by_name(text: str, crs: str, words: str) -> None:
    """What is no British or Irish reference, or one with the wrong digits or crs, is refused in words."""
    with pytest.raises(PlanError) as refused:
        locate(text=text, crs=crs)

    assert words in str(refused.value)
    assert all(problem.code for problem in refused.value.problems)


@pytest.mark.parametrize(
    ("text", "side", "middle"),
    [
        ("TQ 38876 12345", "1 m", "easting 538876.5 and northing 112345.5"),
        ("su3876 1234", "10 m", "easting 438765 and northing 112345"),
        ("O 159 346", "100 m", "easting 315950 and northing 234650"),
    ],
)
def test_what_a_reference_names_and_where_in_it_the_site_was_put(text: str, side: str, middle: str) -> None:
    """The south-west corner by the letters (Ordnance Survey, A guide to coordinate systems), the middle as taken."""
    said = locate(text=text).read_as
    assert f"{text} names the south-west corner of a square of {side}; its middle was taken, {middle}," in said
    assert said.endswith(f"the side of {side} counts as its uncertainty")
    assert "the MGRS reference names the south-west corner of a square of 1 m" in locate(text="16SGF4414084706").read_as
