"""One site with everything that was sent from it: the office's overview and the network's first page show the same."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sfn.study.going_back import as_ordered
from sfn.study.readings import Judged, Reading, SiteState, plan_of, site_state
from sfn.study.sheet import Sheet
from sfn.survey.readings import State
from webapp.shell.dependencies import Opened
from webapp.shell.windows import Window, window
from webapp.standing.readings import READING, Kept, kept, reading_in
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
    """What was sent from it, the newest first: the part that was asked for."""
    line: SheetLine
    """How far its sheet is."""
    unissued: bool
    """Whether what was sent last was set or read without an issued sheet."""
    latest: Judged | None
    """What was sent last, whatever plan it was made under."""
    part: Window[int]
    """Which part of all that was sent stands in `kept`: by their places, from 0."""
    newest_at: datetime | None
    """When the newest of all that was sent from it held."""


def reports_of(opened: Opened, store: Store, site_id: str | None = None) -> list[Entry]:
    """What was read at the sites or told to the office of them, and devices replaced."""
    return list(store.entries.of(opened.head.id, kind=(READING, TOLD, REPLACED), site_id=site_id))


EVERY_N = 10**9


def reported_lines(
    opened: Opened,
    store: Store,
    maps: Maps,
    found: Released,
    *,
    most: int = EVERY_N,
    parts: Mapping[str, str] | None = None,
) -> tuple[tuple[SiteLine, ...], dict[str, list[Entry]]]:
    """Every site that has a sheet with what was sent from it, and all that was sent, by site.

    Of each site the newest are held against its sheet one by one, `most` of them, or that part which `parts` names.
    """
    by_site: dict[str, list[Entry]] = {}
    for entry in reports_of(opened, store):
        by_site.setdefault(entry.site_id, []).append(entry)
    gone = taken_back(store, maps, opened.head.id)
    asked = parts or {}
    lines = (
        site_line(
            one, by_site.get(one.sheet.site.id, []), opened, gone, most=most, part=asked.get(one.sheet.site.id, "")
        )
        for one in found.lines
    )
    return tuple(lines), by_site


def site_line(
    line: SheetLine,
    entries: list[Entry],
    opened: Opened,
    gone: TakenBack | None,
    *,
    most: int = EVERY_N,
    part: str = "",
) -> SiteLine:
    """One site with what was sent from it; `gone` is the change that was taken back, if one was."""
    made = line.sheet
    # In the order in which they were taken: a telephone that had no connection sends late.
    ordered = sorted(entries, key=lambda entry: (held_of(entry).at, entry.made_at))
    readings = [reading_in(entry) for entry in ordered]
    number = opened.head.revision.number
    plans = {route.row.route: plan_of(made, route.row.route) for route in made.routes}

    def current(entry: Entry, reading: Reading) -> bool:
        """Whether it was read under the plan that is in force for its route, whatever else was saved since."""
        return entry.revision == number or entry.body.get("plan") == plans.get(reading.route)

    state = site_state(made, [(one, current(entry, one)) for entry, one in zip(ordered, readings, strict=True)])
    old = None if gone is None else gone.old.get(made.site.id)
    if gone is not None and old is not None:
        held = kept(made, ordered)
        since = [one.reading for one in held if after(gone.order, one)]
        state = as_ordered(state, gone.change, old, since=since, every=[one.reading for one in held])
    newest_first = ordered[::-1]
    each = (kept(made, [entry])[0] for entry in newest_first)
    counting = next((one for one in each if one.found and (one.found.settings or one.found.launches)), None)
    unissued = counting is not None and not counting.entry.body.get("issued", True)
    latest = None if counting is None else counting.found
    shown = window(range(len(newest_first)), part, most=most)
    newest_at = held_of(newest_first[0]).at if newest_first else None
    part_kept = kept(made, [newest_first[n] for n in shown.rows])
    return SiteLine(made, state, part_kept, line, unissued, latest, shown, newest_at)
