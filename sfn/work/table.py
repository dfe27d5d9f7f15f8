"""The one table of what a worker does by name: nothing else is run, whatever is asked."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.propagation.link import SweepCancelled
from sfn.work.desk import Desk, Order
from sfn.work.rasters import rasters
from sfn.work.recordings import all_arrivals, recordings
from sfn.work.searches import SEARCHES, on_worker

FUNCTIONS: Mapping[str, Callable[[Any, Desk], Any]] = {
    "rasters": rasters,
    "recordings": recordings,
    "arrivals": all_arrivals,
    **{name: on_worker(name) for name in SEARCHES},
}


@dataclass(frozen=True, slots=True)
class Done:
    """How a task ended: small, whatever it made.

    Parameters
    ----------
    answer : str
        Name of the file with its answer in the job's folder, where that is a document; empty where it has none.
    record : record or None
        Its answer, where that is a small record of the engine.
    problems : tuple of Problem
        Why there is nothing.
    cancelled : bool
        Whether it was stopped before it had anything.
    """

    answer: str = ""
    record: Any = None
    problems: tuple[Problem, ...] = ()
    cancelled: bool = False


def run(name: str, asked: Any, order: Order) -> Done:
    """Do one task: the same in a process of this machine and in a worker on another.

    Parameters
    ----------
    name : str
        Of `FUNCTIONS`.
    asked : record
        What that takes.
    order : Order
        Where it belongs.

    Returns
    -------
    Done
        Refusals are answers: whoever hands tasks out must not take one for a fault and try it again.
    """
    try:
        desk = Desk(order)
        if name not in FUNCTIONS:
            known = ", ".join(FUNCTIONS)
            raise PlanError([Problem("worker", f"no worker does {name!r}", f"one of {known}", code="work-unknown")])
        found = FUNCTIONS[name](asked, desk)
        return Done(desk.answer(found)) if isinstance(found, Mapping) else Done(record=found)
    except SweepCancelled:
        return Done(cancelled=True)
    except PlanError as refused:
        return Done(problems=refused.problems)
