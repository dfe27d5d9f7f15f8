"""Single entries as the engine takes them: when they held, what they report; the kinds of entries stand here too."""

from collections.abc import Mapping
from datetime import timedelta

from sfn.plan.number_text import number_written
from sfn.plan.reported import Source
from sfn.timeline.held import Held, instant, text_to_fraction
from sfn.timeline.present import FieldReport, Report
from webapp.store.entries import Entry
from webapp.store.store import Store

READING, TOLD, REPLACED = "reading", "told", "replaced"
DIFFERENCE, EXCLUSION = "difference", "exclusion"
BEGUN, BACK, ENDED = "change-begun", "change-back", "change-ended"
MUTED, UNMUTED, LOCK, COMPLAINT = "muted", "unmuted", "lock", "complaint"
RADIATES = "radiates"
SOURCES: Mapping[str, Source] = {READING: "read", TOLD: "told", REPLACED: "replaced"}

_NAMED = "entry-"


def entry_name(entry: Entry) -> str:
    """By which the timeline names an entry."""
    return f"{_NAMED}{entry.id}"


def entry_number(name: str) -> int | None:
    """The number of the entry that the timeline names so; None for what is no entry."""
    return int(name.removeprefix(_NAMED)) if name.startswith(_NAMED) else None


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


def report_of(entry: Entry, units: "Units", held: Held) -> Report | None:
    """The report of an entry, which held then; None where it says nothing of settings."""
    source = SOURCES.get(entry.kind)
    as_set = entry.body.get("as_set") or {}
    if source is None or not (as_set or source == "replaced"):
        return None
    told = entry.body.get("units") or units.of(entry.revision, entry.site_id)
    fields = {name: FieldReport(setting_of(value), str(told.get(name, ""))) for name, value in as_set.items()}
    return Report(
        entry.site_id, str(entry.body.get("route") or "main"), fields, held, entry.made_at, entry.made_by,
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


class Units:
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
