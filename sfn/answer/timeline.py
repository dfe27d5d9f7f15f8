"""As JSON: what happened to every site in the order in which it held, what stands there now."""

from typing import Any

from sfn.answer.plain import plain
from sfn.answer.states import states_document
from sfn.study.timeline import Line, Timeline
from sfn.timeline.held import text_of


def document(found: Timeline, *, revision: int | None = None) -> dict[str, Any]:
    """The JSON document of ``/api/networks/{id}/timeline``."""
    return {
        "network": found.network.name,
        "revision": revision,
        "site": found.site_id or None,
        "entries": [
            {
                "id": line.event.id,
                "site": line.event.site_id or None,
                "others": list(line.event.others),
                "kind": line.event.kind,
                "held_at": text_of(line.event.held.at),
                "held_earliest": text_of(line.event.held.earliest),
                "held_latest": text_of(line.event.held.latest),
                "doubt": line.event.held.words or None,
                "arrived_at": text_of(line.event.arrived_at),
                "who": line.event.who,
                "values": plain(dict(line.event.values)),
                "contradicts": [other.id for other in line.contradicts],
                "present": list(line.present),
                **({"excluded_reason": line.event.values.get("excluded_reason")} if _measured(line) else {}),
                **({"on_air": [plain(one) for one in line.on_air]} if line.on_air else {}),
            }
            for line in found.lines
        ],
        "present": [
            {
                "site": one.site_id,
                "route": one.route or None,
                "field": one.field,
                "unit": one.unit,
                "value": one.value,
                "planned": one.planned,
                "since": None if one.stood is None else text_of(one.stood.held_at),
                "who": None if one.stood is None else one.stood.who,
                "entry": None if one.stood is None else one.stood.entry or None,
                "plan_says": one.plan_says,
                "contradicted": one.contradicted,
            }
            for one in found.present
        ],
        "states": states_document(found.network),
        "problems": [problem.as_json() for problem in found.problems],
    }


def _measured(line: Line) -> bool:
    """Whether it is a measurement, which may be excluded."""
    return line.event.kind == "difference"
