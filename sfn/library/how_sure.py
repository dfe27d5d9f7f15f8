"""How sure plans are, as ``python -m sfn sure`` gives it."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any, Literal

from sfn.answer.how_sure_document import plan_sure, sure_document
from sfn.field.rasters import SiteProgress
from sfn.geodesy.sites import place
from sfn.library.opened import Opened
from sfn.library.search import THREADS_N, counted_on, resting_on
from sfn.plan.left_out import left_out_document
from sfn.reception.coverage import coverage as levels_over
from sfn.reception.listeners import Listeners
from sfn.reception.weights import weighed
from sfn.study.calibrated import Calibrated
from sfn.study.how_sure import AskedSure, HowSure, sure_of
from sfn.study.optimise import network_objective
from sfn.study.optimised import Asked
from sfn.study.sure_figures import Told

Weight = float  # people or km2, as weighed


@dataclass(frozen=True, slots=True)
class SureAnswer:
    """Plans in drawn worlds; the first is the network itself."""

    network: Opened
    names: tuple[str, ...]
    found: HowSure
    unit: str
    counted: Weight
    listeners: Listeners
    resting: dict[str, Any]
    """What ground and people are, as the documents of searches have it."""

    @property
    def says(self) -> tuple[str, ...]:
        """What the levels rest on and leave out, in words."""
        keys = ("smooth_earth_says", "terrain_averaged", "treetops_say", "level_shifts", "credits")
        return tuple(self.resting[key] for key in keys if self.resting[key])

    @property
    def document(self) -> dict[str, Any]:
        """What ``sure --json`` prints."""
        people = self.unit == "people"
        network = self.network.readable
        return {
            "network": network.name,
            "unit": self.unit,
            "counted": self.counted,
            **self.resting,
            "left_out_sites": left_out_document(network.left_out),
            **self.found.beside.as_json(),
            **sure_document(self.found, people=people),
            "plans": [
                {"name": name} | plan_sure(one, people=people)
                for name, one in zip(self.names, self.found.plans[1:], strict=True)
            ],
        }


def how_sure(
    network: Opened,
    plans: Sequence[tuple[str, Opened]] = (),
    *,
    asked: AskedSure | None = None,
    objective: Literal["people", "area"] | None = None,
    pixel_m: float | None = None,
    measured: Calibrated | None = None,
    progress: SiteProgress | None = None,
    told: Told | None = None,
) -> SureAnswer:
    """What a network, and plans of it, serve in drawn worlds, and what to measure first.

    Parameters
    ----------
    network : Opened
        Today's.
    plans : sequence of (name, Opened)
        Other documents of the same sites.
    asked : AskedSure, optional
        How many worlds, how far levels may be off, and what was measured.
    objective, pixel_m, progress
        As in `sfn.library.search.optimise`.
    measured : Calibrated, optional
        Drive tests of `network`, from `sfn.study.calibrated.calibrated`, instead of those in `asked`: worlds that they
        rule out are not drawn.
    told : callable(worlds done, all), optional

    Raises
    ------
    PlanError
        If an argument or a document cannot be used, or people are to be counted and not known.
    """
    wanted = asked or AskedSure()
    if measured is not None:
        wanted = replace(wanted, measured=measured)
    today, placed, ground = network.readable, place(network.readable), network.ground
    grid, heard = counted_on(network, objective, pixel_m, placed=placed)
    counted = Asked(
        people=heard.people, by_area=objective == "area", weights=weighed(today, grid, places=heard.places),
        places=heard.places,
    )  # fmt: skip
    with ThreadPoolExecutor(THREADS_N) as executor:
        levels = levels_over(today, grid, placed=placed, ground=ground, executor=executor, progress=progress)
        what = network_objective(today, levels, counted, executor=executor)
        found = sure_of(
            today, levels, what, wanted, [one.readable for _, one in plans], placed=placed,
            executor=executor, told=told,
        )  # fmt: skip
    names = tuple(name for name, _ in plans)
    resting = resting_on(today, levels, heard, credits_say=network.credits_say)
    return SureAnswer(network, names, found, what.unit, float(what.weight.sum()), heard, resting)
