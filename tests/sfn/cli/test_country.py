"""`country` from end to end: asked, fetched from a server of the tests' own, and the network stands on it without a net."""

import _thread
import json
import os
import re
import shutil
import signal
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import rasterio
from PIL import Image

from sfn.cli import main
from sfn.geodesy.sites import placed_sites
from sfn.plan import read
from tests.sfn.country.small_server import Store, serving
from tests.sfn.country.small_tiles import (
    heights_name,
    places_line,
    slope,
    write_cover,
    write_heights,
    write_people,
    write_places,
)

EXAMPLE = Path(__file__).parent.parent / "example-network.json"
BOUNDS = "36.15,-84.45,36.45,-84.05"
TERRAIN = "(c) DLR e.V. 2010-2014 and (c) Airbus Defence and Space GmbH 2014-2018"
SETS = ("HEIGHTS", "HEIGHTS_COARSE", "COVER", "PEOPLE", "NAMES")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every set's tile of the example network."""
    folder = tmp_path_factory.mktemp("sets")
    write_heights(folder, 36, -85)
    # Woods from 36.40 to 36.35 N, 84.40 to 84.35 W of a country of grass.
    write_cover(folder, 36, -87, {(29_000, 30_000, 6_500, 6_000): 30, (31_200, 31_200, 600, 600): 10})
    # Cells from 36.3496 N, 84.3413 W on: 60 x 120 of them with 5 people each.
    write_people(folder, 6, 10, {(3300, 6800): np.full((60, 120), 5.0)})
    write_places(folder, [places_line("Ridgeway", 36.3, -84.2, 4200)])
    return folder


@pytest.fixture
def server(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """A server that all settings name; data, document and server of this test alone."""
    monkeypatch.setenv("SFN_DELAYS_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    with serving(Store(made)) as store:
        for name in SETS:
            monkeypatch.setenv(f"SFN_DELAYS_SOURCE_{name}", store.base)
        yield store


@pytest.fixture
def network(tmp_path: Path) -> Path:
    """The example network in a folder of its own."""
    folder = tmp_path / "mine"
    folder.mkdir()
    return Path(shutil.copy(EXAMPLE, folder / "valley.json"))


def no_net(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever opens a connection fails."""

    def refuse(*_: object) -> None:
        raise AssertionError("somebody opens a connection")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket.socket, "connect_ex", refuse)


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, object]:
    """A command's JSON document."""
    assert main([*words, "--json"]) == 0
    return dict(json.loads(capsys.readouterr().out))


def stands_on_it(network: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """`path`, `point` and `zones` over the fetched ground."""
    path = answer(capsys, "path", str(network), "--site", "north", "--at", "36.25,-84.15")
    there = float(slope(np.array(36.25), np.array(-84.15)))
    profile = path["profile"]
    assert isinstance(profile, dict)
    assert profile["ground_m"][-1] == pytest.approx(there, abs=0.01)
    assert path["smooth_earth"] is False

    woods = answer(capsys, "path", str(network), "--site", "north", "--at", "36.375,-84.375")["profile"]
    assert isinstance(woods, dict)
    assert woods["ground_m"][-1] == pytest.approx(float(slope(np.array(36.375), np.array(-84.375))) - 15.0, abs=0.01)

    point = answer(capsys, "point", str(network), "--at", "36.25,-84.15")
    assert point["rx_ground_m"] == pytest.approx(there, abs=0.01)

    out = tmp_path / "zones"
    zones = answer(capsys, "zones", str(network), "--out", str(out), "--bounds", BOUNDS, "--pixel-m", "500")
    assert zones["people"] == pytest.approx(60 * 120 * 5.0, rel=1e-3)
    assert (out / "level_difference_db.tif").exists()
    with rasterio.open(out / "people_counted.tif") as counted, rasterio.open(out / "people_without.tif") as without:
        people, lacking = (float(np.nansum(one.read(1))) for one in (counted, without))
    assert people == pytest.approx(60 * 120 * 5.0, rel=1e-3)
    served = zones["served_people"]
    assert people - lacking == pytest.approx(served, rel=1e-3, abs=1.0)


def figures(network: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> list[dict[str, object]]:
    """All that `point` and `zones` answer, people among it, but for names of files."""
    point = answer(capsys, "point", str(network), "--at", "36.25,-84.15")
    words = ("--out", str(tmp_path / "z"), "--bounds", BOUNDS, "--pixel-m", "1000")
    zones = answer(capsys, "zones", str(network), *words)
    return [point, {key: value for key, value in zones.items() if key not in ("layers", "lines")}]


def test_the_network_stands_on_what_was_fetched_without_a_net(
    server: Store, network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Shown, fetched, made, named in the document; then every command works with all connections refused."""
    before = json.loads(network.read_text(encoding="utf-8"))
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes"]) == 0
    said = capsys.readouterr().out

    assert heights_name(36, -85) in said
    assert "free of charge with its notice" in said
    assert "(c) ESA WorldCover project" in said
    assert f"{network} now names: terrain, cover, listeners" in said
    after = json.loads(network.read_text(encoding="utf-8"))
    assert {key: value for key, value in after.items() if key in before} == before
    assert after["terrain"] == {"folder": "valley-country/heights", "heights_of": "surface"}
    no_net(monkeypatch)
    stands_on_it(network, capsys, tmp_path)


def test_beyond_the_cut_cover_treetops_are_said_to_count_as_bare_ground(
    server: Store, network: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Heights come in whole tiles of treetops, cover for the area: what lies between is said wherever levels are."""
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes"]) == 0
    capsys.readouterr()
    inside, beyond = "36.30,-84.20", "36.30,-84.03"
    assert answer(capsys, "point", str(network), "--at", inside)["treetops_say"] is None
    said = answer(capsys, "point", str(network), "--at", beyond)["treetops_say"]
    assert str(said).startswith("At this place heights are those of treetops")
    path = answer(capsys, "path", str(network), "--site", "north", "--at", beyond)
    # From 84.05 W (the cut, to a sample of 37 m) to 84.03 W at 36.3 N: 0.02 x 111.32 x cos 36.3 = 1.79 km, slanting.
    assert 1750.0 < float(str(path["treetops_m"])) < 2600.0

    def zones(bounds: str) -> dict[str, object]:
        """The map of an area."""
        return answer(
            capsys, "zones", str(network), "--out", str(tmp_path / "z"), "--bounds", bounds, "--pixel-m", "500"
        )

    whole = zones("36.20,-84.40,36.40,-84.10")
    assert (whole["treetops_km2"], whole["treetops_say"]) == (0.0, None)
    half = zones("36.20,-84.08,36.40,-84.02")
    assert float(str(half["treetops_km2"])) == pytest.approx(float(str(half["spoken_km2"])) / 2, rel=0.12)
    assert "count as served" in str(half["treetops_say"])
    assert main(["check", str(network), "--json"]) in (0, 1)
    found = [p for p in json.loads(capsys.readouterr().out)["problems"] if p["code"] == "surface-beyond-cover"]
    assert [(p["severity"], p["where"]) for p in found] == [("warning", "cover")]


def test_sites_whose_ground_nobody_knows_are_told_it(
    server: Store, network: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever has no heights comes for them: the area is found without, and what else is wrong is refused as ever."""
    document = json.loads(network.read_text())
    for site in document["sites"]:
        if site["id"] in ("north", "south"):
            del site["ground_m"]
    network.write_text(json.dumps(document))
    assert main(["country", str(network), "--bounds", BOUNDS, "--what", "heights", "--yes", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    (north,) = [said for said in told["says"] if said.startswith("North ridge has no ground_m")]
    at = placed_sites(read(json.dumps(json.loads(EXAMPLE.read_text())))).at["north"]
    assert f"{slope(np.array(at.lat_deg), np.array(at.lon_deg)):.1f} m by these heights" in north
    assert sum("has no ground_m" in said for said in told["says"]) == 2
    after = json.loads(network.read_text())
    assert "terrain" in after
    assert all("ground_m" not in site for site in after["sites"] if site["id"] in ("north", "south"))

    del document["sites"][0]["position"]
    network.write_text(json.dumps(document))
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes"]) == 2
    assert "position" in capsys.readouterr().err


def test_it_is_carried_to_a_machine_without_a_net(
    server: Store, network: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Packed here; there fetching is forbidden, and the network stands all the same."""
    carried = tmp_path / "stick.zip"
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes", "--pack", str(carried)]) == 0
    capsys.readouterr()
    before = figures(network, capsys, tmp_path)
    monkeypatch.setenv("SFN_DELAYS_DATA", str(tmp_path / "other"))
    monkeypatch.setenv("SFN_DELAYS_DOWNLOADS", "no")
    there = tmp_path / "there"
    there.mkdir()
    copied = Path(shutil.copy(EXAMPLE, there / "valley.json"))
    no_net(monkeypatch)
    capsys.readouterr()
    found = answer(capsys, "country", str(copied), "--bounds", BOUNDS, "--unpack", str(carried))

    assert found["fetched"] == 0
    assert found["problems"] == []
    assert found["written"] == ["terrain", "cover", "listeners"]
    stands_on_it(copied, capsys, tmp_path)
    assert figures(copied, capsys, tmp_path) == before


def test_ctrl_c_says_what_is_kept(
    server: Store, network: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the middle of a tile: how many files are whole, how much of that one came; the same command goes on."""
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes", "--what", "names"]) == 0
    server.faults["_DEM.tif"] = "slow 3"
    held = Path(os.environ["SFN_DELAYS_DATA"]) / "country" / "heights"

    def interrupt() -> None:
        while not any(path.stat().st_size for path in held.glob("*.part")):
            time.sleep(0.01)
        _thread.interrupt_main()

    watching = threading.Thread(target=interrupt)
    # A shell that starts the tests in the background has Ctrl-C passed over.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    watching.start()
    try:
        capsys.readouterr()
        assert main(["country", str(network), "--bounds", BOUNDS, "--yes", "--what", "heights,names"]) == 130
    finally:
        signal.signal(signal.SIGINT, before)
        server.faults.clear()
        watching.join(30)
    (part,) = held.glob("*.part")
    said = capsys.readouterr().err
    assert "what came is kept: 1 of 2 files are here whole, 0.0 MB" in said
    assert f"; of {part.stem} {part.stat().st_size / 1e6:.1f} MB came. The same command goes on." in said
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes", "--what", "heights,names"]) == 0
    assert server.asked[-1][2].startswith("bytes=")


def test_nobody_is_asked_where_nobody_says_yes(
    server: Store, network: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a terminal it wants --yes; with one, anything but yes is no. No request leaves."""
    assert main(["country", str(network), "--bounds", BOUNDS]) == 2
    assert "--yes: is not given" in capsys.readouterr().err
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("builtins.input", lambda _: "no")
    before = network.read_bytes()
    assert main(["country", str(network), "--bounds", BOUNDS]) == 0
    assert "nothing was fetched" in capsys.readouterr().out
    monkeypatch.setenv("SFN_DELAYS_DOWNLOADS", "no")
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes"]) == 2
    assert "SFN_DELAYS_DOWNLOADS: is no" in capsys.readouterr().err
    assert server.asked == []
    assert network.read_bytes() == before


def test_what_the_document_names_of_its_own_stays(
    server: Store, network: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Somebody's own terrain is not exchanged for another; sets that are left out are not asked for."""
    document = json.loads(network.read_text(encoding="utf-8")) | {"terrain": {"source": "ridge"}}
    network.write_text(json.dumps(document), encoding="utf-8")
    found = answer(capsys, "country", str(network), "--bounds", BOUNDS, "--yes", "--what", "heights,names")

    assert found["written"] == ["listeners"]
    assert found["kept"] == ["terrain"]
    after = json.loads(network.read_text(encoding="utf-8"))
    assert after["terrain"] == {"source": "ridge"}
    assert after["listeners"] == {"file": "valley-country/names/GeoNames-places.csv"}
    assert {path.rpartition("/")[2] for _, path, _ in server.asked} == {
        heights_name(36, -85).rpartition("/")[2],
        "cities500.zip",
    }
    assert main(["country", str(network), "--what", "heights,castles"]) == 2
    assert "--what: cannot be 'castles'" in capsys.readouterr().err


def test_a_fault_is_said_and_the_rest_is_kept(server: Store, network: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2, the tile by its name; the next run fetches that one alone."""
    server.faults["R6_C10.zip"] = "403"
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes"]) == 2
    said = capsys.readouterr().out
    assert "R6_C10.zip: the server refuses it (403)" in said
    assert "the same command asks for the rest alone" in said
    assert json.loads(network.read_text(encoding="utf-8"))["listeners"]["file"].endswith("GeoNames-places.csv")
    server.faults.clear()
    server.asked.clear()
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes"]) == 0
    assert len(server.asked) == 1
    after = json.loads(network.read_text(encoding="utf-8"))
    assert after["listeners"] == {"file": "valley-country/people/GHS-POP-2020.tif"}
    assert "of its own" not in capsys.readouterr().out


def test_a_mirror_that_says_403_for_sea_gives_the_heights_all_the_same(
    server: Store, network: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The first square asked for is one of the sea; where the mirror refuses everything, the other sets stand."""
    server.missing = 403
    area = ("--bounds", "35.8,-84.45,36.45,-84.05", "--yes")
    try:
        # This mirror has no coarser heights at all, which is asked about first.
        assert main(["country", str(network), *area]) == 2
        assert "SFN_DELAYS_SOURCE_HEIGHTS_COARSE=none: it is sea then" in capsys.readouterr().out
        monkeypatch.setenv("SFN_DELAYS_SOURCE_HEIGHTS_COARSE", "none")
        found = answer(capsys, "country", str(network), *area)
        assert found["problems"] == []
        assert [name for name in found["sea"] if "COG" in name] == [Path(heights_name(35, -85)).name]  # type: ignore[attr-defined]
        assert set(found["written"]) == {"terrain", "cover", "zones", "listeners"}  # type: ignore[call-overload]
        network.write_text(EXAMPLE.read_text(encoding="utf-8"), encoding="utf-8")
        server.faults["_DEM.tif"] = "403"
        assert main(["country", str(network), "--bounds", "36.15,-85.4,36.45,-84.05", "--yes"]) == 2
        said = capsys.readouterr().out
        assert f"{Path(heights_name(36, -86)).name}: the server refuses it (403): refused, or not there" in said
        assert "now names: cover" in said
    finally:
        server.missing = 404


def test_a_file_that_is_none_is_not_unpacked(
    server: Store, network: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In words, and nothing is taken."""
    stick = tmp_path / "stick.zip"
    stick.write_bytes(b"no archive")
    assert main(["country", str(network), "--unpack", str(stick)]) == 2
    assert "is no archive, or a damaged one; a file that country --pack wrote" in capsys.readouterr().err


def test_whose_data_they_are_stands_on_all_that_rests_on_them(
    server: Store, network: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In GeoTIFF, picture, CSV, GeoJSON and KML of the map, in contours and in the answer."""
    assert main(["country", str(network), "--bounds", BOUNDS, "--yes"]) == 0
    capsys.readouterr()
    out = tmp_path / "zones"
    words = ("zones", str(network), "--out", str(out), "--bounds", BOUNDS, "--pixel-m", "1500")
    zones = answer(capsys, *words, "--forms", "tif,png,csv,geojson,kml")
    lines = out / "contours.geojson"
    assert main(["contours", str(network), "--level-dbuvm", "54", "--bounds", BOUNDS, "--out", str(lines)]) == 0

    named = [TERRAIN, "(c) ESA WorldCover project", "Schiavina et al. 2023"]
    with rasterio.open(out / "level_difference_db.tif") as made:
        tagged = made.tags()["credits"]
    with Image.open(out / "level_difference_db.png") as picture:
        described = picture.info["Description"]
        assert [name for name in named if name not in picture.info["Copyright"]] == []
    texts = [
        str(zones["credits"]), str(zones["people_source"]), tagged, described, lines.read_text(encoding="utf-8"),
        *((out / name).read_text(encoding="utf-8") for name in ("layers.csv", "wavefronts.geojson", "wavefronts.kml")),
    ]  # fmt: skip
    assert [name for name in named if name not in texts[0]] == []
    assert [[name for name in named if name not in text] for text in texts[2:]] == [[]] * (len(texts) - 2)
    assert named[2] in texts[1]

    capsys.readouterr()
    at, plot = "36.30,-84.20", tmp_path / "path.svg"
    line = tmp_path / "line.csv"
    line.write_text("lat,lon\n36.30,-84.20\n36.32,-84.18\n", encoding="utf-8")
    site = json.loads(network.read_text(encoding="utf-8"))["sites"][0]["id"]
    path = ("path", str(network), "--site", site, "--at", at)
    search = ("optimise", str(network), "--pixel-m", "5000", "--budget-s", "0.5")
    point, road, plans = (
        ("point", str(network), "--at", at),
        ("road", str(network), str(line)),
        (*search, "--vary", "offset"),
    )
    for asked in (point, road, path, search, plans):
        said = str(answer(capsys, *asked)["credits"])
        assert [name for name in named if name not in said] == [], asked
    for asked in (point, (*path, "--plot", str(plot))):
        assert main(list(asked)) == 0
        said = capsys.readouterr().out
        assert [name for name in named if name not in said] == [], asked
    drawn = " ".join(re.findall(r"<!-- (.*?) -->", plot.read_text(encoding="utf-8")))
    assert [name for name in named if name not in drawn] == []
