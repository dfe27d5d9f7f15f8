"""`import sfn`: what it offers, that its answers are the commands' own, and that doubts travel into tables and arrays."""

import inspect
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import sfn
from sfn.cli import main

ROOT = Path(__file__).parent.parent.parent
RIDGE = ROOT / "demo_sites" / "fm_ridge.json"
PIXEL_M = 1500.0


def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    """What a command prints with ``--json``."""
    capsys.readouterr()
    assert main([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def as_printed(document: dict[str, Any]) -> Any:
    """A document as it comes back from JSON."""
    return json.loads(json.dumps(document, allow_nan=False))


@pytest.fixture(scope="module")
def ridge() -> sfn.Opened:
    """The FM demo."""
    return sfn.load_demo("fm_ridge")


@pytest.fixture(scope="module")
def covered(ridge: sfn.Opened) -> sfn.CoverageAnswer:
    """Its coverage, coarse."""
    return sfn.coverage(ridge, pixel_m=PIXEL_M)


def test_all_that_is_offered_is_there_and_signatures_stand_in_the_developers_file() -> None:
    """Each of the six functions is written there as it is."""
    written = " ".join((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split())
    for name in sfn.__all__:
        assert name in dir(sfn)
        assert getattr(sfn, name) is not None
    for name in ("load", "load_demo", "delay_table", "coverage", "point", "optimise"):
        asked = ", ".join(
            ("*, " if one.kind is one.KEYWORD_ONLY and first_keyword(name) == one.name else "") + shown(one)
            for one in inspect.signature(getattr(sfn, name)).parameters.values()
        )
        assert f"sfn.{name}({asked})" in written


def first_keyword(name: str) -> str | None:
    """The first parameter that must be named."""
    parameters = inspect.signature(getattr(sfn, name)).parameters.values()
    return next((one.name for one in parameters if one.kind is one.KEYWORD_ONLY), None)


def shown(one: inspect.Parameter) -> str:
    """A parameter with its default."""
    return one.name if one.default is one.empty else f"{one.name}={one.default!r}"


def test_an_unknown_name_is_no_attribute() -> None:
    """As of any module."""
    with pytest.raises(AttributeError, match="no attribute 'cover'"):
        sfn.cover  # noqa: B018


def test_loading_needs_no_compiler() -> None:
    """A document is read without numba, scipy's solvers or rasterio: `load_demo` answers at once."""
    code = (
        "import sys, sfn; sfn.load_demo(); print([m for m in ('numba', 'rasterio', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert done.stdout.strip() == "[]", done.stderr


def test_the_delay_table_is_the_commands(ridge: sfn.Opened, capsys: pytest.CaptureFixture[str]) -> None:
    """Same document; the frame has a row a site and route, each with its verdict."""
    answer = sfn.delay_table(ridge)
    assert as_printed(answer.document) == printed(capsys, "delays", str(RIDGE))
    frame = answer.to_frame()
    assert list(frame["id"]) == [row["id"] for row in answer.document["sites"]]
    assert set(frame["verdict"]) <= {"fit", "sign-off", "withheld"}
    assert frame.attrs["problems"] == answer.document["problems"]
    launched = frame["added_us"] + frame["latency_us"] - frame["offset_us"]
    assert np.allclose(launched, answer.document["common_delay_us"])


def test_a_point_is_the_commands(ridge: sfn.Opened, capsys: pytest.CaptureFixture[str]) -> None:
    """With something tried as well."""
    site = ridge.network.sites[1].id
    tries = sfn.WhatIf(offsets_us={site: 12.5})
    answer = sfn.point(ridge, 36.30, -84.20, tries=tries)
    assert as_printed(answer.document) == printed(
        capsys, "point", str(RIDGE), "--at", "36.30,-84.20", "--offset", f"{site}:12.5"
    )
    assert any(said.startswith("tried: ") for said in answer.says)
    assert list(answer.to_frame()["site"]) == [signal["site"] for signal in answer.document["signals"]]
    assert answer.to_frame().attrs["says"] == list(answer.says)


def test_a_lever_is_the_commands(ridge: sfn.Opened, capsys: pytest.CaptureFixture[str]) -> None:
    """A site at another place with less power."""
    lever = sfn.Lever(position="36.3402,-84.2107", power_db=-3.0)
    answer = sfn.point(ridge, 36.30, -84.20, tries=sfn.WhatIf(levers={"gap": lever}))
    typed = ("--position", "gap:36.3402,-84.2107", "--power", "gap:-3dB")
    assert as_printed(answer.document) == printed(capsys, "point", str(RIDGE), "--at", "36.30,-84.20", *typed)


def test_coverage_is_the_commands(
    covered: sfn.CoverageAnswer, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """But for the files, of which a library writes none."""
    theirs = printed(capsys, "zones", str(RIDGE), "--out", str(tmp_path), "--pixel-m", f"{PIXEL_M:g}")
    ours = as_printed(covered.document)
    for key in ("layers", "lines"):
        del ours[key], theirs[key]
    assert ours == theirs


def test_coverage_as_an_array(covered: sfn.CoverageAnswer, tmp_path: Path) -> None:
    """Layer by layer the values of the GeoTIFF at the same places; units, checksum and what is said go along."""
    data = covered.to_xarray()
    import rasterio

    assert main(["zones", str(RIDGE), "--out", str(tmp_path), "--pixel-m", f"{PIXEL_M:g}"]) == 0
    for name in ("strongest_site", "delay_difference_us"):
        with rasterio.open(tmp_path / f"{name}.tif") as file:
            assert np.array_equal(file.read(1), data[name].values.astype("float32"), equal_nan=True)
    assert data["delay_difference_us"].attrs["units"] == "us"
    assert data.attrs["checksum"] == covered.document["checksum"]
    assert "people: " in data.attrs["says"]
    assert data.lat[0] > data.lat[-1]
    served = covered.to_frame()
    assert served["area_km2"].sum() == pytest.approx(covered.document["spoken_km2"])


def test_a_search_is_the_commands(ridge: sfn.Opened, capsys: pytest.CaptureFixture[str]) -> None:
    """Same seed, same offsets; `seconds` is all that may differ."""
    ours = as_printed(sfn.optimise(ridge, budget_s=2.0, pixel_m=PIXEL_M).document)
    theirs = printed(capsys, "optimise", str(RIDGE), "--budget-s", "2", "--pixel-m", f"{PIXEL_M:g}")
    assert set(ours) == set(theirs)
    for key in ("network", "counted", "before", "pixel_m", "seed", "programme", "left_out_km2"):
        assert ours[key] == theirs[key], key
    assert ours["offsets"].keys() == theirs["offsets"].keys()


def test_arguments_that_cannot_be_used_are_refused_in_words(ridge: sfn.Opened) -> None:
    """Where, what, and what would be right."""
    with pytest.raises(sfn.PlanError) as refused:
        sfn.optimise(ridge, budget_s=0.0, nights=3)
    assert {problem.where for problem in refused.value.problems} == {"--budget-s", "--nights"}
    with pytest.raises(sfn.PlanError, match="no demo"):
        sfn.load_demo("nowhere")
    with pytest.raises(sfn.PlanError):
        sfn.point(ridge, 136.0, 10.0)


def test_a_document_at_hand_says_where_its_folders_are(tmp_path: Path) -> None:
    """One that names a terrain folder lies in no folder of its own."""
    document = json.loads(RIDGE.read_text(encoding="utf-8")) | {"terrain": {"folder": "heights"}}
    with pytest.raises(sfn.PlanError) as refused:
        sfn.load(document)
    assert refused.value.problems[0].where == "terrain.folder"
    assert sfn.load(document, folder=tmp_path).folder == tmp_path.resolve()


def test_what_is_missing_is_named(ridge: sfn.Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    """Which extra brings it."""
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(ModuleNotFoundError, match=r"sfn-delays\[frames\]"):
        sfn.delay_table(ridge).to_frame()
