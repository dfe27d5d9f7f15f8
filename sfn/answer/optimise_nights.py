"""A plan in several nights: in each a few devices change, and every morning is at least as good as the one before."""

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from typing import Any

from sfn.answer.optimise import Asked, Optimised, optimise
from sfn.answer.served import state_document
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.coverage import Coverage


def in_nights(
    network: Network,
    computed: Coverage,
    asked: Asked,
    *,
    placed: Mapping[str, Located],
    nights: int,
    executor: Executor | None = None,
) -> tuple[Optimised, ...]:
    """The best plan of the first night, then of each that follows, going on from the one before.

    Parameters
    ----------
    network : Network
    computed : Coverage
    asked : Asked
        `most_changed` holds for every night, `budget_s` for all of them together.
    placed : mapping of site id to Located
    nights : int
        At least 1; fewer are answered where nothing more can be gained.
    executor : concurrent.futures.Executor, optional

    Raises
    ------
    PlanError
        As `sfn.answer.optimise.optimise`.
    """
    share = replace(asked, budget_s=asked.budget_s / nights)
    found = [optimise(network, computed, share, placed=placed, executor=executor)]
    later = replace(share, from_set=False)  # what the night before set
    while len(found) < nights and found[-1].changed:
        found.append(optimise(found[-1].planned, computed, later, placed=placed, executor=executor))
    return tuple(found)


def nights_document(found: Sequence[Optimised]) -> list[dict[str, Any]]:
    """Night by night: which devices change, the offsets then, and how it serves in the morning."""
    return [
        {
            "night": k,
            "changed": list(one.changed),
            "offsets": one.offsets_us,
            "common_delay_held_us": one.common_held_us,
            "after": state_document(one.after),
        }
        for k, one in enumerate(found, start=1)
    ]
