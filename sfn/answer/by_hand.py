"""Offsets moved by hand: what they do at once, the curve over one site's offset, and where listeners lose."""

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np

from sfn.answer.optimise import Asked, network_limits
from sfn.answer.what_if import WhatIf, tried
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.report.curve import curve_svg
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective, Score, along, score
from sfn.timing import delay_table

Weight = float  # people or km2
CURVE_STEPS_N = 100


@dataclass(frozen=True, slots=True)
class Slider:
    """The range of one site's offset, and what it is now. [us]"""

    site: str
    name: str
    low_us: float
    high_us: float
    now_us: float
    step_us: float
    held: bool


def sliders(network: Network, *, placed: Mapping[str, Located], asked: Asked) -> tuple[Slider, ...]:
    """A range for each site's offset, wide enough for what is set now."""
    allowed = network_limits(network, delay_table(network, placed=placed), asked)
    made = []
    for i, site in enumerate(network.sites):
        low, high, now = allowed.low_us[i], allowed.high_us[i], site.offset_us
        held = bool(low == high)
        made.append(Slider(site.id, site.name, float(min(low, now)), float(max(high, now)), now, allowed.step_us, held))
    return tuple(made)


def tried_score(
    network: Network, what: Objective, offsets: Mapping[str, float], *, placed: Mapping[str, Located],
    executor: Executor | None = None,
) -> Score:  # fmt: skip
    """Score with some offsets tried and all settings rounded to the devices' steps.

    Raises
    ------
    PlanError
        If a site does not exist.
    """
    now = tried(network, WhatIf(offsets_us=dict(offsets)), placed=placed)
    return score(what, np.array([now.launches[name] for name in what.sites]), executor=executor)


def curve(
    network: Network, what: Objective, offsets: Mapping[str, float], site: str, *, placed: Mapping[str, Located],
    best_us: float | None, executor: Executor | None = None,
) -> str:  # fmt: skip
    """SVG of people or km2 without service over one site's offset, the others as tried.

    Raises
    ------
    PlanError
        If a site does not exist.
    """
    now = tried(network, WhatIf(offsets_us={site: 0.0, **offsets}), placed=placed)
    allowed: Limits = network_limits(network, now.table, Asked())
    i = what.sites.index(site)
    here = dict(zip(what.sites, (s.offset_us for s in now.network.sites), strict=True))[site]
    low, high = min(allowed.low_us[i], here), max(allowed.high_us[i], here)
    if high - low < 1.0:
        low, high = here - 20.0, here + 20.0
    shifts = np.linspace(low, high, CURVE_STEPS_N + 1) - here
    launches = np.array([now.launches[name] for name in what.sites])
    found = along(what, launches, allowed.group(i), shifts, executor=executor)
    present = next(s.offset_us for s in network.sites if s.id == site)
    marks = [("now", present)] + ([] if best_us is None else [("found", best_us)])
    return curve_svg(
        (shifts + here).tolist(), found[:, 0].tolist(), label=f"Without adequate service, {what.unit}", marks=marks,
        refractivity_n=network.refractivity_n,
    )  # fmt: skip


def plan_reason(answer: Mapping[str, Any]) -> str:
    """The reason that a revision with these offsets is saved with."""
    before, after = answer["before"]["without_service"], answer["after"]["without_service"]
    return (
        f"offsets by search ({answer['objective']}, seed {answer['seed']}): without adequate service "
        f"{before:.1f} to {after:.1f} {answer['unit']}"
    )
