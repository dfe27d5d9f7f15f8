"""Clocks without their reference, and which failure leaves which sites in step."""

from dataclasses import dataclass
from math import isinf
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.check.references import receivers_of, references
from sfn.clock.oscillator import NOTE
from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.reception.coverage import Coverage
from sfn.report.stream_charts import holdover_chart
from sfn.study.clocks import ASSUMED, LOCKED, Clocks, PairClock, kinds, with_clock
from sfn.study.failures import FailureRow, failure_table, without_clock_row
from sfn.study.muting import MutingOrder, muting_order
from sfn.study.standby_routes import StandbyRoute
from sfn.timing import DelayTable, delay_table
from webapp.config.addresses import Room, to
from webapp.forms import stream as forms
from webapp.forms.clock_typed import clocks_of, standby_of
from webapp.forms.stream import Part
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import MapsDep, NetworkDep, Opened, SettingsDep, in_part
from webapp.shell.render import page
from webapp.shell.windows import USUAL_ROWS_N, Shown, Window, window
from webapp.work.maps import Maps

router = Room("clocks")


@dataclass(frozen=True, slots=True)
class ClocksPage(Context):
    """Holdover of the sites' clocks, and which failure leaves which sites in step."""

    TEMPLATE: ClassVar[str] = "feed/clocks.html"
    TAB: ClassVar[str] = "clocks"
    network: NetworkHead
    """Which network, in which revision."""
    parts: tuple[Part, ...]
    """The form."""
    found: Clocks | None
    """The clocks, unless a field is wrong."""
    assumed: bool
    """Whether no clock has been chosen yet."""
    note: str
    """What the classes' figures are."""
    chart: str
    """Error against time."""
    failures: tuple[FailureRow, ...]
    """Worst first."""
    no_row: tuple[str, ...]
    """Sites whose lost reference has no row there, and why, as sentences."""
    order: MutingOrder | None
    """Which site to mute first; None while there are no field strengths to judge it by."""
    standby: tuple[StandbyRoute, ...]
    """Going over to each standby route."""
    references: tuple[tuple[str, str, float | None], ...]
    """Of every site that keeps time: name, time scale, error of its antenna cable. [us]"""
    reference_problems: tuple[Problem, ...]
    """What is wrong with them."""
    problems: tuple[Problem, ...]
    """What belongs to no field."""
    untimed: tuple[str, ...] = ()
    """Names of sites that may lose their reference, with a clock that times no launch."""
    pairs: Window[PairClock] | None = None
    """Those of its pairs that stand here, where there are many those that part first."""
    as_typed: str = ""
    """This page's address with what was typed."""


@router.get("/networks/{network_id}/clocks")
def show(request: Request, opened: NetworkDep, maps: MapsDep, settings: SettingsDep, pairs: Shown = "") -> Response:
    """Time to the tolerance of every site and pair, alarms, failures."""
    typed = dict(request.query_params.multi_items())
    part = in_part(opened)  # clocks need no place; launches and levels do
    asked = sorted(item for item in typed.items() if item[0] != "pairs")
    try:
        made = maps.worked_out(f"clocks {asked}", opened.network, lambda: _answer(opened.network, part.network, typed))
    except PlanError as error:
        parts = _parts(opened, typed, error.problems)
        left = forms.elsewhere(parts, error.problems)
        return page(
            request, ClocksPage(part.head, parts, None, False, NOTE, "", (), (), None, (), (), (), left), status=422
        )
    found = made.found
    levels = None if part.network.unjudged else _levels(part, maps, settings.limits.grid_points)
    there = {site.id for site in part.network.sites}
    clock_by_site = {s.site_id: s.clock for s in found.sites if s.kind != LOCKED and s.site_id in there}
    order = None if levels is None else muting_order(part.network, levels, made.table.launches(), clocks=clock_by_site)
    few = len(found.pairs) <= USUAL_ROWS_N
    chosen = any(name.startswith("clock-") for name in typed)
    context = ClocksPage(
        part.head,
        _parts(opened, typed, ()),
        found,
        not chosen,
        NOTE,
        _chart(found),
        made.failures,
        without_clock_row(part.network),
        order,
        made.standby,
        _references(opened),
        tuple(references(opened.network)),
        (),
        tuple(site.site_name for site in found.sites if not site.times_launch and site.kind != LOCKED),
        window(found.pairs if few else sorted(found.pairs, key=lambda pair: pair.time_to_limit_h), pairs),
        to("clocks.show", opened.head.id, query=[item for item in typed.items() if item[0] != "pairs"]),
    )
    return page(request, context)


@dataclass(frozen=True, slots=True)
class _Answer:
    """What follows from a network and what is typed of its clocks, whatever levels there are."""

    table: DelayTable
    found: Clocks
    standby: tuple[StandbyRoute, ...]
    failures: tuple[FailureRow, ...]


def _answer(whole: Network, part: Network, typed: dict[str, str]) -> _Answer:
    """Clocks of all sites; routes and failures of those that can be read.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    table, found = delay_table(part), clocks_of(whole, typed)
    standby = standby_of(table, typed)
    holds = {site.site_id: None if isinf(site.time_to_limit_h) else site.time_to_limit_h for site in found.sites}
    failures = failure_table(part, table, tolerance_us=found.limit_us, holdover_h=holds)
    return _Answer(table, found, standby, failures)


def _references(opened: Opened) -> tuple[tuple[str, str, float | None], ...]:
    """Of every site its name, time scale (empty: not said), and how late its pulse is for want of compensation. [us]"""
    receivers = receivers_of(opened.network)
    return tuple(
        (site.name, receivers[site.id].time_scale, receivers[site.id].error_us)
        if site.id in receivers
        else (site.name, "", None)
        for site in with_clock(opened.network)
    )


def _levels(opened: Opened, maps: Maps, most: int) -> Coverage | None:
    """The usual map's field strengths, if they are there."""
    try:
        return maps.find(maps.wanted(opened.network, bounds=None, pixel_m=None, most=most).key)
    except PlanError:
        return None  # the map's own page says why there is none


def _chart(found: Clocks) -> str:
    """One curve for each kind of clock in use."""
    kept = {site.kind: site.clock for site in found.sites}
    return holdover_chart(list(kept.items()), limit_us=found.limit_us, limit_name=found.limit_name)


def _parts(opened: Opened, typed: dict[str, str], problems: tuple[Problem, ...]) -> tuple[forms.Part, ...]:
    """The form."""
    known = kinds()
    asks = tuple(forms.Ask(f"clock-{site.id}", site.name, choices=known) for site in with_clock(opened.network))
    assumed = {ask.name: ASSUMED for ask in asks}
    return (
        forms.part("Clock of each site", asks, assumed | typed, problems),
        forms.part("Limit and surroundings", forms.HOLDOVER, typed, problems),
        forms.part("Figures of a clock of your own", forms.OWN_CLOCK, typed, problems),
        forms.part("Antenna cable of a timing receiver", forms.CABLE, typed, problems),
        forms.part("Standby routes", forms.STANDBY, typed, problems),
    )
