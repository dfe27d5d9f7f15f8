"""As JSON: what listeners of an FM network hear over a map, as JSON and in words."""

from typing import Any

from sfn.reception.heard import PEOPLE_CLASSES, HeardAreas
from sfn.study.map_listeners import share_of


def heard_document(found: HeardAreas) -> dict[str, Any]:
    """The part of ``zones --json``.

    Parameters
    ----------
    found : HeardAreas
    """
    return {
        "listeners": found.listeners,
        "shares_are_of": found.of,
        "served_from_share": found.served_ratio,
        "classes": [
            {
                "class": name,
                "area_km2": found.area_km2[k],
                "people": None if found.people is None else found.people[k],
                "share": share_of(found, k),
            }
            for k, name in enumerate(PEOPLE_CLASSES)
        ],
        "shares_say": list(found.says),
    }
