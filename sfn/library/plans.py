"""Plans of change, as ``python -m sfn optimise --vary`` gives them."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Literal

from sfn.answer.plans_document import plans_document
from sfn.errors import PlanError, Problem
from sfn.field.rasters import SiteProgress
from sfn.geodesy.sites import place
from sfn.library.opened import Opened
from sfn.library.search import THREADS_N, counted_on, phases, refuse, resting_on
from sfn.plan.may_change import ChangeCosts, SiteChanges
from sfn.reception.coverage import Coverage, coverage as levels_over
from sfn.reception.listeners import Listeners
from sfn.reception.weights import weighed
from sfn.study.how_sure import AskedSure
from sfn.study.optimise import held_of
from sfn.study.optimised import Asked
from sfn.study.plan_levers import KINDS
from sfn.study.plan_scene import Licence
from sfn.study.plans import plans as search_plans
from sfn.study.plans_found import AskedPlans, Plans


@dataclass(frozen=True, slots=True)
class PlansAnswer:
    """Plans on the front of people (or area) served against cost."""

    found: Plans
    levels: Coverage
    listeners: Listeners
    credits_say: str = ""
    """Whose data its ground and people are; empty where nothing says."""

    @property
    def document(self) -> dict[str, Any]:
        """What ``optimise --vary --json`` prints."""
        said = resting_on(self.found.network, self.levels, self.listeners, credits_say=self.credits_say)
        return plans_document(self.found) | said


def plans(
    plan: Opened,
    *,
    vary: Iterable[str],
    general: SiteChanges | None = None,
    costs: ChangeCosts | None = None,
    licences: Iterable[Licence] = (),
    objective: Literal["people", "area"] | None = None,
    hold: Iterable[str] = (),
    max_offset_us: float | None = None,
    max_move_us: float | None = None,
    from_set: bool = False,
    seed: int = 1,
    budget_s: float = 60.0,
    pixel_m: float | None = None,
    sure: AskedSure | None = None,
    robust: Literal["p20", "mean"] | None = None,
    progress: SiteProgress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> PlansAnswer:
    """Look for plans that vary offsets and levers together. Nothing is changed: a person saves one, or none.

    Parameters
    ----------
    plan : Opened
        Its document says what may change (`may_change`).
    vary : iterable of str
        Of offset, power, azimuth, tilt, pattern, on-off.
    general : SiteChanges, optional
        Bounds and steps for what the document has none for.
    costs : ChangeCosts, optional
        Instead of the document's.
    licences : iterable of Licence
        Besides the document's.
    objective, hold, max_offset_us, max_move_us, from_set, seed, budget_s, pixel_m, progress
        As in `sfn.library.search.optimise`; a held site keeps its power and antenna too.
    sure : AskedSure, optional
        Worlds in which the plans are drawn; none: none are.
    robust : {'p20', 'mean'}, optional
        Search for what is served with 80 % of the chances, or on the average of drawn worlds.
    cancelled : callable, optional
        Says whether to stop the search; the best so far is the answer.

    Raises
    ------
    PlanError
        If an argument or the network cannot be used, nothing may be varied, or people are to be counted and not known.
    """
    wanted = frozenset(vary)
    refuse(max_offset_us, max_move_us, None, None, seed, budget_s)
    _refuse_idle(wanted, from_set=from_set, max_move_us=max_move_us, max_offset_us=max_offset_us)
    network = plan.readable
    placed, ground = place(network), plan.ground
    held = held_of(list(hold))
    if unknown := sorted(held - {site.id for site in network.sites}):
        expected = f"one of {', '.join(site.id for site in network.sites)}"
        raise PlanError(
            Problem("--hold", f"there is no site {name!r}", expected, code="unknown-site", values={"site": name})
            for name in unknown
        )
    grid, heard = counted_on(plan, objective, pixel_m, placed=placed)
    counted = Asked(
        people=heard.people, by_area=objective == "area", weights=weighed(network, grid, places=heard.places),
        places=heard.places, held=held, most_us=max_offset_us, most_move_us=max_move_us, from_set=from_set, seed=seed,
        budget_s=budget_s,
    )  # fmt: skip
    asked = AskedPlans(counted, wanted, general or SiteChanges(), costs, tuple(licences), sure, robust)
    with ThreadPoolExecutor(THREADS_N) as executor:
        levels = levels_over(network, grid, placed=placed, ground=ground, executor=executor, progress=progress)
        found = search_plans(
            network, levels, asked, placed=placed, ground=ground, executor=executor,
            progress=None if progress is None else phases(progress), cancelled=cancelled,
        )  # fmt: skip
    return PlansAnswer(found, levels, heard, plan.credits_say)


def _refuse_idle(
    vary: frozenset[str], *, from_set: bool, max_move_us: float | None, max_offset_us: float | None
) -> None:
    """Words that are no lever, and options that would do nothing."""
    wrong = []
    if not vary or vary - set(KINDS):
        told = ", ".join(sorted(vary - set(KINDS))) or "nothing"
        wrong.append(Problem("--vary", f"cannot be {told}", f"some of {','.join(KINDS)}", code="unknown-lever"))
    if from_set and max_move_us is None:
        expected = "--max-move-us beside it, or no --from-set"
        wrong.append(Problem("--from-set", "does nothing without --max-move-us", expected, code="option-idle"))
    for name, value in (("--max-offset-us", max_offset_us), ("--max-move-us", max_move_us)):
        if value is not None and "offset" not in vary:
            expected = f"offset among --vary, or no {name}"
            wrong.append(Problem(name, "does nothing where offsets are not varied", expected, code="option-idle"))
    if wrong:
        raise PlanError(wrong)
