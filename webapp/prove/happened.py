"""Everything the store knows of a network's sites as the engine's timeline takes it: revisions, sheets, reports."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from threading import Lock
from typing import Any
from weakref import WeakKeyDictionary

from cachetools import LRUCache

from sfn.check.review import review
from sfn.plan import Network
from sfn.plan.reported import Reported
from sfn.study.ages import LaunchSeen, Seen
from sfn.study.sheet import Sheet, sheet
from sfn.study.timeline import Timeline, clashes, timeline
from sfn.timeline.event import Event, Kind, in_order as in_order_held
from sfn.timeline.revisions import Saved, Story
from webapp.prove.measured_rows import excluded_now, mark_of
from webapp.shell.dependencies import Opened
from webapp.standing.readings import Kept, kept
from webapp.standing.site_folds import Taken, in_order
from webapp.store.approvals import APPROVED
from webapp.store.entries import ISSUE, SIGN_OFF, Entry
from webapp.store.ledger import LEDGERS
from webapp.store.reports import entry_number
from webapp.store.store import Store
from webapp.store.timeline import (
    BACK,
    BEGUN,
    COMPLAINT,
    DIFFERENCE,
    ENDED,
    LOCK,
    MUTED,
    RADIATES,
    READING,
    REPLACED,
    TOLD,
    UNMUTED,
    entry_name,
    held_of,
    issued_of,
    setting_of,
)

MOST_REVISIONS = 200
"""So many of the newest are looked at; the rest is said to be left out."""
# By the kind of an entry in the store.
_KINDS: Mapping[str, Kind] = {
    READING: "read", TOLD: "told", REPLACED: "replaced", MUTED: "muted", UNMUTED: "unmuted", LOCK: "lock",
    COMPLAINT: "complaint", DIFFERENCE: "difference", ISSUE: "issued", SIGN_OFF: "signed-off",
    APPROVED: "plan-approved", BEGUN: "change-begun", BACK: "change-back", ENDED: "change-ended",
    RADIATES: "radiates",
}  # fmt: skip


_OFTEN = frozenset({READING, TOLD, DIFFERENCE})
"""Kinds of which there may be very many."""


@dataclass(frozen=True, slots=True)
class Happened:
    """The timeline of a network or one site."""

    found: Timeline
    """Where only the newest were asked for: all lines of those, some of others."""
    left_out: int
    """So many older revisions are not looked at."""
    lines_n: int
    """How many lines there are of all that happened."""


def timeline_of(opened: Opened, store: Store, *, site_id: str = "", newest: int | None = None) -> Happened:
    """The timeline of a network or one site, whole, or at least the `newest` lines of it with all that they name."""
    changes, left_out = revisions_of(opened, store)
    if newest is None:
        whole = timeline(opened.network, (*changes, *reported_events(opened, store)), site_id=site_id)
        return Happened(whole, left_out, len(whole.lines))
    ledger = LEDGERS.of(store, opened.head.id)
    often = ledger.numbers(_OFTEN, about=site_id)[-newest:]
    entries = [*store.entries.of(opened.head.id, kind=_KINDS.keys() - _OFTEN), *in_order(store, opened.head.id, often)]
    against = clashes(in_order_held(changes), opened.network.reported or Reported({}))
    there = {entry_name(one) for one in entries}
    shown = there | {one.id for one in changes}
    named = dict.fromkeys(name for one in shown for name in against.get(one, ()) if name not in there)
    numbers = [number for name in named if (number := entry_number(name)) is not None]
    entries += in_order(store, opened.head.id, numbers)
    events = _events(opened, store, sorted(entries, key=lambda one: one.id))
    found = timeline(opened.network, (*changes, *events), site_id=site_id)
    lines_n = len(ledger.numbers(_KINDS, about=site_id)) + sum(not site_id or one.about(site_id) for one in changes)
    return Happened(found, left_out, lines_n)


def revisions_of(opened: Opened, store: Store) -> tuple[tuple[Event, ...], int]:
    """What the revisions changed at the sites, and how many older ones are not looked at."""
    return STORIES.of(opened, store)


class Stories:
    """Stories of networks as they were told last: a revision never changes, so only new ones are read."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._kept: WeakKeyDictionary[Store, LRUCache[tuple[int, str], tuple[Story, int]]] = WeakKeyDictionary()

    def of(self, opened: Opened, store: Store) -> tuple[tuple[Event, ...], int]:
        """Events of a network's revisions up to the newest, and how many older ones were left out."""
        network_id, number = opened.head.id, opened.head.revision.number
        key = (network_id, opened.network.own_services)
        with self._lock:
            kept = self._kept.setdefault(store, LRUCache(MOST_STORIES))
            story, left_out = kept.pop(key, (Story(), max(0, number - MOST_REVISIONS)))
            for one in reversed(store.history(network_id, above=max(story.number, left_out))):
                if one.number <= number:
                    network = _network_of(store, opened, one.number)
                    story.add(Saved(one.number, one.saved_at, one.author, one.reason, network))
            kept[key] = (story, left_out)
            return tuple(one for one in story.events if one.values["revision"] <= number), left_out


STORIES = Stories()
MOST_STORIES = 50


def reported_events(opened: Opened, store: Store, *, site_id: str | None = None) -> tuple[Event, ...]:
    """What was entered beside the revisions, as it arrived; of one site, or measured against it, where given."""
    if site_id is None:
        return _events(opened, store, store.entries.of(opened.head.id, kind=_KINDS))
    numbers = LEDGERS.of(store, opened.head.id).numbers(_KINDS, about=site_id)
    entries = in_order(store, opened.head.id, sorted(numbers))
    return _events(opened, store, (e for e in entries if site_id in (e.site_id, e.body.get("reference_site"))))


def launches_of(opened: Opened, store: Store) -> Mapping[str, LaunchSeen]:
    """The newest launch that was measured at each site, and what was turned since; kept, and taken further."""
    return LAUNCHES.of(opened, store)


class Launches:
    """Launches of networks as they were seen last."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._kept: WeakKeyDictionary[Store, LRUCache[int, tuple[object, Taken, Seen]]] = WeakKeyDictionary()

    def of(self, opened: Opened, store: Store) -> Mapping[str, LaunchSeen]:
        """Those of a network now."""
        network_id = opened.head.id
        ledger = LEDGERS.of(store, network_id)
        parents = {one.id: one.fed_off_air_from for one in opened.network.sites}
        # What a reading is held against: the sheets of its revision, as they were issued.
        rests_on = (parents, ledger.numbers([ISSUE]), opened.network.own_services)
        numbers = ledger.numbers((READING, TOLD, REPLACED))
        with self._lock:
            every = self._kept.setdefault(store, LRUCache(MOST_STORIES))
            before, taken, seen = every.pop(network_id, (None, Taken(ledger), Seen(parents)))
            if before != rests_on or not taken.goes_on(ledger, numbers):
                taken, seen = Taken(ledger), Seen(parents)
            sheets = _Sheets(opened, store)
            for entry in in_order(store, network_id, numbers[taken.taken_n :]):
                seen.take(_seen(entry, sheets))
            taken.took(numbers)
            every[network_id] = (rests_on, taken, seen)
            return dict(seen.launches)


LAUNCHES = Launches()


def _seen(entry: Entry, sheets: "_Sheets") -> Event:
    """A report with what `Seen` asks of it: only a launch is held against its sheet."""
    values: dict[str, Any] = {
        "fields": {name: {"value": setting_of(value)} for name, value in (entry.body.get("as_set") or {}).items()}
    }
    if entry.kind == READING and entry.body.get("readings_us"):
        values = _values(entry, sheets)
    held = held_of(entry)
    return Event(entry_name(entry), entry.site_id, _KINDS[entry.kind], held, entry.made_at, entry.made_by, values)


def _events(opened: Opened, store: Store, entries: Iterable[Entry]) -> tuple[Event, ...]:
    """Entries as the engine's timeline takes them."""
    sheets, out = _Sheets(opened, store), excluded_now(store, opened.head.id)
    return tuple(
        Event(
            entry_name(entry), entry.site_id, _KINDS[entry.kind], held_of(entry), entry.made_at, entry.made_by,
            _values(entry, sheets) | _excluded(entry, out) | _voided(entry, opened), _others(entry),
        )
        for entry in entries
    )  # fmt: skip


class _Sheets:
    """Sheets of older revisions: what was read is held against the plan that it was read under."""

    def __init__(self, opened: Opened, store: Store) -> None:
        self._opened, self._store = opened, store
        self._networks: dict[int, Network] = {}
        self._sheets: dict[tuple[int, str], Sheet | None] = {}

    def of(self, entry: Entry) -> Sheet | None:
        """The sheet that an entry was made under; None where its site has none there."""
        key = (entry.revision, entry.site_id)
        if key not in self._sheets:
            if entry.revision not in self._networks:
                self._networks[entry.revision] = _network_of(self._store, self._opened, entry.revision)
            reviewed = review(self._networks[entry.revision], problems=())
            there = entry.site_id in reviewed.placed and any(r.site_id == entry.site_id for r in reviewed.table.rows)
            self._sheets[key] = sheet(reviewed, entry.site_id) if there else None
        return self._sheets[key]


def _network_of(store: Store, opened: Opened, number: int) -> Network:
    """A revision as the engine reads it."""
    saved = store.read(opened.head.id, number)
    network = saved.network
    return network.beside(Reported({}, issued=issued_of(store, saved, network)))


def _values(entry: Entry, sheets: _Sheets) -> dict[str, Any]:
    """What an entry says, as plain data."""
    body = {key: value for key, value in entry.body.items() if key not in _OWN}
    told = {"revision": entry.revision, **body}
    if entry.kind == BEGUN:  # each field's new and old values stand on the page of the change
        steps = told.pop("steps")
        return told | {"sites": [one["site"] for one in steps if not one["before"]]}
    if entry.kind not in (READING, TOLD):
        return told
    made = sheets.of(entry)
    found = None if made is None else kept(made, [entry])[0]
    return told | dict(_judged(entry, found)) | {"main": made is not None and _route(entry) == _main(made)}


def _excluded(entry: Entry, out: Mapping[str, tuple[str, str]]) -> dict[str, Any]:
    """Of a measurement: why somebody excluded it; None where nobody did."""
    if entry.kind != DIFFERENCE:
        return {}
    reason, by = out.get(mark_of(entry), (None, None)) if out else (None, None)
    return {"excluded_reason": reason, "excluded_by": by}


def _voided(entry: Entry, opened: Opened) -> dict[str, Any]:
    """Of an approval: the revision whose save ended it; None while it holds."""
    if entry.kind != APPROVED:
        return {}
    return {"void_since_revision": entry.revision + 1 if entry.revision < opened.head.revision.number else None}


def _others(entry: Entry) -> tuple[str, ...]:
    """The site that a measurement was made against."""
    return (str(entry.body["reference_site"]),) if entry.kind == DIFFERENCE else ()


def _judged(entry: Entry, one: Kept | None) -> Iterator[tuple[str, Any]]:
    """A reading held against the plan that it was made under, as far as it can be."""
    found = None if one is None else one.found
    units = entry.body.get("units") or {}
    planned = {} if found is None else {line.name: line.before for line in found.settings}
    own = {} if found is None else {line.name: line.unit for line in found.settings}
    yield (
        "fields",
        {
            name: {
                "value": setting_of(value),
                "unit": units.get(name) or own.get(name, ""),
                "planned": planned.get(name),
            }
            for name, value in (entry.body.get("as_set") or {}).items()
        },
    )
    if found is not None:
        yield "set_off_us", sum(line.off_us for line in found.settings) if found.settings else None
        yield "launch_us", found.measured_us
        yield "off_us", found.off_us
        yield "tolerated_us", found.tolerated_us


def _route(entry: Entry) -> str:
    """The route that a reading is about."""
    return str(entry.body.get("route") or "main")


def _main(made: Sheet) -> str:
    """The first route of a sheet."""
    return made.routes[0].row.route


# Told otherwise by the event itself, or of no use to whoever reads a timeline.
_OWN = (
    "held_at", "held_earliest", "held_latest", "held_words", "as_set", "units", "plan", "sending", "taken_at",
)  # fmt: skip
