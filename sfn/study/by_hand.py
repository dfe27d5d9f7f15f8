"""Offsets moved by hand: ranges and what bounds them, what a try does at once, curves and maps of the objective."""

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.report.curve import curve_svg
from sfn.report.numbers import us
from sfn.report.plane import plane_svg
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective, Score, along, score
from sfn.study.optimise import network_limits
from sfn.study.optimised import Asked
from sfn.study.what_if import Tried, WhatIf, tried
from sfn.timing import delay_table

CURVE_STEPS_N = 100
PLANE_CELLS_N = 25
NEVER_WIDER_US = 1_000_000.0
LEAST_RANGE_US = 1.0
HELD_RANGE_US = 20.0


@dataclass(frozen=True, slots=True)
class Slider:
    """The range of one site's offset, what it is now, what bounds it in words, and who moves it along. [us]"""

    site: str
    name: str
    low_us: float
    high_us: float
    now_us: float
    step_us: float
    held: bool
    bounds: str
    parent: str


@dataclass(frozen=True, slots=True)
class Ends:
    """The offsets of one site that a curve or a map is drawn over. [us]"""

    site: str
    low_us: float
    high_us: float


def offsets_alone(what: WhatIf) -> Mapping[str, float]:
    """The offsets of a try that has nothing else: levels and launches of a search know no more.

    Raises
    ------
    PlanError
        If something else is tried: it would count for nothing and nobody would be told.

    Examples
    --------
    >>> offsets_alone(WhatIf({"south": -12.5}))
    {'south': -12.5}
    """
    beside = {
        "clock": what.clock_errors_us, "route": what.routes, "off": what.off_air, "strategy": what.window,
        "state": what.state, "power, azimuth, pattern, tilt, height or position": what.levers,
    }  # fmt: skip
    wrong = [
        Problem(key, "is not tried here: these figures follow offsets alone", "the overlap map, which tries it",
                code="try-of-offsets-alone")
        for key, given in beside.items() if given
    ]  # fmt: skip
    if wrong:
        raise PlanError(wrong)
    return what.offsets_us


def sliders(
    network: Network, *, placed: Mapping[str, Located], asked: Asked, found_us: Mapping[str, float] | None = None
) -> tuple[Slider, ...]:
    """A range for each site's offset, wide enough for what is saved and what was found.

    Parameters
    ----------
    network : Network
    placed : mapping of site id to Located
    asked : Asked
        Its limits are those of the ranges.
    found_us : mapping of site id to offset, optional
        [us]
    """
    allowed = network_limits(network, delay_table(network, placed=placed), asked)
    names = {site.id: site.name for site in network.sites}
    made = []
    for i, site in enumerate(network.sites):
        now = site.offset_us
        wide = [now, (found_us or {}).get(site.id, now)]
        low, high = float(min(allowed.low_us[i], *wide)), float(max(allowed.high_us[i], *wide))
        if high - low < LEAST_RANGE_US:  # held: its curve is still worth a look
            low, high = low - HELD_RANGE_US, high + HELD_RANGE_US
        parent = site.fed_off_air_from or ""
        made.append(
            Slider(
                site.id, site.name, low, high, now, allowed.step_us, not bool(allowed.free[i]),
                _bounds(network, allowed, i, names.get(parent, "")), parent,
            )
        )  # fmt: skip
    return tuple(made)


def _bounds(network: Network, allowed: Limits, i: int, parent: str) -> str:
    """What bounds a site's offset, in words."""
    site = network.sites[i]
    if site.id not in network.transmitting:
        return "not transmitting"
    if site.offset_held:
        return "held in the plan"
    if not allowed.free[i]:
        return "held for this search"
    low, high = (us(value, 1, signed=True) for value in (allowed.low_us[i], allowed.high_us[i]))
    said = f"{low} to {high}"
    if parent:
        gap_us = -allowed.most_us[allowed.parent[i], i]
        return (
            f"{said}, counted from the earliest that {parent} leaves it as saved; "
            f"at least {us(float(gap_us), 1)} later than {parent}, which feeds it, and moved along with it"
        )
    own = [value for value in (site.least_offset_us, site.greatest_offset_us) if value is not None]
    if any(value in (allowed.low_us[i], allowed.high_us[i]) for value in own):
        return f"{said}; limits of the site's own"
    return said


def tried_score(
    network: Network, what: Objective, offsets: Mapping[str, float], *, placed: Mapping[str, Located],
    executor: Executor | None = None,
) -> tuple[Score, Tried]:  # fmt: skip
    """Score with some offsets tried and all settings rounded to the devices' steps; and the try with its doubts.

    Raises
    ------
    PlanError
        If a site does not exist.
    """
    now = tried(network, WhatIf(offsets_us=dict(offsets)), placed=placed)
    return score(what, np.array([now.launches[name] for name in what.sites]), executor=executor), now


def curve(
    network: Network, what: Objective, offsets: Mapping[str, float], ends: Ends, *, placed: Mapping[str, Located],
    found_us: float | None, executor: Executor | None = None,
) -> str:  # fmt: skip
    """SVG of people or km2 without service over one site's offset, the others as tried.

    Sites that receive it off air move along.

    Raises
    ------
    PlanError
        If the site does not exist, or the range is none.
    """
    now, here, groups = _tried(network, what, offsets, (ends,), placed=placed)
    low, high = _wide(ends, here[ends.site])
    shifts = np.linspace(low, high, CURVE_STEPS_N + 1) - here[ends.site]
    found = along(what, now, groups[0], shifts, executor=executor)
    saved = next(s.offset_us for s in network.sites if s.id == ends.site)
    marks = [("saved", saved)] + ([] if found_us is None else [("found", found_us)])
    return curve_svg(
        (shifts + here[ends.site]).tolist(), found[:, 0].tolist(), label=f"Without adequate service, {what.unit}",
        marks=marks, refractivity_n=network.refractivity_n,
    )  # fmt: skip


def plane(
    network: Network, what: Objective, offsets: Mapping[str, float], pair: tuple[Ends, Ends], *,
    placed: Mapping[str, Located], found_us: Mapping[str, float], executor: Executor | None = None,
) -> str:  # fmt: skip
    """SVG of people or km2 without service over two sites' offsets, the others as tried.

    Sites that receive one of them off air move along, but never the other of the pair.

    Raises
    ------
    PlanError
        If a site does not exist, both are the same, or a range is none.
    """
    one, other = pair
    if one.site == other.site:
        raise PlanError(
            [
                Problem(
                    "b",
                    "a map over two offsets needs two sites",
                    "another site",
                    code="two-sites-needed",
                    fields=("b",),
                )
            ]
        )
    now, here, groups = _tried(network, what, offsets, pair, placed=placed)
    rows = [what.sites.index(end.site) for end in pair]
    first, second = (
        groups[k] & ~groups[1 - k] if groups[k][rows[1 - k]] else groups[k] for k in (0, 1)
    )  # fmt: skip
    axes = [np.linspace(*_wide(end, here[end.site]), PLANE_CELLS_N) for end in pair]
    values = np.empty((PLANE_CELLS_N, PLANE_CELLS_N))
    for i, at_us in enumerate(axes[0]):
        moved = now + np.where(first, at_us - here[one.site], 0.0)
        values[i] = along(what, moved, second, axes[1] - here[other.site], executor=executor)[:, 0]
    names = {site.id: site.name for site in network.sites}
    saved = {site.id: site.offset_us for site in network.sites}
    marks = [("saved", saved[one.site], saved[other.site])]
    if {one.site, other.site} <= found_us.keys():
        marks.append(("found", found_us[one.site], found_us[other.site]))
    least = int(np.argmin(values))
    marks.append(("least shown", float(axes[0][least // PLANE_CELLS_N]), float(axes[1][least % PLANE_CELLS_N])))
    return plane_svg(
        axes[0].tolist(), axes[1].tolist(), values, names=(names[one.site], names[other.site]),
        label=f"Without adequate service, {what.unit}", marks=marks, refractivity_n=network.refractivity_n,
    )  # fmt: skip


def _tried(
    network: Network, what: Objective, offsets: Mapping[str, float], ends: tuple[Ends, ...], *,
    placed: Mapping[str, Located],
) -> tuple[NDArray[np.float64], dict[str, float], list[NDArray[np.bool_]]]:  # fmt: skip
    """Launches and offsets of a try, and which sites move with each of some."""
    known = {site.id for site in network.sites}
    wrong = [
        Problem(
            "site",
            f"there is no site {e.site!r}",
            f"one of {', '.join(known)}",
            code="unknown-site",
            fields=("site",),
            values={"site": e.site},
        )
        for e in ends
    ]
    if any(e.site not in known for e in ends):
        raise PlanError(problem for problem, e in zip(wrong, ends, strict=True) if e.site not in known)
    now = tried(network, WhatIf(offsets_us=dict(offsets)), placed=placed)
    allowed = network_limits(network, now.table, Asked())
    here = {site.id: site.offset_us for site in now.network.sites}
    launches = np.array([now.launches[name] for name in what.sites])
    return launches, here, [allowed.group(what.sites.index(e.site)) for e in ends]


def _wide(ends: Ends, here_us: float) -> tuple[float, float]:
    """A range that is one.

    Raises
    ------
    PlanError
        If it is not.
    """
    if not -NEVER_WIDER_US <= ends.low_us <= ends.high_us <= NEVER_WIDER_US:
        what = f"offsets from {ends.low_us!r} to {ends.high_us!r} us are no range"
        raise PlanError(
            [
                Problem(
                    "low", what, f"low below high, within +-{NEVER_WIDER_US:g} us", code="out-of-range", fields=("low",)
                )
            ]
        )
    if ends.high_us - ends.low_us < LEAST_RANGE_US:
        return here_us - HELD_RANGE_US, here_us + HELD_RANGE_US
    return ends.low_us, ends.high_us


def plan_reason(answer: Mapping[str, Any]) -> str:
    """The reason that a revision with these offsets is saved with."""
    before, after = answer["before"]["without_service"], answer["after"]["without_service"]
    weighed = f", {len(answer['weights'])} weights" if answer["weights"] else ""
    return (
        f"offsets by search ({answer['objective']}{weighed}, random seed {answer['seed']}): without adequate service "
        f"{before:.1f} to {after:.1f} {answer['unit']}"
    )
