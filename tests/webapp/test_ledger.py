"""Readings are followed as they arrive: the same as all of them read anew, and held against their seals all the same."""

import random
import sqlite3
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from sfn.errors import PlanError, Problem
from sfn.timeline.present import as_it_stands
from webapp.store import ledger as ledgers, looked
from webapp.store.entries import SET_ASIDE, Entry
from webapp.store.ledger import LEDGERS
from webapp.store.reports import (
    COMPLAINT,
    DIFFERENCE,
    MUTED,
    READING,
    REPLACED,
    SOURCES,
    TOLD,
    Units,
    held_of,
    report_of,
)
from webapp.store.store import Store
from webapp.store.timeline import reports_of

START = datetime(2026, 9, 1, tzinfo=UTC)
MOMENT = START + timedelta(minutes=150)
KINDS = (READING, READING, READING, TOLD, REPLACED, MUTED, COMPLAINT, DIFFERENCE)


def drawn_entry(chance: random.Random, example: dict[str, Any]) -> tuple[str, str, dict[str, Any]]:
    """A site, a kind and a body; times out of order, some in doubt, some to the minute, some of before they were kept."""
    site = chance.choice(example["sites"])
    kind = chance.choice(KINDS)
    at = START + timedelta(minutes=chance.randrange(300))
    own = chance.sample(site["delay_fields"], chance.randint(1, len(site["delay_fields"])))
    body: dict[str, Any] = {
        "route": "main",
        "as_set": {} if kind == REPLACED else {one["name"]: str(chance.choice((1, 2, "3.5"))) for one in own},
        "readings_us": [],
        "plane": "",
        "test_cable_us": 0.0,
        "demodulator_us": 0.0,
        "texts": {},
    }
    if chance.random() < 0.9:
        body["units"] = {one["name"]: chance.choice((one["unit"], one["unit"], "ms")) for one in own}
    if kind == DIFFERENCE:
        body["reference_site"] = chance.choice(example["sites"])["id"]
    if chance.random() < 0.8:
        early, late = (
            at - timedelta(minutes=chance.choice((0, 0, 9))),
            at + timedelta(minutes=chance.choice((0, 0, 9))),
        )
        body |= {"held_at": at.isoformat(), "held_earliest": early.isoformat(), "held_latest": late.isoformat()}
    elif chance.random() < 0.5:
        body["taken_at"] = f"{at:%Y-%m-%d %H:%M}"
    return site["id"], kind, body


def behind(store: Path, statement: str) -> None:
    """Change one row without the program."""
    with closing(sqlite3.connect(store)) as held:
        assert held.execute(statement).rowcount == 1
        held.commit()


@pytest.mark.parametrize("seed", range(8))
def test_what_is_followed_is_what_is_read_anew(
    tmp_path: Path, example: dict[str, Any], monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Reports, orders and what stands, after each entry, a new revision, damage and its setting aside."""
    monkeypatch.setattr(ledgers, "READ_AGAIN_N", 0)
    chance, file = random.Random(seed), tmp_path / "kept.sqlite"
    with closing(Store(f"sqlite:///{file}", clock=lambda: START + timedelta(minutes=chance.randrange(400)))) as store:
        number = store.create(example, author="A", reason="first").network_id
        units, revision = Units(store, number), 1
        for step in range(40):
            for _ in range(chance.randint(1, 3)):
                site, kind, body = drawn_entry(chance, example)
                store.entries.add(number, revision=revision, site_id=site, kind=kind, made_by="A", body=body)
            if step % 15 == 14:
                store.save(number, {**example, "notes": f"{step}"}, base_revision=revision, author="A", reason="again")
                revision += 1
            if step % 13 == 12:
                damaged = store.entries.of(number)[chance.randrange(step)].id
                behind(file, f"update entries set body = replace(body, 'route', 'routf') where id = {damaged}")
                aside = {"entry": damaged, "reason": "x", "words": "y"}
                store.entries.add(number, revision=revision, site_id="", kind=SET_ASIDE, made_by="A", body=aside)
            every = store.entries.of(number)
            plain = [one for e in every if e.kind in SOURCES and (one := report_of(e, units, held_of(e)))]
            assert list(reports_of(store, number)) == plain
            followed = LEDGERS.of(store, number)
            in_order = sorted(every, key=lambda one: (held_of(one).at, one.made_at))
            assert followed.numbers([READING, TOLD]) == numbers(in_order, lambda e: e.kind in (READING, TOLD))
            assert followed.numbers([READING], site_id="north") == numbers(
                in_order, lambda e: (e.kind, e.site_id) == (READING, "north")
            )
            wanted = numbers(in_order, lambda e: "south" in (e.site_id, e.body.get("reference_site")) or not e.site_id)
            assert followed.numbers([*KINDS, SET_ASIDE], about="south") == wanted
            assert followed.numbers(KINDS, latest_from=MOMENT) == numbers(
                in_order, lambda e: e.kind in KINDS and held_of(e).latest >= MOMENT
            )
            saved = store.read(number)
            stands = as_it_stands(saved.network, followed.reported(saved, saved.network))
            assert stands.reported == as_it_stands(saved.network, plain).reported
            assert stands == as_it_stands(saved.network, plain)


def numbers(found: list[Entry], wanted: Any) -> list[int]:
    """Numbers of the entries that are wanted."""
    return [one.id for one in found if wanted(one)]


@pytest.fixture
def many(tmp_path: Path, example: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> Any:
    """A store whose network counts as one with many entries: those are looked at again beside what is answered."""
    monkeypatch.setattr(ledgers, "READ_AGAIN_N", 0)
    monkeypatch.setattr(looked, "AT_ONCE_N", 0)
    file, chance = tmp_path / "kept.sqlite", random.Random(3)
    store = Store(f"sqlite:///{file}")
    store.create(example, author="A", reason="first")
    for _ in range(30):
        site, _, body = drawn_entry(chance, example)
        store.entries.add(1, revision=1, site_id=site, kind=READING, made_by="A", body=body)
    yield store, file
    store.close()


def test_many_are_looked_at_again_beside_what_is_answered(
    many: tuple[Store, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is read is held at once; the rest a little later, and then nothing of the network is answered."""
    store, file = many
    before = LEDGERS.of(store, 1).reports
    behind(file, """update entries set body = replace(body, '"main"', '"maim"') where id = 7""")
    with pytest.raises(PlanError, match="not what was written"):
        store.entries.of(1, kind=READING)
    assert store.entries.of(1, kind=TOLD) == ()
    monkeypatch.setattr(looked, "LOOKED_AT_S", -1.0)
    assert LEDGERS.of(store, 1).reports == before, "as they were when they were held"
    ends, refused = time.monotonic() + 20, ()
    while not refused and time.monotonic() < ends:
        time.sleep(0.02)
        refused = problems_of(store)
    assert [one.values["entry"] for one in refused] == [7]
    with pytest.raises(PlanError, match="not what was written"):
        LEDGERS.of(store, 1)


def problems_of(store: Store) -> tuple[Problem, ...]:
    """Why nothing of network 1 is answered; nothing where it is."""
    try:
        store.entries.of(1, kind=TOLD)
    except PlanError as refused:
        return tuple(refused.problems)
    return ()


@pytest.mark.parametrize(
    ("statement", "kind"),
    [
        ("update entries set kind = 'readinf' where id = 7", READING),
        ("update entries set site_id = 'nortx' where id = 7", READING),
        ("update entries set kind = 'told' where id = 7", TOLD),
    ],
)
def test_an_entry_out_of_sight_is_missed_at_once(many: tuple[Store, Path], statement: str, kind: str) -> None:
    """Under another kind or site it is not among those that are asked for: they are counted, and it is named."""
    store, file = many
    site = store.entries.of(1)[6].site_id
    behind(file, statement)
    with pytest.raises(PlanError, match="not what was written") as refused:
        store.entries.of(1, kind=kind, site_id=None if kind == TOLD else site)
    assert [one.values["entry"] for one in refused.value.problems] == [7]


def test_an_index_that_hides_an_entry_is_told(many: tuple[Store, Path]) -> None:
    """The rows are what was written, and the index by which a kind is found shows fewer of them."""
    store, file = many
    store.entries.of(1)
    name, hides = "ix_entries_kinds", " where id <> 7"
    with closing(sqlite3.connect(file)) as held:
        (whole,) = held.execute("select sql from sqlite_master where name = ?", (name,)).fetchone()
        held.execute(f"drop index {name}")
        held.execute(whole + hides)
        held.execute("pragma writable_schema = on")
        held.execute("update sqlite_master set sql = ? where name = ?", (whole, name))
        held.commit()
    with closing(Store(f"sqlite:///{file}")) as again, pytest.raises(PlanError, match=r"of 30 .* 29 were found"):
        again.entries.of(1, kind=READING)
