"""Pictures that a person would put in a report: whole files, the right words, the same each time."""

from concurrent.futures import ThreadPoolExecutor
from xml.etree.ElementTree import fromstring

import pytest

from sfn.antenna import Pattern
from sfn.field.path import PathLevels, path_levels
from sfn.field.transmitter import Transmitter
from sfn.report.plots import path_plot, pattern_plot
from sfn.terrain.ground import Ground, GroundWindow, ground_window
from sfn.terrain.ridge import ridge

SUMMIT = Transmitter(
    id="summit", lat_deg=36.19833, lon_deg=-84.23083, ground_m=1076.0, antenna_m=60.0, erp_h_kw=3.0, erp_v_kw=0.0,
    frequency_mhz=98.3, delta_n=45.0, surface_refractivity_n0=325.0,
)  # fmt: skip
WORDS = {
    "tx_name": "Summit <A&B>",
    "rx_name": "Town",
    "frequency_mhz": 98.3,
    "radius_km": 8930.8,
    "refractivity_n": 315.0,
}


def over_ridge(lat_deg: float, lon_deg: float) -> PathLevels:
    """A path over the ridge terrain."""
    window = ground_window(Ground(terrain=ridge()), south_deg=36.16, west_deg=-84.41, north_deg=36.44, east_deg=-84.08)
    return path_levels(SUMMIT, lat_deg, lon_deg, ground=window, rx_height_m=1.5)


@pytest.mark.parametrize("place", [(36.335, -84.2), (36.25, -84.235), (36.10, -84.2), (36.19833, -84.23083)])
def test_every_kind_of_path_can_be_drawn(place: tuple[float, float]) -> None:
    """Obstructed, open, leaving the terrain, and of no length: each gives a whole SVG."""
    root = fromstring(path_plot(over_ridge(*place), **WORDS))

    assert root.tag.endswith("svg")
    assert len(list(root.iter())) > 50


def test_a_smooth_earth_can_be_drawn() -> None:
    """Without terrain the picture is that of the bulging earth."""
    levels = path_levels(SUMMIT, 37.0, -84.0, ground=GroundWindow(), rx_height_m=1.5)

    assert path_plot(levels, **WORDS, picture="png").startswith(b"\x89PNG")


def test_the_same_path_gives_the_same_picture() -> None:
    """No date, no random names, and several threads at once draw the same."""
    levels = over_ridge(36.335, -84.2)
    with ThreadPoolExecutor(4) as executor:
        pictures = set(executor.map(lambda _: path_plot(levels, **WORDS, picture="png"), range(4)))

    assert 1 == len(pictures)


def test_an_antenna_can_be_seen() -> None:
    """The imported pattern as it hangs, in both planes."""
    table = ((0.0, 0.0), (90.0, 6.0), (180.0, 20.0), (270.0, 8.0))
    pattern = Pattern(120.0, 1.0, 0.5, table, ((-10.0, 20.0), (0.0, 0.0), (10.0, 20.0)), None, None)

    assert pattern_plot(pattern, picture="png").startswith(b"\x89PNG")
    assert fromstring(pattern_plot(pattern, plane="v")).tag.endswith("svg")
