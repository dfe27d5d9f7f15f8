"""What pages show of sites, kept and taken further by each entry, is what a store opened anew works out of them all."""

import random
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.study.ages import launches_seen
from sfn.study.readings import plan_of
from webapp.on_air import readings as readings_page
from webapp.prove import timeline as timeline_page
from webapp.prove.happened import launches_of, reported_events, timeline_of
from webapp.shell.dependencies import Opened, opened
from webapp.standing.release import Released, released
from webapp.standing.site_lines import reported_lines, without_sheet
from webapp.store import ledger as ledgers
from webapp.store.store import Store
from webapp.store.timeline import COMPLAINT, LOCK, MUTED, READING, REPLACED, TOLD, UNMUTED
from webapp.work.maps import Maps

START = datetime(2026, 9, 1, tzinfo=UTC)
KINDS = (READING,) * 6 + (TOLD, TOLD, REPLACED, MUTED, UNMUTED, COMPLAINT, LOCK)
SHOWN = 7


def sent(chance: random.Random, found: Released) -> tuple[str, str, dict[str, Any]]:
    """One entry at a site that has a sheet: mostly as planned, some turned, some measured, some long ago or in doubt."""
    line = chance.choice(found.lines)
    route = chance.choice(line.sheet.routes)
    kind, at = chance.choice(KINDS), START + timedelta(minutes=chance.randrange(3000))
    turned = chance.random() < 0.3
    as_set: dict[str, str | None] = {
        one.name: f"{one.value + (chance.choice((1, 2)) if turned else 0)}"
        for one in route.fields
        if chance.random() < 0.8
    }
    if kind == TOLD and chance.random() < 0.2:
        as_set = dict.fromkeys(as_set)
    seen = []
    if kind == READING and chance.random() < 0.5:
        passes_us = chance.choice(route.planes).passes_us
        seen = [round(passes_us + chance.gauss(0, 0.4), 2) for _ in range(chance.randint(1, 3))]
    body: dict[str, Any] = {
        "route": route.row.route if chance.random() < 0.95 else "gone",
        "as_set": {} if kind == REPLACED else as_set,
        "units": {one.name: one.unit for one in route.fields},
        "readings_us": seen,
        "typed_in": [f"reading-{n}" for n in range(1, len(seen) + 1)],
        "plane": chance.choice(route.planes).plane if seen else "",
        "test_cable_us": 0.0,
        "demodulator_us": 0.0,
        "texts": {"lock-deviation": chance.choice(("70", "90"))} if chance.random() < 0.1 else {},
        "confirmed": [],
        "held_at": at.isoformat(),
        "held_latest": (at + timedelta(minutes=chance.choice((0, 0, 300)))).isoformat(),
    }
    if chance.random() < 0.7:
        body["plan"] = plan_of(line.sheet, route.row.route)
    if kind == LOCK:
        body["proven"] = chance.random() < 0.5
    return line.sheet.site.id, kind, body


def shown(store: Store, number: int, maps: Maps) -> Iterator[tuple[str, Any]]:
    """All that the pages take from what was reported."""
    now: Opened = opened(store.read(number), store, maps)
    found = released(now, store, maps)
    yield "stands", now.network.reported
    for most in (1, SHOWN):
        for part in ("", "2"):
            parts = {site.id: part for site in now.network.sites} | {"gone": part}
            lines = reported_lines(now, store, maps, found, most=most, parts=parts)
            yield (
                f"lines {most} {part}",
                [
                    (one.sheet.site.id, one.state, one.kept, one.unissued, one.latest, one.part, one.newest_at)
                    for one in lines
                ],
            )
            yield f"without {most} {part}", list(without_sheet(now, store, found, most=most, parts=parts))


@pytest.mark.sqlite
@pytest.mark.parametrize("seed", range(4))
def test_pages_show_what_all_of_it_read_anew_shows(
    client: TestClient, store: Store, example: dict[str, Any], monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """After each of many entries, late ones among them, and after saves that change plans or take a site out."""
    monkeypatch.setattr(ledgers, "READ_AGAIN_N", 0)
    monkeypatch.setattr(timeline_page, "MOST_EVENTS", SHOWN)
    monkeypatch.setattr(readings_page, "READINGS_N", SHOWN)
    chance = random.Random(seed)
    number, revision = store.create(example, author="A", reason="first").network_id, 1
    maps: Maps = client.app.state.maps  # type: ignore[attr-defined]
    url = str(store._engine.url)
    for step in range(18):
        now = opened(store.read(number), store, maps)
        for _ in range(chance.randint(1, 4)):
            site, kind, body = sent(chance, released(now, store, maps))
            store.entries.add(number, revision=revision, site_id=site, kind=kind, made_by="A", body=body)
        if step % 6 == 5:
            document = {**example, "common_delay": {"mode": "automatic", "margin_us": 500 + chance.choice((0, 0, 7))}}
            if step == 11:
                document["sites"] = [one for one in example["sites"] if one["id"] != "south"]
            revision = store.save(number, document, base_revision=revision, author="A", reason="again").number
        quick = dict(shown(store, number, maps))
        with anew(url, maps) as (fresh, own):
            for name, value in shown(fresh, number, own):
                assert quick[name] == value, (step, name)
            now = now_of(fresh, number, own)
            parents = {one.id: one.fed_off_air_from for one in now.network.sites}
            plain = launches_seen(reported_events(now, fresh), parents=parents)
            assert launches_of(now_of(store, number, maps), store) == plain, step
            for site in ("", "north"):
                kept = timeline_of(now_of(store, number, maps), store, site_id=site, newest=SHOWN)
                whole = timeline_of(now_of(fresh, number, own), fresh, site_id=site)
                assert kept.found.lines[::-1][:SHOWN] == whole.found.lines[::-1][:SHOWN], (step, site)
                assert (kept.lines_n, kept.left_out) == (len(whole.found.lines), whole.left_out)
                assert kept.found.present == whole.found.present
                assert kept.found.problems == whole.found.problems


@contextmanager
def anew(url: str, like: Maps) -> Iterator[tuple[Store, Maps]]:
    """The same database and folder with nothing kept of them."""
    maps = Maps(like._jobs, like.terrain_folder.parent)
    with closing(Store(url)) as store, maps.executor:
        yield store, maps


def now_of(store: Store, number: int, maps: Maps) -> Opened:
    """The newest revision."""
    return opened(store.read(number), store, maps)
