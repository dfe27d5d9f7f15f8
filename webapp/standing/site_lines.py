"""One site with everything that was sent from it: the office's overview and the network's first page show the same."""

from collections.abc import Mapping
from dataclasses import dataclass

from sfn.study.going_back import as_ordered
from sfn.study.readings import Judged, SiteState, plan_of, site_state
from sfn.study.sheet import Sheet
from sfn.survey.readings import State
from webapp.shell.dependencies import Opened
from webapp.standing.readings import READING, Kept, kept
from webapp.standing.release import Released, SheetLine
from webapp.standing.under_way import TakenBack, after, taken_back
from webapp.store.entries import Entry
from webapp.store.store import Store
from webapp.store.timeline import REPLACED, TOLD, held_of
from webapp.work.maps import Maps

STATES: Mapping[State, str] = {
    "planned": "planned",
    "set": "set",
    "measured": "measured",
    "split": "total right, split differs",
    "disagrees": "disagrees",
    "not changed": "not changed, as ordered",
    "gone back": "gone back, as ordered",
}
"""Every state in words; the last two are of a change that was ordered back, and only counted where there is one."""


@dataclass(frozen=True, slots=True)
class SiteLine:
    """A site in the office's overview."""

    sheet: Sheet
    state: SiteState
    kept: tuple[Kept, ...]
    line: SheetLine
    """How far its sheet is."""
    unissued: bool
    """Whether what was sent last was set or read without an issued sheet."""
    latest: Judged | None
    """What was sent last, whatever plan it was made under."""


def reports_of(opened: Opened, store: Store, site_id: str | None = None) -> list[Entry]:
    """What was read at the sites or told to the office of them, and devices replaced."""
    return list(store.entries.of(opened.head.id, kind=(READING, TOLD, REPLACED), site_id=site_id))


def reported_lines(
    opened: Opened, store: Store, maps: Maps, found: Released
) -> tuple[tuple[SiteLine, ...], dict[str, list[Entry]]]:
    """Every site that has a sheet with all that was sent from it, and all that was sent, by site."""
    by_site: dict[str, list[Entry]] = {}
    for entry in reports_of(opened, store):
        by_site.setdefault(entry.site_id, []).append(entry)
    gone = taken_back(store, maps, opened.head.id)
    return tuple(site_line(one, by_site.get(one.sheet.site.id, []), opened, gone) for one in found.lines), by_site


def site_line(line: SheetLine, entries: list[Entry], opened: Opened, gone: TakenBack | None) -> SiteLine:
    """One site with everything sent from it; `gone` is the change that was taken back, if one was."""
    made = line.sheet
    # In the order in which they were taken: a telephone that had no connection sends late.
    held = kept(made, sorted(entries, key=lambda entry: (held_of(entry).at, entry.made_at)))
    number = opened.head.revision.number
    plans = {route.row.route: plan_of(made, route.row.route) for route in made.routes}

    def current(one: Kept) -> bool:
        """Whether it was read under the plan that is in force for its route, whatever else was saved since."""
        return one.entry.revision == number or one.entry.body.get("plan") == plans.get(one.reading.route)

    state = site_state(made, [(one.reading, current(one)) for one in held])
    old = None if gone is None else gone.old.get(made.site.id)
    if gone is not None and old is not None:
        since = [one.reading for one in held if after(gone.order, one)]
        state = as_ordered(state, gone.change, old, since=since, every=[one.reading for one in held])
    counting = [one for one in held if one.found is not None and (one.found.settings or one.found.launches)]
    unissued = bool(counting) and not counting[-1].entry.body.get("issued", True)
    latest = counting[-1].found if counting else None
    return SiteLine(made, state, tuple(reversed(held)), line, unissued, latest)
