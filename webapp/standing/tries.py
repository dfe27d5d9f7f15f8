"""What a page tries: offsets, clock errors, routes, sites not transmitting and levers, out of an address or a form."""

import copy
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Query, Request

from sfn.chain import MAIN
from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.plan.number_text import number_written
from sfn.report.numbers import us
from sfn.study.by_hand import sliders
from sfn.study.lever_move import grounded
from sfn.study.lever_try import Lever
from sfn.study.lever_typed import TYPED, lever_texts, levers_typed
from sfn.study.optimised import Asked
from sfn.study.what_if import WhatIf
from sfn.study.window_try import WindowTry, placed_now, unknown_strategy
from sfn.systems.ofdm_window import MAP_STRATEGIES
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable
from webapp.standing.lever_fields import LeverTry, lever_try

# Finer than any terrain, coarser than any map.
LEAST_PIXEL_M, MOST_PIXEL_M = 1.0, 50_000.0
Part = TypeVar("Part")


def _none() -> list[str]:
    """Nothing tried. A function of ours: what `list` takes would be read out of its text at each of 400 routes."""
    return []


Listed = Annotated[list[str], Query(default_factory=_none)]
ElectricalTilts = Annotated[list[str], Query(default_factory=_none, alias="electrical-tilt")]
Grounds = Annotated[list[str], Query(default_factory=_none, alias="ground-height")]
Heights = Annotated[list[str], Query(default_factory=_none, alias="antenna-height")]
MechanicalTilts = Annotated[list[str], Query(default_factory=_none, alias="mechanical-tilt")]


def tries(
    request: Request, offset: Listed, clock: Listed, route: Listed, off: Listed, strategy: str = "",
    backoff_us: str = "", threshold_db: str = "", state: str = "", *, power: Listed, azimuth: Listed, pattern: Listed,
    electrical_tilt: ElectricalTilts, mechanical_tilt: MechanicalTilts, antenna_height: Heights, position: Listed,
    ground_height: Grounds,
) -> WhatIf:  # fmt: skip
    """``offset=south:-12.5``, ``clock=gap:3``, ``route=south:standby``, ``off=north``; each any number of times.
    ``strategy=first``, ``backoff_us=5``, ``threshold_db=12`` once.

    ``power=north:-3dB`` (or ``2.5kW``), ``azimuth=north:120``, ``pattern=north:south`` (``-``: alike all round),
    ``electrical-tilt=north:2``, ``mechanical-tilt=north:1``, ``antenna-height=north:45``, ``position=north:36.3,-84.2``
    (WGS84), ``ground-height=north:412`` (the terrain's where not given); each any number of times.

    A form without a script sends ``offset-south=-12.5`` and ``clock-gap=3``; a field left empty tries nothing.
    """
    problems: list[Problem] = []  # all that is wrong is told at once
    offsets: dict[str, float] = _read(lambda: _numbers("offset", [*offset, *_of_form(request, "offset")]), {}, problems)
    clocks: dict[str, float] = _read(lambda: _numbers("clock", [*clock, *_of_form(request, "clock")]), {}, problems)
    routes: dict[str, str] = _read(lambda: dict(_pairs("route", route)), {}, problems)
    backoff: float | None = _read(lambda: number_of("backoff_us", backoff_us), None, problems)
    threshold: float | None = _read(lambda: number_of("threshold_db", threshold_db), None, problems)
    given = {
        "power": power,
        "azimuth": azimuth,
        "pattern": pattern,
        "electrical-tilt": electrical_tilt,
        "mechanical-tilt": mechanical_tilt,
        "antenna-height": antenna_height,
        "position": position,
        "ground-height": ground_height,
    }
    levers: dict[str, Lever] = _read(lambda: _levers(request, given), {}, problems)
    if problems:
        raise PlanError([*problems, *unknown_strategy(strategy.strip())])
    return WhatIf(
        offsets,
        clocks,
        routes,
        frozenset(filter(None, off)),
        WindowTry(strategy.strip(), backoff, threshold),
        state.strip(),
        levers,
    )


def _levers(request: Request, given: Mapping[str, list[str]]) -> dict[str, Lever]:
    """Power, direction, pattern, tilts, height and place by site."""
    texts = {name: dict(_pairs(name, [*given[name], *_of_form(request, name)])) for name in TYPED}
    made, problems = levers_typed(texts)
    if problems:
        raise PlanError(problems)
    return made


def _read(of: Callable[[], Part], otherwise: Part, problems: list[Problem]) -> Part:
    """One part of an address; what is wrong with it goes to the others' problems."""
    try:
        return of()
    except PlanError as error:
        problems.extend(error.problems)
        return otherwise


def by_form(request: Request) -> bool:
    """Whether an address comes out of a form, and has a shorter way to say the same."""
    return any(name.startswith(("offset-", "clock-", *(f"{one}-" for one in TYPED))) for name in request.query_params)


def query_of(what: WhatIf) -> list[tuple[str, str]]:
    """What is tried, as an address has it."""
    return [
        *(("offset", f"{site}:{value:.12g}") for site, value in what.offsets_us.items()),
        *(("clock", f"{site}:{value:.12g}") for site, value in what.clock_errors_us.items()),
        *(("route", f"{site}:{route}") for site, route in what.routes.items()),
        *(("off", site) for site in sorted(what.off_air)),
        *((name, f"{site}:{text}") for site, lever in what.levers.items() for name, text in lever_texts(lever).items()),
        *([("state", what.state)] if what.state else []),
        *([("strategy", what.window.strategy)] if what.window.strategy else []),
        *(
            (name, f"{value:.12g}")
            for name, value in (("backoff_us", what.window.backoff_us), ("threshold_db", what.window.threshold_db))
            if value is not None
        ),
    ]


TriesDep = Annotated[WhatIf, Depends(tries)]


@dataclass(frozen=True, slots=True)
class RouteTry:
    """A route that a site may be put on: what the address says, and in words what it does to the launch."""

    value: str
    label: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class SiteTry:
    """One site in the form of what is tried; numbers as the form's fields hold them."""

    id: str
    name: str
    on_air: bool
    """In the plan."""
    plan: str
    """Its offset in the plan."""
    offset: str
    clock: str
    off: bool
    routes: tuple[RouteTry, ...]
    """Empty where it has but one."""
    step: str
    """One step of its device; empty where it has none."""
    low: str
    """Ends of the range that a slider offers."""
    high: str
    bounds: str
    """What bounds its offset, in words."""
    lever: LeverTry
    """Power and antenna."""


def site_tries(network: Network, what: WhatIf, table: DelayTable) -> tuple[SiteTry, ...]:
    """The sites of a network with what is tried at each."""
    made = []
    ranges = {one.site: one for one in sliders(network, placed=place(network), asked=Asked(), found_us=what.offsets_us)}
    steps_us = {row.site_id: row.step_us for row in table.rows if row.route == MAIN}
    for site in network.sites:
        others = [row for row in table.rows if row.site_id == site.id and row.route != MAIN]
        routes = [RouteTry("", "main route", site.id not in what.routes)] if others else []
        for row in others:
            label = f"{row.route} route, launch {us(row.jump_us, 1, signed=True)}"
            routes.append(RouteTry(f"{site.id}:{row.route}", label, what.routes.get(site.id) == row.route))
        offset, clock = what.offsets_us.get(site.id, site.offset_us), what.clock_errors_us.get(site.id, 0.0)
        texts = (f"{site.offset_us:.12g}", f"{offset:.12g}", f"{clock:.12g}")
        wide, step_us = ranges[site.id], steps_us.get(site.id, 0.0)
        reach = (f"{step_us:.12g}" if step_us > 0 else "", f"{wide.low_us:.12g}", f"{wide.high_us:.12g}", wide.bounds)
        made.append(
            SiteTry(
                site.id,
                site.name,
                site.on_air,
                *texts,
                site.id in what.off_air,
                tuple(routes),
                *reach,
                lever_try(network, site, what),
            )
        )
    return tuple(made)


@dataclass(frozen=True, slots=True)
class WindowTried:
    """The part of the form about OFDM receivers: what is chosen, as the form's fields hold it, and the plan's."""

    strategies: tuple[str, ...]
    strategy: str
    plan: str
    backoff_us: str
    threshold_db: str
    plan_backoff: str
    plan_threshold: str


def window_tries(network: Network, what: WhatIf) -> WindowTried | None:
    """The receivers' window with what is tried; None where the service has none."""
    plan = placed_now(network)
    if plan is None:
        return None
    typed = [("" if v is None else f"{v:.12g}") for v in (what.window.backoff_us, what.window.threshold_db)]
    usual = [("" if v is None else f"{v:.4g}") for v in (plan.backoff_us, plan.threshold_db)]
    return WindowTried(MAP_STRATEGIES, what.window.strategy or plan.strategy, plan.strategy, *typed, *usual)


def area_of(bounds: str, pixel_m: str) -> tuple[tuple[float, float, float, float] | None, float | None]:
    """Bounds and pixel as an address has them; None for the usual ones.

    Raises
    ------
    PlanError
        If they are not numbers, or the pixel is none that a map has.
    """
    pixel = None if not pixel_m.strip() else _number("pixel_m", pixel_m)
    if pixel is not None and not LEAST_PIXEL_M <= pixel <= MOST_PIXEL_M:
        expected = f"{LEAST_PIXEL_M:g} to {MOST_PIXEL_M:g} m"
        problem = Problem("pixel_m", f"cannot be {pixel_m!r}", expected, code="out-of-range", fields=("pixel_m",))
        raise PlanError([problem])
    if not bounds.strip():
        return None, pixel
    parts = [_number("bounds", part) for part in bounds.split(",")]
    if len(parts) != 4:
        raise PlanError(
            [
                Problem(
                    "bounds",
                    f"cannot be {bounds!r}",
                    "south,west,north,east in degrees",
                    code="bounds-unreadable",
                    fields=("bounds",),
                )
            ]
        )
    return (parts[0], parts[1], parts[2], parts[3]), pixel


def changed_document(document: dict[str, Any], form: dict[str, str]) -> dict[str, Any]:
    """The document with the offsets of a form's ``offset-SITE`` fields; fields left empty change nothing.

    A ``common_delay_held_us`` fixes the common delay: a plan in which few devices change rests on it.
    """
    made = copy.deepcopy(document)
    for site in made["sites"]:
        typed = form.get(f"offset-{site['id']}", "").strip()
        if typed:
            site["offset_us"] = _number(f"offset-{site['id']}", typed)
    held = form.get("common_delay_held_us", "").strip()
    if held:
        made["common_delay"] = {"mode": "fixed", "value_us": _number("common_delay_held_us", held)}
    return made


def levers_kept(
    network: Network, form: Mapping[str, str], *, ground_of: Callable[[Network], Ground | None]
) -> dict[str, Lever]:
    """The levers of a form's ``power-SITE`` and like fields, to be saved as the plan; the terrain is asked if need be.

    Raises
    ------
    PlanError
        If one cannot be read or tried, or nobody ticked that the licence was thought of.
    """
    texts = {name: {site.id: form.get(f"{name}-{site.id}", "") for site in network.sites} for name in TYPED}
    levers, problems = levers_typed(texts)
    what = WhatIf(levers=levers)
    problems = problems or what.problems(network)
    if not problems and any(lever.position for lever in levers.values()):
        what = WhatIf(levers=grounded(network, levers, ground_of(network)))
    levers = {} if problems else dict(what.against(network).levers)
    if levers and form.get("licence") != "yes":
        names = ", ".join(format(site.name) for site in network.sites if site.id in levers)
        problems = (
            Problem(
                "licence",
                f"power, direction, pattern, tilt, height or place of {names} would become the plan",
                "the box ticked, once they were held against the licence, its contours and exposure near the antenna; "
                "local codes and licensed practice govern",
                code="licence-unconfirmed",
                fields=("licence",),
            ),
        )
    if problems:
        raise PlanError(problems)
    return levers


def _pairs(name: str, values: list[str]) -> list[tuple[str, str]]:
    """``site:value`` texts."""
    made = []
    for text in filter(None, values):
        site, colon, value = text.rpartition(":")
        if not colon:
            raise PlanError([Problem(name, f"cannot be {text!r}", "SITE:VALUE", code="try-unreadable", fields=(name,))])
        made.append((site, value))
    return made


def _of_form(request: Request, name: str) -> list[str]:
    """``offset-south`` and its like in the form of ``offset``."""
    sent = request.query_params.multi_items()  # a tilt's name holds no other's
    return [f"{key.removeprefix(f'{name}-')}:{text}" for key, text in sent if key.startswith(f"{name}-") and text]


def _numbers(name: str, values: list[str]) -> dict[str, float]:
    """``site:number`` texts; a problem bears the name of the field that it was typed in."""
    return {site: _number(f"{name}-{site}", value, f"{name} of {site}: ") for site, value in _pairs(name, values)}


def _number(name: str, text: str, who: str = "") -> float:
    """A number of a size that can be meant."""
    try:
        value = float(number_written(text))
    except ValueError as error:
        raise PlanError([Problem(name, f"{who}{error}", "a number", code="not-a-number", fields=(name,))]) from None
    if not abs(value) < 1e12:
        raise PlanError(
            [
                Problem(
                    name, f"{who}{text!r} is out of range", "a number below 1e12", code="out-of-range", fields=(name,)
                )
            ]
        )
    return value


def height_of(text: str) -> float | None:
    """A receiving antenna's height as typed; None where nothing is.

    Raises
    ------
    PlanError
        If it is no height of a receiving antenna.
    """
    if not text.strip():
        return None
    height = _number("rx_height_m", text)
    if not 1 <= height <= 3000:
        raise PlanError(
            [
                Problem(
                    "rx_height_m",
                    f"cannot be {text!r}",
                    "1 to 3000 m above ground",
                    code="out-of-range",
                    fields=("rx_height_m",),
                )
            ]
        )
    return height


def number_of(name: str, text: str) -> float | None:
    """A number as typed; None where nothing is.

    Raises
    ------
    PlanError
        If it is none.
    """
    return _number(name, text) if text.strip() else None


def percentages_of(text: str) -> tuple[float, ...]:
    """Percentages of time as typed, blanks or semicolons or commas between; empty where nothing is.

    Raises
    ------
    PlanError
        If one is not from 1 to 50, or there are more than ten.
    """
    found = tuple(_number("time_pct", part) for part in text.replace(";", " ").replace(",", " ").split())
    if len(found) > 10 or not all(1 <= one <= 50 for one in found):
        raise PlanError(
            [
                Problem(
                    "time_pct",
                    f"cannot be {text!r}",
                    "up to ten numbers from 1 to 50 %",
                    code="out-of-range",
                    fields=("time_pct",),
                )
            ]
        )
    return found
