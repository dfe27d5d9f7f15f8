"""One site that cannot be read does not take the others down: every command gives the rest and names it.

The figures must be those of the same network without that site: the document is edited here by hand, its common delay
held at that of the whole where the missing site is the one that all wait for.
"""

import json
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from sfn.cli import main
from sfn.plan import checksum, read
from sfn.timing.readable import readable
from tests.properties.test_missing_sites import grown

BOUNDS = "36.18,-84.28,36.40,-84.14"
LINE = "lat,lon\n36.20,-84.26\n36.30,-84.20\n36.38,-84.16\n"
COMMANDS = (
    ("point", ("--at", "36.25,-84.2")),
    ("zones", ("--pixel-m", "2500", "--bounds", BOUNDS, "--out")),
    ("road", ()),
    ("contours", ("--level-dbuvm", "70", "--pixel-m", "2500", "--bounds", BOUNDS)),
    ("repeaters", ()),
)
OF_FILES_OR_DOCUMENT = {"checksum", "left_out_sites", "layers", "lines", "problems"}
"""Keys whose values name files, or speak of the document as it was written."""


def broken(tree: dict[str, Any], at: int, fault: str) -> dict[str, Any]:
    """The document with one site that cannot be read."""
    made = deepcopy(tree)
    if fault == "unit":
        made["sites"][at]["delay_fields"][0]["unit"] = "unknown"
    else:
        made["sites"][at]["position"] = {"text": "over there"}
    return made


def gone_with(tree: dict[str, Any], at: int) -> list[str]:
    """Ids of a site and of all that are fed off air from it, near or far."""
    gone = [tree["sites"][at]["id"]]
    for site in tree["sites"]:
        if site.get("fed_off_air_from") in gone and site["id"] not in gone:
            gone.append(site["id"])
    return gone


def without(tree: dict[str, Any], gone: list[str], common_us: float) -> dict[str, Any]:
    """The document as somebody edits it who takes sites out and keeps the common delay."""
    made = deepcopy(tree)
    made["sites"] = [site for site in made["sites"] if site["id"] not in gone]
    made["common_delay"] = {"mode": "fixed", "value_us": common_us}
    return made


def close(ours: Any, theirs: Any, where: str = "") -> None:
    """Equal, figures to a billionth."""
    if isinstance(ours, dict):
        assert ours.keys() == theirs.keys(), where
        for key in ours.keys() - OF_FILES_OR_DOCUMENT:
            close(ours[key], theirs[key], f"{where}.{key}")
    elif isinstance(ours, list):
        assert len(ours) == len(theirs), where
        for n, (a, b) in enumerate(zip(ours, theirs, strict=True)):
            close(a, b, f"{where}[{n}]")
    elif isinstance(ours, float):
        assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-7), where
    else:
        assert ours == theirs, where


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_every_command_gives_the_rest(data: st.DataObject, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 0, the site and all that hang on it by id, its fault as data, and the figures of the others."""
    count = data.draw(st.integers(1, 3))
    tree = grown([data.draw(st.integers(0, n + 1)) for n in range(count)])
    at, fault = data.draw(st.integers(0, count + 1)), data.draw(st.sampled_from(["unit", "position"]))
    command, options = data.draw(st.sampled_from(COMMANDS))
    gone = gone_with(tree, at)
    line = tmp_path / "line.csv"
    line.write_text(LINE, encoding="utf-8")

    def answer(document: dict[str, Any], name: str, kind: str, more: tuple[str, ...]) -> dict[str, Any]:
        """What a command answers."""
        path = tmp_path / f"{name}.json"
        path.write_text(json.dumps(document), encoding="utf-8")
        place = (str(line),) if kind == "road" else ()
        out = (str(tmp_path / name),) if "--out" in more else ()
        assert main([kind, str(path), *place, *more, *out, "--json"]) == 0
        found: dict[str, Any] = json.loads(capsys.readouterr().out)
        return found

    common_us = answer(tree, "whole", "delays", ())["common_delay_us"]
    ours = answer(broken(tree, at, fault), "broken", command, options)
    theirs = answer(without(tree, gone, common_us), "edited", command, options)

    assert [one["site"] for one in ours["left_out_sites"]] == [s["id"] for s in tree["sites"] if s["id"] in gone]
    assert {one["whose"] for one in ours["left_out_sites"]} == {gone[0]}
    said = {problem["code"] for one in ours["left_out_sites"] for problem in one["problems"]}
    assert ("device-unit-unknown" if fault == "unit" else "position-unreadable") in said
    assert theirs["left_out_sites"] == []
    close({"answer": ours}, {"answer": theirs})


@pytest.mark.parametrize("at", range(4))
def test_the_part_remembers_the_whole(at: int) -> None:
    """Checksum, places and document are those of the whole; the same network comes back where all can be read."""
    tree = grown([0, 1])
    document = read(json.dumps(broken(tree, at, "unit")))
    part = readable(document)

    assert [site.id for site in part.sites] == [s["id"] for s in tree["sites"] if s["id"] not in gone_with(tree, at)]
    assert part.whole == document
    assert checksum(part) == checksum(document)
    assert part.places == {site["id"]: n for n, site in enumerate(tree["sites"])}
    sound = read(json.dumps(tree))
    assert readable(sound) is sound
