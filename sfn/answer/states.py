"""As JSON: the planned states of a network, in words and as data."""

from typing import Any

from sfn.plan import Network
from sfn.plan.planned import TODAY


def states_document(network: Network) -> list[dict[str, Any]]:
    """Today and every planned state, for programs."""
    today: dict[str, Any] = {"name": TODAY, "date": None, "until": None, "note": None, "changes": []}
    planned = (
        {"name": one.name, "date": one.date, "until": one.until, "note": one.note,
         "common_delay_us": one.common_delay_us,
         "changes": [change.model_dump(mode="json", exclude_none=True) for change in one.changes]}
        for one in network.today.planned or ()
    )  # fmt: skip
    return [today, *planned]
