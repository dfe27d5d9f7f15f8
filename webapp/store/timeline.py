"""What the store keeps of a network's sites, as the engine's timeline takes it.

| entry | what it says |
|---|---|
| ``reading`` | what a technician found set, and measured, at the site |
| ``told`` | what somebody told the office is set there; a present value typed into a form is that, too |
| ``replaced`` | the device was replaced: nothing is known of its settings until they are read |
| ``muted``, ``unmuted`` | the site was muted, or is on air again |
| ``radiates`` | power and antenna stand as a revision plans them, somebody says |
| ``lock`` | carrier, pilot, deviation and polarity were proven to agree, or found not to |
| ``complaint`` | what a listener complained of, where and when |
| ``difference`` | a delay difference measured on air, with the settings in force then |
| ``exclusion`` | such measurements excluded by name with a reason, or restored |
| ``change-begun``, ``change-back``, ``change-ended`` | a change on air: steps and old values, order, end |
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from sfn.plan import Network
from sfn.plan.number_text import number_written
from sfn.plan.reported import Reported, Source
from sfn.systems.of_network import stamped_checksum
from sfn.timeline.event import Event, Kind, proven
from sfn.timeline.held import Held, instant, text_to_fraction
from sfn.timeline.present import FieldReport, Report, as_it_stands
from webapp.store.entries import ISSUE, Entry
from webapp.store.frozen import unfrozen
from webapp.store.radiates import radiated_otherwise
from webapp.store.store import Saved, Store

READING, TOLD, REPLACED = "reading", "told", "replaced"
DIFFERENCE, EXCLUSION = "difference", "exclusion"
BEGUN, BACK, ENDED = "change-begun", "change-back", "change-ended"
MUTED, UNMUTED, LOCK, COMPLAINT = "muted", "unmuted", "lock", "complaint"
RADIATES = "radiates"
_SOURCES: Mapping[str, Source] = {READING: "read", TOLD: "told", REPLACED: "replaced"}


def standing(store: Store, saved: Saved) -> Network:
    """A revision as the engine reads it, with its fields set to what was last reported, and what issues say of it."""
    network = saved.network
    network_id = saved.revision.network_id
    issued = issued_of(store, saved, network)
    stands = as_it_stands(network, reports_of(store, network_id), proofs=proofs_of(store, network_id), issued=issued)
    more = (*unfrozen(store, network_id, saved.document), *radiated_otherwise(store, saved, _said(store, network_id)))
    if not more:
        return stands
    reported = stands.reported or Reported({})
    return stands.beside(replace(reported, problems=(*reported.problems, *more)))


def _said(store: Store, network_id: int) -> dict[str, int]:
    """The revision as which each site was last said to radiate, by when that held."""
    entries = store.entries.of(network_id, kind=RADIATES)
    return {
        one.site_id: int(one.body["as_revision"])
        for one in sorted(entries, key=lambda one: (held_of(one).at, one.made_at))
    }


def issued_of(store: Store, saved: Saved, network: Network) -> dict[tuple[str, str], dict[str, float]]:
    """What the sheets of a revision were issued with, by site and route; an issue with other figures holds no more.

    Issues of before their settings were kept say nothing here.
    """
    number, checksum = saved.revision.number, stamped_checksum(network)
    found: dict[tuple[str, str], dict[str, float]] = {}
    for one in store.entries.of(saved.revision.network_id, kind=ISSUE):
        if one.revision == number and one.body.get("checksum") == checksum:
            for route, fields in one.body.get("settings", {}).items():
                found[one.site_id, route] = {name: float(made["value"]) for name, made in fields.items()}
    return found


def proofs_of(store: Store, network_id: int) -> dict[str, datetime]:
    """When lock was last proven at each site, as far as it holds."""
    kinds: Mapping[str, Kind] = {LOCK: "lock", REPLACED: "replaced"}
    return proven(
        [
            Event(entry_name(one), one.site_id, kinds[one.kind], held_of(one), one.made_at, one.made_by, one.body)
            for one in store.entries.of(network_id, kind=kinds)
        ]
    )


def reports_of(store: Store, network_id: int, *, site_id: str | None = None) -> tuple[Report, ...]:
    """Every report of what fields were set to, as they arrived."""
    units = _Units(store, network_id)
    entries = store.entries.of(network_id, kind=_SOURCES, site_id=site_id)
    return tuple(report for entry in entries if (report := _report(entry, units)) is not None)


def entry_name(entry: Entry) -> str:
    """By which the timeline names an entry."""
    return f"entry-{entry.id}"


def held_of(entry: Entry) -> Held:
    """When what an entry says held; an entry of before this was kept says it to the minute."""
    body = entry.body
    at = instant(str(body.get("held_at") or ""))
    if at is not None:
        ends = [instant(str(body.get(key) or "")) or at for key in ("held_earliest", "held_latest")]
        return Held(at, ends[0], ends[1], str(body.get("held_words") or ""))
    at = instant(str(body.get("taken_at") or ""))
    if at is None:
        return Held.sure(entry.made_at)
    return Held(at, at, at + timedelta(seconds=59))


def as_kept(held: Held) -> dict[str, str]:
    """The same as the store keeps it."""
    return {
        "held_at": text_to_fraction(held.at),
        "held_earliest": text_to_fraction(held.earliest),
        "held_latest": text_to_fraction(held.latest),
        **({"held_words": held.words} if held.words else {}),
    }


def _report(entry: Entry, units: "_Units") -> Report | None:
    """The report of an entry; None where it says nothing of settings."""
    source = _SOURCES.get(entry.kind)
    as_set = entry.body.get("as_set") or {}
    if source is None or not (as_set or source == "replaced"):
        return None
    told = entry.body.get("units") or units.of(entry.revision, entry.site_id)
    fields = {name: FieldReport(setting_of(value), str(told.get(name, ""))) for name, value in as_set.items()}
    return Report(
        entry.site_id, str(entry.body.get("route") or "main"), fields, held_of(entry), entry.made_at, entry.made_by,
        source, entry_name(entry),
    )  # fmt: skip


def setting_of(value: object) -> float | None:
    """A setting as it was typed; what is no number any more says that nobody knows."""
    if value is None:
        return None
    try:
        return float(number_written(str(value)))
    except ValueError:
        return None


class _Units:
    """Units of fields in older revisions: readings of before did not keep theirs."""

    def __init__(self, store: Store, network_id: int) -> None:
        self._store, self._id = store, network_id
        self._known: dict[int, dict[str, dict[str, str]]] = {}

    def of(self, revision: int, site_id: str) -> dict[str, str]:
        """By the name of the field."""
        if revision not in self._known:
            saved = self._store.read(self._id, revision, even_deleted=True)
            self._known[revision] = {
                site["id"]: {own["name"]: own["unit"] for own in site["delay_fields"]}
                for site in saved.document["sites"]
            }
        return self._known[revision].get(site_id, {})
