"""As JSON: a plan in several nights: in each a few devices change."""

from collections.abc import Sequence
from typing import Any

from sfn.answer.served import state_document
from sfn.reception.classes import shown_classes
from sfn.study.optimised import Optimised


def nights_document(found: Sequence[Optimised]) -> list[dict[str, Any]]:
    """Night by night: which devices change, the offsets then, and how it serves in the morning."""
    return [
        {
            "night": k,
            "changed": [device.site for device in one.devices if device.changes],
            "settled_on_devices": one.settled,
            "settled_says": one.settled_says,
            "offsets": one.offsets_us,
            "common_delay_held_us": one.common_held_us,
            "after": state_document(one.after, shown_classes(one.what.yard.carried)),
        }
        for k, one in enumerate(found, start=1)
    ]
