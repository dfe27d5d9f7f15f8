"""Doubts in the crew's language: every one that can stand on a sheet, really made, reads German with its figures."""

import json
import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sfn.check import all_problems
from sfn.check.doubts import DOUBTS
from sfn.check.review import review
from sfn.errors import Problem
from sfn.plan import Network, read_document
from sfn.stream.plan_text import read_text
from sfn.stream.planned import plan_of
from sfn.stream.section import stages
from sfn.terrain.dem import terrain_from_folder, terrain_from_grid
from sfn.terrain.ground import Ground
from sfn.terrain.heights import HeightGrid
from sfn.terrain.ridge import ridge
from sfn.timeline.held import held
from sfn.timeline.present import FieldReport, Report, as_it_stands
from sfn.units import THIN
from tests.sfn.check import test_touches as four
from tests.sfn.check.test_ground import written
from tests.sfn.check.test_routes_slow import level
from tests.sfn.networks import EXAMPLE_PATH
from tests.webapp.faulty_documents import CHANGES, MORE, Document
from tests.webapp.test_languages_at_site import IN_ENGLISH
from webapp.config.settings import Settings
from webapp.shell import languages
from webapp.shell.places_said import NAMES, names_in
from webapp.store.frozen import UNFROZEN, unfrozen
from webapp.store.radiates import radiated_otherwise
from webapp.store.store import Store

FIGURE = re.compile(rf"(?<![\w.])\d[\d{THIN}]*(?:\.\d+)?(?![\w])")
ROOT = Path(__file__).parents[2]
FM, T2 = "fm_ridge", "dvbt2_chain"
Made = tuple[str, Document, Iterable[Problem]]
"""The code that was meant, the document, and what is said of it."""

# Which doubts of the table stand on no sheet by themselves, and why.
READ_AS_POSITION = {
    "crs-unknown", "crs-unusable", "position-no-transformation", "position-nowhere", "position-other-grid",
}  # fmt: skip
"""Why a position cannot be read: they stand within `position-unreadable`."""
NOT_IN_A_DOCUMENT = {"unit-unknown", "time-scale-unknown", "people-doubled", "path-too-long"}
"""Refused where they are typed or asked: no document that is kept has them."""
OF_NO_SITE = {"others-without-ratio", "others-alike", "listeners-counted-twice"}
"""Remarks that touch no site: the check's page says them."""
RAISED_BY_NOTHING = {"device-step-unknown", "relay-below-least", "stream-plan-doubtful", "ground-unreadable"}
"""Lines of the table that scripts may know."""
WITH_ENGLISH = {"stream-plan-unreadable", "part-unjudged", "position-unreadable as text",
                "position-other-grid as text", "crs-unusable as text", "radiated-otherwise"}  # fmt: skip
"""Within their German is English, named as such: what a key of a plan may hold, what a service's own table says, what is
radiated otherwise, and what is wrong with a text that is no position: there are as many kinds as texts."""
STREAM = "packet_ms=1&parity=both&network_ms=21&variation_ms=20&receiver_ms=4&link_mbps=10"


def fine(step_deg: float) -> Ground:
    """Ground of a few samples so close together, as treetops."""
    heights = HeightGrid(np.zeros((4, 4), np.float32), 48.0, 11.0, step_deg, step_deg)
    return Ground(terrain_from_grid(heights, name="t"))


def of_document(code: str, tree: Document, ground: Ground) -> Made:
    """What the check and the sheets say of a document."""
    return code, tree, of_network(read_document(tree), ground)


def of_network(network: Network, ground: Ground) -> list[Problem]:
    """The same of a network: all doubts, and those that its sheets print of others."""
    looked = review(network, problems=all_problems(network, ground=ground, today=four.TODAY))
    reasons = (reason.problem for verdict in looked.verdicts.values() for reason in verdict.reasons)
    return [*looked.problems, *reasons]


def of_the_four() -> Iterator[Made]:
    """Four sites with one fault each."""
    for code, change, _ in four.CASES:
        tree = four.document()
        change(tree)
        yield of_document(code, tree, Ground(terrain=ridge()))
    for code, change in MORE:
        tree = four.document()
        change(tree)
        yield of_document(code, tree, Ground())


def of_ground() -> Iterator[Made]:
    """Terrain far finer than the map, finer than profiles step, of treetops, and these where no cover lies."""
    yield of_document("terrain-averaged", example(), fine(1.0 / 360_000.0))
    yield of_document("terrain-finer-than-steps", example(), fine(5.0 / 111_195.0))
    yield of_document("surface-without-cover", example(), replace(fine(1.0 / 1200.0), surface=True))
    wide, narrow = (
        terrain_from_grid(
            HeightGrid(np.full((n, n), 700.0, np.float32), 36.3 + n / 200.0, -84.2 - n / 200.0, 0.01, 0.01), name="t"
        )
        for n in (100, 60)
    )
    yield of_document("surface-beyond-cover", example(), Ground(wide, narrow, surface=True))


def of_voids(folder: Path) -> Iterator[Made]:
    """Terrain of which a tenth is not there."""
    ground_m = np.full((200, 300), 500.0)
    ground_m[:20] = -9999.0
    written(folder / "holed.tif", ground_m, 0.01)
    yield of_document("terrain-voids", example(), Ground(terrain_from_folder(folder)))


def of_demos() -> Iterator[Made]:
    """Demos with one fault each: relays and stamps where there are some."""
    for code, change in CHANGES.items():
        for demo in (FM, T2) if code.startswith(("parent", "relay", "stamp")) else (FM,):
            tree: Document = json.loads((ROOT / "demo_sites" / f"{demo}.json").read_text(encoding="utf-8"))
            tree.pop("terrain", None)
            change(tree)
            yield of_document(
                "" if code.startswith(("parent", "relay", "stamp")) and demo == FM else code, tree, Ground()
            )


def example() -> Document:
    """The example of the contracts."""
    tree: Document = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    return tree


def of_slow_routes() -> Iterator[Made]:
    """One main route slower than all others."""
    tree = example()
    level(tree, south_more_us=150_000)
    yield of_document("main-forces-common-delay", tree, Ground())


def of_streams() -> Iterator[Made]:
    """Stages that say they come of a stream plan, and no longer do; plans that cannot work."""
    unstamped = f"{STREAM}&time_stamped=no"
    cases: tuple[tuple[str, str, dict[str, Any]], ...] = (
        ("stream-plan-cover-stale", STREAM, {"jitter_margin_us": 123.5}),
        ("buffer-underrun", STREAM, {"release_delay_us": 80_000}),
        ("stream-plan-stale", unstamped, {"latency_us": 90_000}),
        ("stream-plan-tolerance-stale", unstamped, {"tolerance_us": 1}),
        ("stream-plan-adapts", f"{unstamped}&adapting=yes", {"adapts": False}),
        ("stream-plan-other-kind", unstamped, {"stream_plan": STREAM}),
        ("stream-plan-unreadable", STREAM, {"stream_plan": "packet_ms=soon"}),
        ("link-too-narrow", STREAM.replace("link_mbps=10", "link_mbps=5"), {}),
        ("paths-too-far-apart", f"{STREAM}&second_path=yes&differential_ms=460", {}),
        ("parity-outside-standard", f"{STREAM}&columns=30", {}),
    )
    for code, plan, changes in cases:
        tree, record = example(), read_text(plan)
        made = stages(plan_of(record), prefix="stream", revision=3, stream_plan=record.in_document())
        made[-1].update(changes)
        tree["stages"] += made
        tree["sites"][0]["chains"][0]["stages"][1] = "stream"
        yield of_document(code, tree, Ground())


def of_reports() -> Iterator[Made]:
    """Reports from the sites that the plan, or each other, contradict; no proof of lock."""
    tree = example()
    network = read_document(tree)
    coarse = network.sites[1].delay_fields[0]
    start = datetime(2026, 11, 1, tzinfo=UTC)

    def report(hours: float, value: float, unit: str = coarse.unit, *, slow_h: float = 0.0, **of: Any) -> Report:
        """One of that field, from a telephone whose clock may be slow."""
        when = start + timedelta(hours=hours)
        pressed = when - timedelta(hours=slow_h)
        stood = held(arrived_at=when, typed_at=None, pressed_at=pressed, clock_at=None if slow_h else when)
        return Report("south", "main", {coarse.name: FieldReport(value, unit)}, stood, when, "AE", **of)

    for code, reports in (
        ("plan-old-value-contradicted", [report(1, 50.0)]),
        ("reports-contradict", [report(1, 50.0), report(1.1, 51.0, slow_h=0.2)]),
        ("told-against-reading", [report(1, 50.0), report(2, 51.0, source="told")]),
        ("report-in-other-unit", [report(1, 50.0, "samples@48000")]),
        ("lock-proof-missing", []),
    ):
        yield code, tree, of_network(as_it_stands(network, reports, proofs={}), Ground())


def of_power(settings: Settings, store: Store) -> Iterator[Made]:
    """Sites planned to radiate otherwise than they do, and, once the first revision is damaged, nobody can tell."""
    before, after = example(), example()
    after["sites"][1]["erp_kw"]["h"] += 7.5
    number = store.create(before, author="test", reason="first").network_id
    store.save(number, after, base_revision=1, author="test", reason="more power")
    yield "radiated-otherwise", after, radiated_otherwise(store, store.read(number), {})
    with sqlite3.connect(settings.data_folder / "networks.sqlite") as behind:
        change = "update revisions set document = replace(document, '98.3', '98.4')"
        behind.execute(f"{change} where number = 1 and network_id = {number}")
    behind.close()
    yield "radiated-unknown", after, radiated_otherwise(store, store.read(number), {})


def in_both(problem: Problem) -> Iterator[tuple[str, str]]:
    """Each of its sentences in English and in German."""
    for said, text in ((languages.doubt, problem.what), (languages.wanted, problem.expected)):
        with languages.printed_in("de"):
            german = said(problem)
        if text:
            yield said(problem), german


def codes_of(problem: Problem) -> set[str]:
    """Its own code, and that of the doubt behind it; of a position also why it cannot be read."""
    cause, reason = (problem.said.get(key) for key in ("cause", "reason"))
    behind = codes_of(cause) if isinstance(cause, Problem) else set()
    return {problem.code} | behind | ({f"{reason.code} as text"} if isinstance(reason, Problem) else set())


def faults(problem: Problem) -> Iterator[str]:
    """What is wrong with the German of a problem."""
    english = codes_of(problem) & WITH_ENGLISH
    known = f"{problem.said} {problem.values} {problem.what}".replace(THIN, "")
    for text, german in in_both(problem):
        wanted, there = set(FIGURE.findall(text)), set(FIGURE.findall(german))
        if "%(" in german or not wanted <= there or any(one.replace(THIN, "") not in known for one in there - wanted):
            yield f"{problem.code}: {text} | {german}"
        elif IN_ENGLISH in german and not english:
            yield f"{problem.code} is English: {german}"


def of_the_office(store: Store, issue: Callable[[int], int]) -> Iterator[Made]:
    """A common delay that went out frozen and is automatic again, or another."""
    number = store.create(example(), author="test", reason="first").network_id
    issue(number)
    for common in ({"mode": "automatic", "margin_us": 700}, {"mode": "fixed", "value_us": 123_456.5}):
        yield UNFROZEN, example(), unfrozen(store, number, example() | {"common_delay": common})


def test_every_doubt_that_is_made_reads_german_with_its_figures(
    settings: Settings, store: Store, issue: Callable[[int], int], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """No gap, nothing in English, every figure of the sentence and none that is nowhere; each fault makes its doubt."""
    seen: set[str] = set()
    wrong = []
    walks = (of_the_four, of_ground, of_demos, of_slow_routes, of_streams, of_reports)
    of_the_store = (of_the_office(store, issue), of_power(settings, store))
    made = chain(*(walk() for walk in walks), of_voids(tmp_path_factory.mktemp("holed")), *of_the_store)
    for code, tree, problems in made:
        token = NAMES.set(names_in(tree))
        found = [problem for problem in problems if problem.code not in OF_NO_SITE]
        wrong += [fault for problem in found for fault in faults(problem)]
        NAMES.reset(token)
        codes = {problem.code for problem in found} | {str(problem.values.get("why")) for problem in found}
        assert not code or code in codes, code
        seen |= codes
    assert list(dict.fromkeys(wrong)) == []
    assert seen >= READ_AS_POSITION
    assert set(DOUBTS) - seen == NOT_IN_A_DOCUMENT | OF_NO_SITE | RAISED_BY_NOTHING
