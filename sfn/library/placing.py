"""Where a new transmitter would serve most, as ``python -m sfn placing`` gives it."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Literal

from sfn.answer.placing_document import placing_document
from sfn.errors import PlanError, Problem
from sfn.field.rasters import SiteProgress
from sfn.geodesy.sites import place
from sfn.library.opened import Opened
from sfn.library.search import THREADS_N, counted_on, resting_on
from sfn.reception.coverage import Coverage, coverage as levels_over
from sfn.reception.listeners import Listeners
from sfn.reception.weights import weighed
from sfn.study.how_sure import AskedSure
from sfn.study.optimised import Asked
from sfn.study.placing import placing as search_places
from sfn.study.placing_asked import AskedMasts, masts_asked, masts_from_table
from sfn.study.placing_found import USUAL_AZIMUTH_STEP_DEG, AskedPlacing, Placing


@dataclass(frozen=True, slots=True)
class PlacingAnswer:
    """Places ranked by what a new transmitter there would serve."""

    found: Placing
    levels: Coverage
    listeners: Listeners
    credits_say: str = ""
    """Whose data its ground and people are; empty where nothing says."""

    @property
    def document(self) -> dict[str, Any]:
        """What ``placing --json`` prints."""
        said = resting_on(self.found.network, self.levels, self.listeners, credits_say=self.credits_say)
        return placing_document(self.found) | said


def placing(
    plan: Opened,
    masts: AskedMasts,
    *,
    patterns: tuple[str, ...] | None = None,
    azimuth_step_deg: float = USUAL_AZIMUTH_STEP_DEG,
    objective: Literal["people", "area"] | None = None,
    max_offset_us: float | None = None,
    pixel_m: float | None = None,
    sure: AskedSure | None = None,
    progress: SiteProgress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> PlacingAnswer:
    """Rank places for a new transmitter. Nothing is changed.

    Parameters
    ----------
    plan : Opened
    masts : AskedMasts
        Which places.
    patterns : tuple of str, optional
        Sites whose patterns are tried; not given: all that the network has.
    azimuth_step_deg : float
        [degrees]
    objective : {'people', 'area'}, optional
        People where they are known.
    max_offset_us : float, optional
        [us]
    pixel_m : float, optional
        [m]
    sure : AskedSure, optional
        Worlds in which the best are drawn; none: none are.
    progress : callable(what, done, total), optional
    cancelled : callable, optional
        Says whether to stop; what was looked at by then is the answer.

    Raises
    ------
    PlanError
        If an argument or the network cannot be used, or people are to be counted and not known.
    """
    refuse(max_offset_us, azimuth_step_deg)
    network = plan.readable
    placed, ground = place(network), plan.ground
    grid, heard = counted_on(plan, objective, pixel_m, placed=placed)
    counted = Asked(
        people=heard.people, by_area=objective == "area", weights=weighed(network, grid, places=heard.places),
        places=heard.places, most_us=max_offset_us,
    )  # fmt: skip
    asked = AskedPlacing(counted, patterns, azimuth_step_deg, masts.like, sure)

    def tell(phase: str, part: float) -> None:
        """In hundredths of a phase."""
        if progress is not None:
            progress(phase, round(100 * part), 100)

    if masts.table is not None:  # a wrong cell is told before minutes of work
        masts_from_table(network, masts, placed=placed, ground=ground)
    with ThreadPoolExecutor(THREADS_N) as executor:
        levels = levels_over(network, grid, placed=placed, ground=ground, executor=executor, progress=progress)
        chosen, said = masts_asked(
            network, levels, masts, counted, placed=placed, ground=ground, executor=executor, progress=tell,
            cancelled=cancelled,
        )  # fmt: skip
        found = search_places(
            network, levels, chosen, asked, placed=placed, ground=ground, executor=executor, said=said, progress=tell,
            cancelled=cancelled,
        )  # fmt: skip
    return PlacingAnswer(found, levels, heard, plan.credits_say)


def refuse(max_offset_us: float | None, azimuth_step_deg: float) -> None:
    """Figures out of their range.

    Raises
    ------
    PlanError
        With each.
    """
    wrong = []
    if max_offset_us is not None and not 0.0 <= max_offset_us <= 1e5:
        wrong.append(("max_offset_us", max_offset_us, "0 to 100 000 us"))
    if not 1.0 <= azimuth_step_deg <= 180.0:
        wrong.append(("azimuth_step_deg", azimuth_step_deg, "1 to 180 degrees"))
    if wrong:
        raise PlanError(
            Problem(f"--{name.replace('_', '-')}", f"cannot be {value:g}", expected, code="out-of-range",
                    fields=(name,))
            for name, value, expected in wrong
        )  # fmt: skip
