"""The state of a site from everything that was reported of it, taken further reading by reading."""

import copy
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from sfn.plan.number_text import number_written
from sfn.study.readings import Judged, Reading, judged, route_of
from sfn.study.sheet import RouteSheet, Sheet
from sfn.survey.lock_sheet import question_lock
from sfn.survey.readings import Restarts, State, restart_tolerance


@dataclass(frozen=True, slots=True)
class SiteState:
    """A site at a glance: its state, and of one route the newest settings and launches that count.

    The route is the main one, or the first that disagrees. `scatter` is that of all launches since a field was last
    turned, however many visits they took; `locks` are questions about the newest lock-sheet readings.
    """

    state: State
    settings: Judged | None
    measured: Judged | None
    route: str
    scatter: Restarts | None
    locks: tuple[str, ...]


def site_state(made: Sheet, readings: Sequence[tuple[Reading, bool]]) -> SiteState:
    """State of a site from all readings, in the order in which they held: each field stands as it was reported last.

    Parameters
    ----------
    made : Sheet
        The sheet of the newest revision.
    readings : sequence of (Reading, bool)
        Each with whether it was made under the plan that the newest revision has for its route. An older one counts
        only where it agrees with the newest: a field that stands where an older plan put it is not wrong, it is not
        changed yet.
    """
    found = SiteFold(made)
    for reading, current in readings:
        found.take(made, reading, current=current)
    return found.state(made)


class SiteFold:
    """The same, taken further as readings come that held later than those before.

    It may go on with another sheet than it began with as long as `mark` is the same of both.
    """

    def __init__(self, made: Sheet) -> None:
        self.mark = mark(made)
        self._routes = {route.row.route: _Route() for route in made.routes}
        self._locks: dict[str, str] = {}

    def take(self, made: Sheet, reading: Reading, *, current: bool) -> None:
        """One more reading, which held no sooner than any before."""
        for name, route in self._routes.items():
            if reading.route == name or reading.replaced:
                route.take(made, route_of(made, name), reading, current=current)
        self._locks |= reading.locks

    def state(self, made: Sheet) -> SiteState:
        """State of the site by all readings so far."""
        states = [route.state(made, name) for name, route in self._routes.items()]
        odd: tuple[State, ...] = ("disagrees", "split")
        shown = next((one for state in odd for one in states if one.state == state), states[0])
        asked = (
            question_lock(name, typed, lock=made.site.lock, tolerance_us=made.tolerated_us)
            for name, typed in self._locks.items()
        )
        wrong = tuple(one.text for told in asked for one in told)
        return replace(shown, state="disagrees" if wrong else shown.state, locks=wrong)


def mark(made: Sheet) -> Hashable:
    """All of a sheet that decides what a reading is worth beside it: two sheets alike in it hold readings alike."""
    own = tuple(repr(one.model_copy(update={"set": None})) for one in made.site.delay_fields)
    routes = tuple(
        (
            route.row.route,
            route.row.launch_us,
            tuple((line.name, line.unit, line.value, line.back.before) for line in route.fields),
            tuple((time.plane, time.passes_us) for time in route.planes),
        )
        for route in made.routes
    )
    return (made.site.id, made.tolerated_us, own, routes)


@dataclass(slots=True)
class _Route:
    """What is known of one route."""

    stood: dict[str, tuple[str, bool]] = field(default_factory=dict)
    """Each field as it was typed last, and whether that counts."""
    measured: Reading | None = None
    launches: list[float] = field(default_factory=list)
    plane: str = ""

    def take(self, made: Sheet, route: RouteSheet, reading: Reading, *, current: bool) -> None:
        """One more reading of the route, or that the device was replaced."""
        if reading.replaced:
            self.stood, self.measured, self.launches = {}, None, []
            return
        found: Judged | None = None
        try:
            typed = _numbers_typed(route, reading)
            if reading.readings_us or not current:  # of many readings, most are settings of today's plan
                found = judged(made, reading, ask=False)
        except ValueError:  # typed for a plane or field that the newest revision no longer has
            return
        unknown = [name for name, text in reading.as_set.items() if text is None and name in self.stood]
        self.stood = {name: one for name, one in self.stood.items() if name not in unknown}
        # What was measured before a field was turned says nothing of what is on air now.
        if unknown or any(_turned_since(self.stood, name, text) for name, text in typed.items()):
            self.measured = None
        counts = found is None or current or found.state not in ("disagrees", "split")
        self.stood |= {name: (text, counts) for name, text in typed.items()}
        if not counts:
            self.measured = None
        elif found is not None and found.launches:
            if self.measured is None or reading.plane != self.plane:
                self.launches = []
            self.launches += [launch.launch_us for launch in found.launches]
            self.measured, self.plane = reading, reading.plane

    def state(self, made: Sheet, name: str) -> SiteState:
        """State of the route."""
        stood = self.stood
        settings = (
            judged(made, Reading(name, {field: typed for field, (typed, _) in stood.items()}), ask=False)
            if stood
            else None
        )
        if settings is not None and any(line.off_us != 0 and not stood[line.name][1] for line in settings.settings):
            settings = None  # a field stands where an older plan put it: not changed yet
        measured = None if self.measured is None else judged(made, self.measured, ask=False)
        launches = self.launches
        scatter = restart_tolerance(launches) if measured is not None and len(launches) > 1 else None
        stands: State = "planned" if settings is None else settings.state
        if measured is not None and stands in ("planned", "set"):
            stands = "measured"
        if measured is not None and measured.launch_off:
            stands = "disagrees"
        return SiteState(stands, settings, measured, name, scatter, ())


def _numbers_typed(route: RouteSheet, reading: Reading) -> dict[str, str]:
    """Settings of a route's fields as they were typed; raises ValueError, as `judged` does, where one is no number."""
    typed = {line.name: text for line in route.fields if (text := reading.as_set.get(line.name)) is not None}
    for text in typed.values():
        number_written(text)
    return typed


def _turned_since(stood: Mapping[str, tuple[str, bool]], name: str, typed: str) -> bool:
    """Whether a field was reported at another setting before."""
    if name not in stood or stood[name][0] == typed:
        return False
    return float(number_written(stood[name][0])) != float(number_written(typed))


def with_set_now(tree: Mapping[str, Any], site_id: str, found: SiteState) -> dict[str, Any]:
    """The document in which a site's fields stand where they were read: the way back of the next change.

    Parameters
    ----------
    tree : mapping
        The network document as it was typed.
    site_id : str
    found : SiteState
        Of that site; without settings nothing changes.
    """
    made: dict[str, Any] = copy.deepcopy(dict(tree))
    site = next(one for one in made["sites"] if one["id"] == site_id)
    own = next((chain.get("set") or {} for chain in site["chains"] if chain["route"] == found.route), {})
    for line in () if found.settings is None else found.settings.settings:
        value = int(line.value) if float(line.value).is_integer() else line.value
        if line.name in own:  # this route has a setting of its own
            own[line.name] = value
        else:
            next(one for one in site["delay_fields"] if one["name"] == line.name)["set"] = value
    return made
