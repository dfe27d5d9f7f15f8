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
from datetime import datetime

from sfn.plan import Network
from sfn.plan.reported import Reported
from sfn.systems.of_network import stamped_checksum
from sfn.timeline.event import Event, Kind, proven
from sfn.timeline.present import Report, as_it_stands
from webapp.store.entries import ISSUE
from webapp.store.frozen import unfrozen
from webapp.store.ledger import LEDGERS
from webapp.store.radiates import radiated_otherwise
from webapp.store.reports import (
    BACK as BACK,
    BEGUN as BEGUN,
    COMPLAINT as COMPLAINT,
    DIFFERENCE as DIFFERENCE,
    ENDED as ENDED,
    EXCLUSION as EXCLUSION,
    LOCK as LOCK,
    MUTED as MUTED,
    RADIATES as RADIATES,
    READING as READING,
    REPLACED as REPLACED,
    TOLD as TOLD,
    UNMUTED as UNMUTED,
    as_kept as as_kept,
    entry_name as entry_name,
    held_of as held_of,
    setting_of as setting_of,
)  # fmt: skip
from webapp.store.store import Saved, Store


def standing(store: Store, saved: Saved) -> Network:
    """A revision as the engine reads it, with its fields set to what was last reported, and what issues say of it."""
    network = saved.network
    network_id = saved.revision.network_id
    issued = issued_of(store, saved, network)
    reported = LEDGERS.of(store, network_id).reported(saved, network)
    stands = as_it_stands(network, reported, proofs=proofs_of(store, network_id), issued=issued)
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
    reports = LEDGERS.of(store, network_id).reports
    return tuple(one for one in reports if site_id in (None, one.site_id))
