"""Doubts in the crew's language: whole in German by their codes, with the figures of the English sentence."""

import copy
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from babel.messages.pofile import read_po

from sfn.check.doubts import DOUBTS
from sfn.check.everything import all_problems
from sfn.check.review import review
from sfn.errors import Problem
from sfn.plan import read_document
from sfn.units import THIN
from tests.webapp.test_languages_at_site import IN_ENGLISH
from webapp.shell import languages
from webapp.shell.places_said import NAMES, names_in

FIGURE = re.compile(rf"(?<![\w.])\d[\d{THIN}]*(?:\.\d+)?(?![\w])")
Document = dict[str, Any]
DEMOS = ("fm_ridge", "dvbt2_chain")
ROOT = Path(__file__).parents[2]


def first(document: Document, kind: str) -> Document:
    """The first stage of a kind that a chain passes."""
    used = {name for site in document["sites"] for chain in site["chains"] for name in chain["stages"]}
    return next(one for one in document["stages"] if one["kind"] == kind and one["id"] in used)


def some_stage(**changes: Any) -> Callable[[Document], None]:
    """One stage without a time stamp before it, otherwise."""
    return lambda document: first(document, "feeder").update(changes)


def site(n: int, **changes: Any) -> Callable[[Document], None]:
    """One site otherwise."""
    return lambda document: document["sites"][n].update(changes)


def field(n: int, **changes: Any) -> Callable[[Document], None]:
    """The first delay field of a site otherwise."""
    return lambda document: document["sites"][n]["delay_fields"][0].update(changes)


def one_place(document: Document) -> None:
    """Two sites at one position."""
    document["sites"][1]["position"] = copy.deepcopy(document["sites"][0]["position"])


def parent_of_all(document: Document) -> Document:
    """A site that feeds another off air; the first of the document where none does."""
    parents = [one["fed_off_air_from"] for one in document["sites"] if one.get("fed_off_air_from")]
    return next((one for one in document["sites"] if one["id"] in parents), document["sites"][0])


def relay(document: Document, **changes: Any) -> None:
    """The first relay hears its parent otherwise."""
    for one in document["sites"]:
        if one.get("fed_off_air_from"):
            one["off_air"] = {**one.get("off_air", {}), **changes}
            return


CHANGES: dict[str, Callable[[Document], None]] = {
    "delay-adapts": some_stage(adapts=True),
    "figure-outdated": some_stage(date="2020-01-02", changed="2021-03-04"),
    "source-missing": some_stage(source=None),
    "tolerance-above-latency": some_stage(tolerance_us=1.5),
    "date-impossible": some_stage(date="2199-01-02"),
    "erp-zero": site(0, erp_kw={"h": 0, "v": 0}),
    "name-duplicate": lambda d: d["sites"][0].update(name=d["sites"][1]["name"]),
    "name-blank": site(0, name=" "),
    "offset-limits-crossed": site(0, least_offset_us=12.5, greatest_offset_us=-3.25),
    "offset-outside-limits": site(0, offset_us=70.0, least_offset_us=1.5, greatest_offset_us=33.0),
    "device-setting-outside": lambda d: d["sites"][0]["delay_fields"][0].update(
        set=d["sites"][0]["delay_fields"][0]["greatest"] + 1000
    ),
    "device-unit-unknown": field(0, unit="unknown"),
    "position-unreadable": site(0, position={"text": "95.5, 11.25"}),
    "position-shared": one_place,
    "position-coarse": site(0, position={"text": "47.12, 11.35"}),
    "position-mistyped": site(0, position={"text": "12.123456, -77.123456"}),
    "waveform-differs": some_stage(shapes_waveform=True),
    "frequency-outside-band": lambda d: d.update(frequency_mhz=0.1005),
    "control-characters": site(0, name="Ridge\u202e 7"),
    "parent-withheld": lambda d: parent_of_all(d)["delay_fields"][0].update(unit="unknown"),
    "parent-missing": lambda d: parent_of_all(d).update(position={"text": "95.5, 11.25"}),
    "relay-figures-missing": lambda d: relay(d, isolation_db=None, separation_m=None),
    "relay-oscillates": lambda d: relay(d, isolation_db=3.0),
    "relay-low-margin": lambda d: relay(d, margin_db=40.0),
    "stamp-meaning-unknown": lambda d: d.pop("time_stamps", None),
    "stamp-plane-no-stage": lambda d: d.update(time_stamps={"meaning": "emission", "plane": ["nowhere"]}),
    "stage-unused": lambda d: d["stages"].append({**first(d, "feeder"), "id": "spare"}),
    "lock-differs": lambda d: [
        one.update(lock={**(one.get("lock") or {}), "pre_emphasis_us": us, "pilot_phase_deg": turn})
        for one, us, turn in zip(d["sites"], (50, 75, 50), (0.0, 77.5, 12.0), strict=False)
    ],
    "lock-unproven": site(0, lock={"pre_emphasis_us": 75}),
}


def made(demo: str, change: Callable[[Document], None] | None) -> tuple[Document, list[Problem]]:
    """A demo with something wrong in it, and the doubts of its sheets."""
    document: Document = json.loads((ROOT / "demo_sites" / f"{demo}.json").read_text(encoding="utf-8"))
    document.pop("terrain", None)
    if change is not None:
        change(document)
    network = read_document(document)
    looked = review(network, problems=all_problems(network))
    reasons = (reason.problem for verdict in looked.verdicts.values() for reason in verdict.reasons)
    return document, [*looked.problems, *reasons]


# What cannot be said in German yet: sentences that are put together from many, or that no check of a document makes.
LEFT = {
    "relay-below-least", "device-step-unknown", "position-nowhere", "position-no-transformation", "position-other-grid",
    "crs-unknown", "crs-unusable", "path-too-long", "position-zero", "stream-plan-doubtful", "ground-unreadable",
    "far-above-the-plain", "terrain-averaged", "people-doubled", "listeners-counted-twice",
}  # fmt: skip
# The German names what was typed; which rule it breaks stands in the English sentence alone.
OTHER_FIGURES = {"position-unreadable", "parent-missing"}


def test_every_other_code_has_german() -> None:
    """A new doubt says what it is in the catalogue, or stands in the list above."""
    with (languages.FOLDER / "de.po").open("rb") as file:
        coded = {str(one.id).partition(" with ")[0] for one in read_po(file, locale="de") if one.context == "what"}
    assert set(DOUBTS) - coded == LEFT


@pytest.mark.parametrize("code", CHANGES)
def test_a_doubt_that_is_made_reads_german_with_its_figures(code: str) -> None:
    """Every doubt of two demos with that fault in them: no gap, nothing in English, the figures of the sentence."""
    seen = set()
    for demo in DEMOS:
        document, problems = made(demo, CHANGES[code])
        token = NAMES.set(names_in(document))
        for problem in problems:
            english = languages.doubt(problem)
            with languages.printed_in("de"):
                german = languages.doubt(problem)
            seen.add(problem.code)
            assert "%(" not in german, german
            behind = problem.said.get("cause")
            if {problem.code, behind.code if isinstance(behind, Problem) else ""} & LEFT:
                continue
            assert IN_ENGLISH not in german, (problem.code, german)
            assert german != english
            if not {problem.code, behind.code if isinstance(behind, Problem) else ""} & OTHER_FIGURES:
                assert set(FIGURE.findall(german)) == set(FIGURE.findall(english)), (problem.code, german, english)
        NAMES.reset(token)
    assert code in seen
